"""The commands of the researcher: what they print in each form, what they write, what they refuse."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

import synthetic_data
from registry.cli import app
from registry.errors import RegistryError
from registry.store import Registry
from tests.cohorts.conftest import cohort, document

STEP = {
    "kind": "include",
    "label": "of 40 and over",
    "filter": {"field": "age_years", "operator": "ge", "value": 40},
}


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "cohort.json"
    path.write_text(json.dumps(document(unit="finding", steps=[STEP])))
    return path


def run(*arguments):
    return CliRunner().invoke(app, ["cohort", *map(str, arguments)])


def printed(*arguments, form="json"):
    made = run(*arguments, "--format", form)
    assert made.exit_code == 0, made.output
    return json.loads(made.stdout) if form == "json" else list(csv.DictReader(io.StringIO(made.stdout)))


def test_check_says_the_hash_of_the_canonical_form(file):
    made = run("check", file)

    assert made.exit_code == 0
    assert f"SHA-256 {cohort(unit='finding', steps=[STEP]).sha256}" in made.stdout


def test_a_broken_file_ends_in_its_sentence(tmp_path, demo):
    path = tmp_path / "broken.json"
    path.write_text(json.dumps(document(population={"field": "patient", "operator": "eq", "value": "x"})))
    for command in (["check"], ["flow", demo], ["table-one", demo], ["measures", demo], ["outcomes", demo]):
        made = run(*command, path)
        assert isinstance(made.exception, RegistryError), command
        assert str(made.exception).startswith("broken.json: population: patient is no field")


def test_the_flow_in_every_form_has_the_same_counts(demo, file, tmp_path):
    rows = printed("flow", demo, file)
    table = run("flow", demo, file, "--figure", tmp_path / "flow.svg").stdout

    assert [(one["key"], one["left_out"]) for one in rows] == [
        (one["key"], int(one["left_out"])) for one in printed("flow", demo, file, form="csv")
    ]
    assert max(map(len, table.splitlines()[1:-3])) <= 100
    assert all(one["label"] in table for one in rows)
    assert (tmp_path / "flow.svg").read_text().startswith("<svg")


def test_table_one_as_csv_is_the_long_table(demo, file):
    rows = printed(
        "table-one",
        demo,
        file,
        "--by",
        "guidance",
        "--column",
        "age_years",
        "--column",
        "density",
        form="csv",
    )
    made = printed(
        "table-one", demo, file, "--by", "guidance", "--column", "age_years", "--column", "density"
    )

    assert {one["variable"] for one in rows} == {"age_years", "density"}
    assert len(rows) == len(made["rows"])
    assert sum(one["units"] for one in made["groups"][1:]) == made["groups"][0]["units"]


def test_measures_take_any_interval(demo, file):
    for interval in ("wilson", "exact", "jeffreys", "clustered"):
        (one,) = printed("measures", demo, file, "--measure", "discordance", "--interval", interval)
        assert one["interval"] == interval
    assert "discordance" in run("measures", demo, file).stdout


def test_outcomes_have_three_readings_each(demo, file):
    rows = printed("outcomes", demo, file)

    assert [one["reading"] for one in rows[:3]] == ["complete only", "pending as best", "pending as worst"]
    assert len(rows) % 3 == 0


def test_a_model_as_csv_is_its_table_of_coefficients(demo, file):
    given = ("--outcome", "cancer_at_biopsy", "--covariates", "age_years, size_mm", "--method", "firth")
    rows = printed("model", demo, file, *given, form="csv")
    made = printed("model", demo, file, *given)

    assert [one["covariate"] for one in rows] == ["(intercept)", "age_years", "size_mm"]
    assert [float(one["odds_ratio"]) for one in rows] == [one["odds_ratio"] for one in made["coefficients"]]
    assert "odds ratio (95 % interval)" in run("model", demo, file, *given).stdout


def test_freeze_and_list(demo, file, tmp_path):
    own = shutil.copytree(demo, tmp_path / "own")
    assert run("freeze", own, file).exit_code == 0
    (row,) = printed("list", own)

    assert (row["name"], row["version"], row["title"]) == ("everything", 1, "Every procedure")
    assert json.loads(run("list", own, "--show", "everything:1").stdout) == json.loads(
        cohort(unit="finding", steps=[STEP]).canonical()
    )
    assert "no such cohort file is frozen" in str(run("list", own, "--show", "everything:2").exception)


def test_nothing_that_is_printed_names_a_patient_or_an_operator(demo, file):
    """Every word of every command against the stored keys and codes of staff."""
    with Registry.open(demo) as opened:
        names = {
            row[0]
            for column in ("patient", "operator", "procedure_id", "finding_id")
            for row in opened.rows(f"SELECT DISTINCT {column} FROM procedure_facts")
        }
    model = ("--outcome", "discordance", "--covariates", "age_years", "--method", "firth")
    for arguments in (
        ("flow", demo, file),
        ("table-one", demo, file, "--by", "site"),
        ("table-one", demo, file, "--format", "json"),
        ("measures", demo, file, "--format", "json"),
        ("outcomes", demo, file, "--format", "json"),
        ("model", demo, file, *model),
    ):
        made = run(*arguments)
        assert made.exit_code == 0, made.output
        words = set(re.findall(r"[\w-]+", made.stdout))
        assert len(words) > 10
        assert words & names == set(), arguments[0]
    assert len(names) > 600


def test_the_example_that_is_shipped_has_a_flow_on_the_demo(demo):
    example = Path(synthetic_data.__file__).parent / "cohort_tracer_guided.json"
    rows = printed("flow", demo, example)

    assert {one["kind"] for one in rows} == {"start", "step", "box", "beside", "end"}
    assert rows[-1]["remaining"] > 10
