"""The command timeliness: the steps dated before the one they follow, listed one by one."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.errors import UsageProblem
from tests.build import base, load

ADVISED = "2025-03-20"
STARTED = "2025-03-10"  # of the base rows


@pytest.fixture
def folder_of(registry):
    def made(advised: str) -> str:
        rows = base()
        rows["findings"][0]["biopsy_advised_on"] = advised
        load(registry, rows)
        registry.close()
        return str(registry.folder)

    return made


def run(*arguments: str):
    done = CliRunner().invoke(app, ["timeliness", *arguments, "--as-of", "2026-06-30"])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_a_step_before_the_one_it_follows_is_listed_with_its_dates(folder_of):
    said = json.loads(run(folder_of(ADVISED), "--faults", "--format", "json"))

    # 10 March less 20 March is 10 days backwards.
    assert said == [
        {
            "interval": "advice_to_biopsy",
            "procedure_id": "P1",
            "site": base()["procedures"][0]["site"],
            "from_on": ADVISED,
            "to_on": STARTED,
            "days": -10,
        }
    ]


def test_the_table_names_the_interval_in_words_and_says_what_to_do(folder_of):
    said = run(folder_of(ADVISED), "--faults")

    assert "Advice to biopsy" in said
    assert "correct it in its record" in " ".join(said.split())


def test_a_registry_without_faults_says_so_and_its_csv_keeps_its_heading(folder_of):
    folder = folder_of("2025-03-09")

    assert "No step is dated before the one it follows." in run(folder, "--faults")
    assert run(folder, "--faults", "--format", "csv").splitlines() == [
        "interval,procedure_id,site,from_on,to_on,days"
    ]


def test_a_list_of_faults_is_not_split(folder_of):
    done = CliRunner().invoke(app, ["timeliness", folder_of(ADVISED), "--faults", "--by", "site"])

    assert isinstance(done.exception, UsageProblem)
