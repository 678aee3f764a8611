"""What the commands print: measures on a page of 100 columns, checks without their notes, memory in figures."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from registry import store
from registry.cli import app
from registry.commands import narrow
from registry.commands.common import Format, _widths, print_rows
from registry.errors import NotSaved, RegistryError, SiteProblem, UsageProblem
from registry.measures import load_measures
from registry.store import Registry
from registry.worklists import load_worklists
from tests.build import base, load

if TYPE_CHECKING:
    from collections.abc import Callable


def make_demo(folder: Path, procedures: int) -> Path:
    made = CliRunner().invoke(app, ["demo", str(folder), "--procedures", str(procedures)])
    assert made.exit_code == 0, made.output
    return folder


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_demo(tmp_path_factory.mktemp("tables") / "demo", 150)


def run(*arguments: str) -> Result:
    ran = CliRunner().invoke(app, list(arguments))
    if isinstance(ran.exception, RegistryError):
        raise ran.exception
    return ran


# -- measures ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "split", [[], ["--by", "guidance"], ["--by", "finding_type", "--interval", "clustered"]]
)
def test_no_line_of_the_measures_is_wider_than_100_columns(demo: Path, split: list[str]):
    said = run("measures", str(demo), "--as-of", "2026-06-30", *split).stdout.splitlines()
    # The last two lines are the stamp and the caution, which are sentences.
    assert max(len(line) for line in said[:-2]) <= 100


def test_every_measure_stands_whole_in_its_own_line(demo: Path):
    said = run("measures", str(demo), "--as-of", "2026-06-30").stdout
    ids = [one.id for one in load_measures().values() if one.kind in ("proportion", "quantity")]
    assert [one for one in ids if not re.search(rf"^ {one} ", said, re.MULTILINE)] == []


def test_a_table_says_what_the_json_says(demo: Path):
    """Rate and limits rounded to a tenth of a per cent, from the figures of the JSON form."""
    asked = ["measure", str(demo), "marker_placed", "--as-of", "2026-06-30"]
    (row,) = json.loads(run(*asked, "--format", "json").stdout)
    figures = [f"{100 * row[name]:.1f}" for name in ("proportion", "lower", "upper")]
    line = next(one for one in run(*asked).stdout.splitlines() if one.startswith(" marker_placed"))
    assert line.split() == [
        "marker_placed", str(row["numerator"]), "/", str(row["denominator"]), figures[0], "%",
        f"({figures[1]}", "to", f"{figures[2]})", str(sum(row["excluded"].values())), str(row["patients"]),
    ]  # fmt: skip


def test_csv_keeps_every_column(demo: Path):
    said = run("measure", str(demo), "marker_placed", "--as-of", "2026-06-30", "--format", "csv").stdout
    (row,) = csv.DictReader(io.StringIO(said))
    assert {"proportion", "lower", "upper", "interval", "bounds", "excluded", "patients"} <= row.keys()
    assert json.loads(row["excluded"])


RESULT = {
    "measure": "one", "stratum": "all", "numerator": 3, "denominator": 20, "excluded": {"a": 1, "b": 2}, "proportion": 0.15,
    "lower": 0.0524, "upper": 0.3604, "confidence": 0.95, "method": "Wilson", "patients": 19, "bounds": None,
    "upper_bound_no_events": None,
}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({}, "3 / 20   15.0 % (5.2 to 36.0)"),
        ({"numerator": 0, "denominator": 0, "proportion": None, "lower": None, "upper": None}, "no procedures"),
        ({"numerator": 3, "denominator": 9}, "3 / 9   fewer than 10: counts only"),
        # Nothing in 20: 1 - 0.05^(1/20) = 13.9 %.
        ({"numerator": 0, "proportion": 0.0, "lower": 0.0, "upper": 0.1611, "upper_bound_no_events": 0.1391}, "0 % (at most 13.9)"),
        ({"bounds": {"lower": 0.1, "upper": 0.4, "unknown": 7}}, "one 10.0 to 40.0 % (7 not known)"),
    ],
)  # fmt: skip
def test_a_proportion_in_words(capsys: pytest.CaptureFixture[str], change: dict, says: str):
    narrow.print_proportions([RESULT | change], 10)
    said = capsys.readouterr().out
    assert says in " ".join(said.split("\n"))
    assert ("%" in says) or "15.0 %" not in said


CURVE = {
    "measure": "cancer_after_benign", "stratum": "SITE-A", "n": 1200, "patients": 1100, "excluded": {"a": 40, "b": 2},
    "interval": "log(-log)", "confidence": 0.95,
}  # fmt: skip
READ = {"estimate": "lost", "days": 365, "incidence": 0.021, "lower": 0.011, "upper": 0.036, "at_risk": 370}


@pytest.mark.parametrize(
    ("unit", "part", "says"),
    [
        ({}, {}, "lost 365 2.1 % (1.1 to 3.6) 370"),
        ({}, {"at_risk": 0}, "lost 365 nobody followed so long 0"),
        ({}, {"incidence": None, "lower": None, "upper": None, "at_risk": 4}, "lost 365 not known 4"),
        ({}, {"incidence": 0.0, "lower": None, "upper": None}, "lost 365 0.0 % 370"),
        ({"n": 9}, {}, "lost 365 fewer than 10: counts only 370"),
        ({"n": 0}, {"at_risk": 0}, "lost 365 no procedures 0"),
    ],
)
def test_a_curve_in_words(capsys: pytest.CaptureFixture[str], unit: dict, part: dict, says: str):
    """Beyond the last that anybody was followed the level is held by nobody."""
    narrow.print_curve(CURVE | {"rows": [READ | part]} | unit, 10)
    assert says in " ".join(capsys.readouterr().out.split())


def test_a_cross_table_has_its_sums_its_ratios_and_what_must_hold(capsys: pytest.CaptureFixture[str]):
    """Columns sum by hand; 20 / 773 as printed; what does not hold is said aloud."""
    narrow.print_categories(
        {
            "measure": "b_category_accuracy", "stratum": "all", "total": 2107, "patients": 1770, "excluded": {"a": 915},
            "interval": "wilson", "confidence": 0.95, "unresolved": [75, 479, 61, 1, 60],
            "cells": {"m": [9, 11, 17, 7, 669], "b": [9, 29, 100, 5, 6], "n": [144, 923, 116, 2, 60]},
            "identities": {"a <= b": True, "c = d": False},
            "rows": [
                {"name": "miss_rate", "x": 20, "n": 773, "proportion": 20 / 773, "lower": 0.0168, "upper": 0.0396, "unresolved": 616},
                {"name": "ppv_b4", "x": 1, "n": 9, "proportion": 1 / 9, "lower": 0.02, "upper": 0.4, "unresolved": None},
            ],
        },
        10,
    )  # fmt: skip
    said = " ".join(capsys.readouterr().out.split())
    for sentence in (
        "2 107 procedures of 1 770 patients, 915 left out.",
        "all 162 963 233 14 735",
        "miss_rate 20 / 773 2.6 % (1.7 to 4.0) 616",
        "ppv_b4 1 / 9 fewer than 10: counts only",
        "a ≤ b: holds; c = d: DOES NOT HOLD.",
    ):
        assert sentence in said


@pytest.mark.parametrize(("measure", "rows"), [("cancer_after_benign", 6), ("b_category_accuracy", 13)])
def test_csv_of_what_is_no_proportion_has_one_header_and_names_its_stratum(
    demo: Path, measure: str, rows: int
):
    """Two estimates at three days, thirteen ratios, each site."""
    said = run(
        "measure", str(demo), measure, "--as-of", "2026-06-30", "--by", "site", "--format", "csv"
    ).stdout
    found = list(csv.DictReader(io.StringIO(said)))
    strata = {one["stratum"] for one in found}
    assert len(strata) > 1
    assert {one["measure"] for one in found} == {measure}
    assert len(found) == rows * len(strata)


# -- check -------------------------------------------------------------------------


@pytest.fixture
def noted(folder: Path) -> Path:
    rows = base()
    rows["followup"] = [rows["followup"][0] | {"event_id": f"E{n}", "modality": ""} for n in range(1, 4)]
    with Registry.open(folder, write=True) as registry:
        load(registry, rows)
    return folder


def test_notes_are_counted_and_not_listed(noted: Path):
    ran = run("check", str(noted))
    assert ("followup_modality_empty" in ran.stdout, " E1 " in ran.stdout, ran.exit_code) == (True, False, 0)
    assert re.search(r"followup_modality_empty +3 ", ran.stdout)
    assert "No row contradicts another" in ran.stdout


@pytest.mark.parametrize("options", [["--all"], ["--format", "csv"], ["--format", "json"]])
def test_all_notes_are_listed_where_asked(noted: Path, options: list[str]):
    said = run("check", str(noted), *options).stdout
    assert [key for key in ("E1", "E2", "E3") if key not in said] == []


def test_rows_to_correct_are_listed_beside_the_counted_notes(noted: Path):
    with Registry.open(noted, write=True) as registry:
        load(
            registry,
            {"pathology": [{"report_id": "R1", "procedure_id": "P1", "version": "1", "b_category": "B5"}]},
        )
    ran = run("check", str(noted))
    assert (ran.exit_code, "pathology_category_and_diagnosis" in ran.stdout, "R1 / P1" in ran.stdout) == (
        1,
        True,
        True,
    )


# -- memory ------------------------------------------------------------------------


@pytest.fixture
def small(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The engine gets 5 MB, less than any import of some size needs; site.toml says 340."""
    real: Callable[..., dict] = store.engine_settings
    monkeypatch.setattr(store, "engine_settings", lambda *given: real(*given) | {"memory_limit": "5MB"})
    return folder


def test_too_little_memory_for_an_import_is_said_with_a_figure(small: Path):
    rows = {"operators": [{"operator": f"OP{n}", "role": "x" * 40} for n in range(60_000)]}
    with Registry.open(small, write=True) as registry, pytest.raises(NotSaved) as said:
        load(registry, rows)
    assert "its 340 MB" in str(said.value) and "memory_limit_mb = 680" in str(said.value)


def test_too_little_memory_for_an_answer_is_said_with_a_figure(folder: Path):
    with (
        Registry.open(folder) as registry,
        pytest.raises(SiteProblem, match="memory_limit_mb = 680"),
        registry.cursor(),
    ):
        raise duckdb.OutOfMemoryException("failed to allocate data")


# -- exports -----------------------------------------------------------------------


def test_the_list_of_exports_keeps_to_100_columns_and_says_where_the_rest_stands(demo: Path, tmp_path: Path):
    purpose = "An audit of tracer-guided procedures for the yearly meeting of the service"
    run("export", str(demo), str(tmp_path / "package"), "--as-of", "2026-06-30", "--reason", purpose)
    lines = run("exports", str(demo)).stdout.splitlines()
    assert max(len(line) for line in lines) <= 100
    assert lines[-1].endswith("--format json or csv.")
    (found,) = json.loads(run("exports", str(demo), "--format", "json").stdout)
    assert (found["purpose"], found["files"] > 0) == (purpose, True)


@pytest.mark.parametrize(
    "asked",
    [
        ["measures", "DEMO", "--by", "guidance"],
        ["measure", "DEMO", "cancer_after_benign", "b_category_accuracy"],
        ["compare", "DEMO", "cancer_after_benign", "--periods", "2023", "2024"],
    ],
)
def test_the_program_counts_without_the_library_that_it_keeps_out(demo: Path, asked: list[str]):
    """As a program of its own: a suite has long imported pandas, which commands keep from being imported."""
    asked = [str(demo) if word == "DEMO" else word for word in asked]
    asked += ["--as-of", "2026-06-30", "--format", "json"]
    inside = run(*asked).stdout
    alone = subprocess.run(
        [sys.executable, "-m", "registry", *asked], capture_output=True, text=True, check=False
    )

    assert (alone.returncode, alone.stderr) == (0, "")
    assert json.loads(alone.stdout) == json.loads(inside)


# -- worklists ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_demo(tmp_path_factory.mktemp("worklists") / "demo", 1500)


@pytest.mark.parametrize("name", sorted(load_worklists()))
def test_a_worklist_keeps_to_100_columns_and_breaks_no_key_and_no_day(full: Path, name: str):
    asked = (str(full), name, "--as-of", "2026-06-30")
    said = run("worklist", *asked).stdout
    rows = list(csv.DictReader(io.StringIO(run("worklist", *asked, "--format", "csv").stdout)))
    shown = [row[column] for row in rows for column in load_worklists()[name].narrow]
    whole = {value for value in shown if re.fullmatch(r"\d{4}-\d\d-\d\d|[BF]\d{7}", value)}

    assert whole, "nothing waits in the demo, so that nothing is tried"
    assert {value for value in whole if value not in said} == set()
    assert max(map(len, said.splitlines())) <= 100
    assert f"{len(rows)} in all." in said


# -- as it was known, and as it is derived ----------------------------------------------


def test_a_moment_that_lies_ahead_is_nothing_to_be_known_by(demo: Path, tmp_path: Path):
    out = tmp_path / "pack"
    period = ("--from", "2026-01-01", "--to", "2026-06-30", "--out", str(out))
    with pytest.raises(UsageProblem, match=r"^--known-at 2999-01-01T00:00:00\+00:00: lies ahead\."):
        run("report", "quality", str(demo), *period, "--known-at", "2999-01-01T00:00:00+00:00")

    assert not out.exists()


def test_migrate_says_that_it_derived_the_kept_rows_anew(small_copy: Path):
    """Another definition stands in the registry, as after a change of the program."""
    with duckdb.connect(str(small_copy / "registry.duckdb")) as connection:
        connection.execute("UPDATE facts_definition SET sha256 = 'another'")

    waits = "Pending: the kept rows, which this program derives otherwise."
    assert run("migrate", str(small_copy), "--list").stdout.strip() == waits
    assert run("migrate", str(small_copy)).stdout.strip() == (
        "The kept rows were derived anew; no migration was pending."
    )
    assert run("migrate", str(small_copy)).stdout.strip() == "Nothing pending."


@pytest.fixture
def small_copy(demo: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(demo, tmp_path / "copy"))


# -- any table ---------------------------------------------------------------------


def printed(rows: list[dict[str, object]], capsys: pytest.CaptureFixture[str]) -> list[str]:
    print_rows(rows, Format.TABLE, width=60)
    return capsys.readouterr().out.splitlines()


def test_a_name_and_a_word_of_a_heading_stand_whole_where_a_text_wraps(capsys):
    """60 columns hold neither text whole; what gives way is the note, not the name nor the heading."""
    lines = printed(
        [{"measure": "discordant_suspicious_benign", "Vacuum-assisted": 3, "note": "some words " * 9}], capsys
    )

    assert max(len(line) for line in lines) <= 60
    assert any("Vacuum-assisted" in line for line in lines)
    assert any("discordant_suspicious_benign" in line for line in lines)


def test_where_names_and_headings_leave_no_room_no_figure_is_cut(capsys):
    """Six headings of 14 letters and a name of 30 need more than 60 columns: words fold, figures stay."""
    figures = [7000000 + place for place in range(6)]
    row: dict[str, object] = {"measure": "later_cancer_after_not_sampled"}
    row |= {f"column {letter * 14}": figure for letter, figure in zip("abcdef", figures, strict=True)}
    lines = printed([row], capsys)

    assert max(len(line) for line in lines) <= 60
    assert sum(line.count("0") for line in lines) == sum(str(one).count("0") for one in figures)


def test_short_cells_stand_on_one_line_before_a_long_text_gets_more(capsys):
    """Twelve letters with two spaces need 12 columns each; the note takes what is left of 60."""
    row = {"name": "one", "figure": "11 (11 to 12)", "other": "10 (10 to 11)", "note": "some words " * 9}
    lines = printed([row], capsys)

    assert any("11 (11 to 12)" in line and "10 (10 to 11)" in line for line in lines)
    assert max(len(line.rstrip()) for line in lines) > 50


TEXTS = st.text(alphabet="ab 1", max_size=40)


@given(st.data(), st.integers(1, 6), st.integers(1, 4), st.integers(1, 120))
def test_any_cells_find_widths_within_the_room(data, columns: int, lines: int, room: int):
    """Columns in which nothing stands too: that of the quarters outside their limits has no heading and may be empty."""
    heads = data.draw(st.lists(TEXTS, min_size=columns, max_size=columns))
    row = st.lists(TEXTS, min_size=columns, max_size=columns)
    cells = data.draw(st.lists(row, min_size=lines, max_size=lines))
    widths = _widths(heads, cells, room)

    if widths is not None:
        assert min(widths) >= 1
        assert sum(widths) + 3 * len(widths) <= room
        # A word of a heading that is no longer than 16 is not broken.
        for width, head in zip(widths, heads, strict=True):
            assert all(len(word) <= width for word in head.split() if len(word) <= 16)


def test_a_column_in_which_nothing_stands_is_printed(capsys):
    lines = printed([{"period": "2025-Q1", "x / n": "1 / 2", "": ""}], capsys)

    assert any("2025-Q1" in line and "1 / 2" in line for line in lines)


def test_a_mark_is_yes_or_no(capsys):
    lines = printed([{"check": "one", "outside": True}, {"check": "two", "outside": False}], capsys)

    assert [line.split() for line in lines if line.split()][2:] == [["one", "yes"], ["two", "no"]]
