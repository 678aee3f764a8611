"""References, required fields and keys at intake, and what follows from a held row."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.dictionary import KEYS
from tests.build import BASE, base, load
from tests.intake.changed import rows_of
from tests.intake.offending import (
    LATER,
    OFFENDING,
    REPEAT,
    Cells,
)
from tests.intake.test_checks import DICTIONARY, correct, places

if TYPE_CHECKING:
    from registry.store import Registry

# -- references, required fields, keys ---------------------------------------------

REFERENCES = [
    (row["table"], row["field"], row["allowed"].split()[1].rstrip(";"))
    for row in DICTIONARY
    if row["allowed"].startswith("references ")
]


@pytest.mark.parametrize(("table", "field", "parent"), REFERENCES)
def test_a_reference_to_nothing_holds_the_row(stored: Registry, table: str, field: str, parent: str):
    cells: Cells = {field: "NOWHERE"}
    if field == "repeat_of":
        cells["repeat_reason"] = "discordant"
    report = correct(stored, {table: [cells]}, dry_run=True)
    assert places(report.problems) == {("reference", table, 2, field, "hold")}
    echoed = "NOWHERE" in report.problems[0].message
    assert (parent in report.problems[0].message, echoed) == (True, field != "patient_id")


REQUIRED = {
    table: [row["field"] for row in DICTIONARY if row["table"] == table and row["required"] == "yes"]
    for table in KEYS
}


@pytest.mark.parametrize("table", REQUIRED)
def test_a_required_field_left_empty_holds_the_row(stored: Registry, table: str):
    # Each row lacks one field; keys are new, for an empty cell leaves a stored value as it is.
    rows = []
    for number, field in enumerate(REQUIRED[table], 2):
        own = {"attempt": str(number)} if table == "targeting" else {KEYS[table][0]: f"NEW{number}"}
        rows.append(BASE[table][0] | own | {field: ""})
    report = load(stored, {table: rows}, dry_run=True)
    assert places(report.problems) == {
        ("required", table, line, field, "hold") for line, field in enumerate(REQUIRED[table], 2)
    }


@pytest.mark.parametrize("table", KEYS)
def test_rows_with_one_key_are_all_held_and_their_lines_named(stored: Registry, table: str):
    report = correct(stored, {table: [{}, {}]}, dry_run=True)
    assert places(report.problems) == {
        ("duplicate_key", table, line, KEYS[table][0], "hold") for line in (2, 3)
    }
    assert all("lines 2, 3" in problem.message for problem in report.problems)


def test_a_second_container_of_one_report_is_no_duplicate(stored: Registry):
    report = correct(stored, {"pathology": [{"specimen_id": "S1"}, {"specimen_id": "S2"}, {}]}, dry_run=True)
    assert (report.problems, report.total.new) == ((), 2)


# -- what follows from a held row --------------------------------------------------


def test_a_held_finding_holds_what_depends_on_it_and_nothing_else(framed: Registry):
    rows = base()
    rows["findings"][0]["assessment"] = "55"
    report = load(framed, rows, held_share_max=1.0)
    held = {name: count.held for name, count in report.tables.items()}
    free = dict.fromkeys(("operators", "sources", "meetings", "patients", "constancy"), 0)
    assert held == free | {name: len(rows[name]) for name in rows if name not in free}
    assert {p.rule for p in report.problems if p.table != "findings"} == {"reference"}


def test_a_row_that_depends_on_a_held_one_says_so(framed: Registry):
    rows = base()
    rows["procedures"][0]["gauge"] = "3"
    report = load(framed, rows, held_share_max=1.0)
    said = {p.message for p in report.problems if p.table == "specimens" and p.column == "procedure_id"}
    assert said == {"The row of procedures it refers to is held (procedures.csv, line 2)."}


def test_the_first_procedure_being_held_holds_the_whole_chain(framed: Registry):
    rows = base()
    rows["procedures"][0]["gauge"] = "3"
    rows["procedures"] += rows_of(
        {
            "procedures": [
                LATER | REPEAT,
                LATER | REPEAT | {"procedure_id": "P3", "repeat_of": "P2", "started_at": "2025-05-10T09:30"},
            ]
        },
        "",
    )["procedures"]
    report = load(
        framed, {name: rows[name] for name in ("patients", "findings", "procedures")}, held_share_max=1.0
    )
    assert report.tables["procedures"].held == 3


def test_a_circle_of_repeats_is_named_in_its_order(stored: Registry):
    report = correct(stored, OFFENDING["procedures_repeat_cycle"].change, dry_run=True)
    said = {p.line: p.message for p in report.problems if p.rule == "procedures_repeat_cycle"}
    assert [said[line].rsplit(": ", 1)[1] for line in (2, 3, 4)] == [
        "P1 -> P3 -> P2 -> P1",
        "P2 -> P1 -> P3 -> P2",
        "P3 -> P2 -> P1 -> P3",
    ]
