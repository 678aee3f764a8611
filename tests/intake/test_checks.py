"""Data checks: each file under sql/checks finds its offending rows, and valid rows give no problem.

The offending rows are in ``offending.py``.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
import pytest

from registry.checks import check_registry
from registry.dictionary import KEYS
from registry.imports.received import Received, SourceTable
from registry.intake import IntakeReport, Options, accept
from registry.store import Registry
from tests.build import TODAY, base, load, received
from tests.intake.changed import rows_of
from tests.intake.offending import (
    AT_THE_LIMIT,
    OFFENDING,
    VARIANTS,
    Change,
    Offending,
)

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).resolve().parents[2]
DICTIONARY = list(csv.DictReader((ROOT / "sql" / "dictionary.csv").open(encoding="utf-8")))
CHECK_FILES = sorted(path.stem for path in (ROOT / "sql" / "checks").glob("*.sql"))
ERASE = "<erase>"


def header(name: str) -> dict[str, str]:
    """The header of a check, read without the program's own reader."""
    lines = (ROOT / "sql" / "checks" / f"{name}.sql").read_text(encoding="utf-8").splitlines()
    return dict(line.removeprefix("-- ").split(": ", 1) for line in lines if line.startswith("-- "))


def with_severity(*wanted: str) -> list[str]:
    return [name for name in CHECK_FILES if header(name)["severity"] in wanted and name in OFFENDING]


def whole_batch(change: Change) -> dict[str, list[dict[str, str]]]:
    """A valid row of every table, with the changed rows in their place and the further ones behind."""
    rows = base()
    for table, changed in rows_of(change, "").items():
        places = {tuple(row.get(key) for key in KEYS[table]): place for place, row in enumerate(rows[table])}
        for row in changed:
            place = places.get(tuple(row.get(key) for key in KEYS[table]))
            if place is None:
                rows[table].append(row)
            else:
                rows[table][place] = row
    return rows


def correct(
    registry: Registry, change: Change, *, confirmed: bool = False, **options: object
) -> IntakeReport:
    """Send changed rows to a registry that holds the valid ones."""
    sent = received(rows_of(change, ERASE))
    if confirmed:
        tables = tuple(
            SourceTable(
                t.table,
                t.file,
                t.frame.with_columns(
                    pl.lit("yes").alias("_confirm"), pl.lit(None, dtype=pl.String).alias("_quarantine_id")
                ),
                t.columns,
            )
            for t in sent.tables
        )
        sent = Received(sent.format, (), tables)
    return accept(
        registry, sent, author="coordinator", today=TODAY, options=Options(held_share_max=1.0, **options)
    )  # type: ignore[arg-type]


def places(found: tuple, rules: frozenset[str] = frozenset()) -> set[tuple[str, str, int, str, str]]:
    """What problems say: rule, table, line, column, severity; without those of ``rules``."""
    return {(p.rule, p.table, p.line, p.column, p.severity) for p in found if p.rule not in rules}


def expected(
    name: str, severity: str, offending: Offending | None = None
) -> set[tuple[str, str, int, str, str]]:
    said = header(name)
    at = (offending or OFFENDING[name]).at
    return {(name, said["table"], 2 + row, said["column"], severity) for row in at}


def test_every_check_has_its_offending_rows():
    assert sorted(OFFENDING) == CHECK_FILES


def test_valid_rows_give_no_problem_and_no_warning(framed: Registry):
    report = load(framed, base())
    assert (report.problems, report.warnings, check_registry(framed, TODAY).height) == ((), (), 0)


@pytest.mark.parametrize("name", with_severity("hold"))
def test_a_contradiction_holds_its_rows_and_nothing_else(stored: Registry, name: str):
    report = correct(stored, OFFENDING[name].change, dry_run=True)
    assert places(report.problems, OFFENDING[name].beside) == expected(name, "hold")
    assert (report.warnings, report.total.held) == ((), len(OFFENDING[name].at))


def test_a_contradiction_cannot_be_confirmed(stored: Registry):
    report = correct(stored, OFFENDING["reviews_one_person"].change, confirmed=True, dry_run=True)
    assert places(report.problems) == expected("reviews_one_person", "hold")


@pytest.mark.parametrize("name", with_severity("review"))
def test_a_doubtful_row_is_held_for_review(stored: Registry, name: str):
    report = correct(stored, OFFENDING[name].change, dry_run=True)
    assert (places(report.problems), report.warnings) == (expected(name, "review"), ())


@pytest.mark.parametrize("name", with_severity("review"))
def test_a_doubtful_row_that_is_confirmed_is_taken_with_a_warning(stored: Registry, name: str):
    report = correct(stored, OFFENDING[name].change, confirmed=True, dry_run=True)
    assert (report.problems, places(report.warnings), report.total.held) == ((), expected(name, "warning"), 0)
    assert all(warning.message.startswith("Confirmed by the sender: ") for warning in report.warnings)


@pytest.mark.parametrize("name", with_severity("warning"))
def test_a_remarkable_row_is_taken_and_listed(stored: Registry, name: str):
    report = correct(stored, OFFENDING[name].change, dry_run=True)
    assert (report.problems, places(report.warnings), report.total.held) == ((), expected(name, "warning"), 0)


@pytest.mark.parametrize(
    ("name", "offending"),
    [
        pytest.param(name, one, id=f"{name}-{n}")
        for name, more in VARIANTS.items()
        for n, one in enumerate(more)
    ],
)
def test_every_part_of_a_condition_is_found(stored: Registry, name: str, offending: Offending):
    report = correct(stored, offending.change, dry_run=True)
    found = places((*report.problems, *report.warnings))
    assert found == expected(name, header(name)["severity"], offending)


@pytest.mark.parametrize("name", with_severity("stop"))
def test_a_batch_with_direct_identifiers_is_refused_whole(stored: Registry, name: str):
    before = stored.rows("SELECT * FROM table_state ORDER BY ALL")
    report = correct(stored, OFFENDING[name].change)
    said = header(name)
    assert f"{said['table']}.csv, line 2, column {said['column']}: {said['message']}" in report.refused
    assert stored.rows("SELECT * FROM table_state ORDER BY ALL") == before


@pytest.mark.parametrize("name", with_severity("note"))
def test_a_remark_is_found_among_the_stored_rows_only(framed: Registry, name: str):
    report = load(framed, whole_batch(OFFENDING[name].change))
    said = header(name)
    found = check_registry(framed, TODAY).select("severity", "check", "table", "column", "message").rows()
    assert (report.problems, report.warnings, found) == (
        (),
        (),
        [("note", name, said["table"], said["column"], said["message"])],
    )


def test_a_message_says_what_to_do(stored: Registry):
    problem = correct(stored, OFFENDING["complications_before_procedure"].change, dry_run=True).problems[0]
    said = header("complications_before_procedure")
    assert (
        problem.sentence() == f"complications.csv, line 2, column onset_on: {said['message']} {said['hint']}"
    )


# -- all of them in one batch ------------------------------------------------------

_KEYED = {name for key in KEYS.values() for name in key} - {"attempt", "version"}
_KEYED |= {row["field"] for row in DICTIONARY if row["allowed"].startswith("references ")} | {
    "accession",
    "supervisor",
    "radiologist",
}


def renamed(rows: dict[str, list[dict[str, str]]], mark: str) -> dict[str, list[dict[str, str]]]:
    """The same rows with keys of their own, so that they stand beside others in one batch."""
    return {
        table: [
            {
                name: value + mark if name in _KEYED | {"pathologist"} and value else value
                for name, value in row.items()
            }
            for row in given
        ]
        for table, given in rows.items()
    }


@pytest.mark.parametrize("in_place", [False, True], ids=["staged", "read in place"])
def test_all_checks_find_their_rows_in_one_first_batch(
    framed: Registry, as_files: Callable[..., Received], in_place: bool
):
    together: dict[str, list[dict[str, str]]] = {}
    wanted = set()
    for number, (name, offending) in enumerate(OFFENDING.items()):
        if not offending.together or header(name)["severity"] in ("stop", "note"):
            continue
        table = header(name)["table"]
        own = renamed(whole_batch(offending.change), f"-{number}")
        keys = [
            tuple(row.get(key, "") for key in KEYS[table])
            for row in renamed(rows_of(offending.change, ""), f"-{number}")[table]
        ]
        for place, row in enumerate(own[table]):
            if tuple(row.get(key, "") for key in KEYS[table]) in {keys[at] for at in offending.at}:
                wanted.add((name, len(together.get(table, [])) + place + 2))
        for each, rows in own.items():
            together.setdefault(each, []).extend(rows)
    sent = as_files(together) if in_place else received(together)
    report = accept(framed, sent, author="coordinator", today=TODAY, options=Options(held_share_max=1.0))
    found = {(p.rule, p.line) for p in (*report.problems, *report.warnings)}
    assert (report.refused, wanted - found, report.total.reconciles) == ("", set(), True)


def test_a_held_row_of_a_file_read_in_place_is_named_by_its_own_line(
    framed: Registry, as_files: Callable[..., Received]
):
    # Every other row lacks a time: joined on its day, those rows could come behind the others.
    first = base()["procedures"][0] | dict.fromkeys(
        ("ended_at", "injected_at", "first_scan_at", "marker", "marker_shape"), ""
    )
    rows = {name: base()[name] for name in ("patients", "findings")}
    rows["procedures"] = [
        first
        | {
            "procedure_id": f"P{n}",
            "accession": f"ACC{n}",
            "started_at": f"2025-{3 + n // 28:02}-{1 + n % 28:02}T09:30",
        }
        for n in range(60)
    ]
    for row in rows["procedures"][::2]:
        row["ended_at"] = row["started_at"]
    rows["procedures"][17]["gauge"] = "3"
    report = accept(framed, as_files(rows), author="coordinator", today=TODAY)
    cells = framed.identity.execute("SELECT cells->>'procedure_id', cells->>'gauge' FROM held_row").fetchall()
    assert ([(p.line, p.column) for p in report.problems], cells) == ([(19, "gauge")], [("P17", "3")])
    assert framed.rows("SELECT procedure_id FROM procedures ORDER BY rowid") == [
        (f"P{n}",) for n in range(60) if n != 17
    ]


# -- limits ------------------------------------------------------------------------


@pytest.mark.parametrize("change", AT_THE_LIMIT.values(), ids=AT_THE_LIMIT)
def test_the_last_right_value_is_taken_without_a_word(stored: Registry, change: Change):
    report = correct(stored, change, dry_run=True)
    assert (report.problems, report.warnings) == ((), ())
