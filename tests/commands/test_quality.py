"""The commands of the quality committee: what they print, as table, JSON and CSV, and what they refuse."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from pathlib import Path

AS_OF = ("--as-of", "2026-06-30")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder: Path = tmp_path_factory.mktemp("quality") / "demo"
    made = CliRunner().invoke(app, ["demo", str(folder), "--procedures", "150"])
    assert made.exit_code == 0, made.output
    return str(folder)


def run(*arguments: str):
    return CliRunner().invoke(app, list(arguments))


def test_units_are_printed_in_the_order_of_their_codes(demo: str):
    said = json.loads(run("units", demo, "sampling_confirmed", *AS_OF, "--format", "json").stdout)
    codes = [one["code"] for one in said["units"]]

    assert codes == sorted(codes)
    assert said["looked_at"] == sum(one["looked_at"] for one in said["units"])


@pytest.mark.parametrize("by", ["operator", "site"])
def test_the_table_of_units_keeps_to_100_columns(demo: str, by: str):
    lines = run("units", demo, "discordance", "--by", by, *AS_OF).stdout.splitlines()

    assert max(map(len, lines)) <= 100


def test_units_as_csv_have_the_counts_of_the_measure(demo: str):
    rows = list(
        csv.DictReader(io.StringIO(run("units", demo, "complication", *AS_OF, "--format", "csv").stdout))
    )
    measured = json.loads(
        run("measure", demo, "complication", *AS_OF, "--by", "operator", "--format", "json").stdout
    )

    assert {row["code"]: (int(row["x"]), int(row["n"])) for row in rows} == {
        one["stratum"]: (one["numerator"], one["denominator"]) for one in measured
    }


def test_units_of_something_else_are_refused(demo: str):
    refused = run("units", demo, "discordance", "--by", "patient").exception

    assert isinstance(refused, UsageProblem)


def test_the_yearly_table_says_its_window_and_what_was_checked(demo: str):
    said = run("yearly", demo, "--until", "2026-06-30", *AS_OF).stdout

    assert "Procedures from 2025-07-01 to 2026-06-30." in said
    assert "Checked: procedures = cancelled + abandoned + with tissue" in said
    assert "Does not hold" not in said
    assert max(len(line) for line in said.splitlines()) <= 100


def test_the_yearly_table_as_csv_and_json_agree(demo: str):
    asked = ("yearly", demo, "--until", "2026-06-30", *AS_OF, "--by", "site", "--format")
    rows = list(csv.DictReader(io.StringIO(run(*asked, "csv").stdout)))
    said = json.loads(run(*asked, "json").stdout)
    told = [
        (part, row, column, number)
        for part in ("procedures", "repeats", "complications")
        for (row, _), counts in zip(said[part]["rows"], said[part]["counts"], strict=True)
        for (column, _), number in zip(said[part]["columns"], counts, strict=True)
    ]

    assert [(r["part"], r["row"], r["column"], int(r["procedures"])) for r in rows] == told


@pytest.mark.parametrize("until", ["30.6.2026", "2026-02-30"])
def test_a_day_that_is_none_is_refused(demo: str, until: str):
    assert isinstance(run("yearly", demo, "--until", until).exception, UsageProblem)
