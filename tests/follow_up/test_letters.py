"""Letters of recall: the row of each patient, what stands in the trail, and what is refused."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from registry.errors import ConfirmFirst, Refused, UsageProblem
from registry.follow_up import recall
from registry.people import Actor, Role, acting
from registry.store import Registry
from tests.build import load
from tests.worklists.conftest import undecided_rows

if TYPE_CHECKING:
    from pathlib import Path

#: The procedure is of 2025-03-10 and due six months later.
DUE = date(2025, 9, 10)
COORDINATOR = Actor(
    "ines",
    frozenset({Role.COORDINATOR}),
    via="account",
    confirmed_at=datetime(2025, 4, 1, 8, 0, tzinfo=UTC),
)
PURPOSE = "letters of the autumn recall"
COLUMNS = [
    "patient_id",
    "birth_date",
    "procedure_id",
    "started_on",
    "next_due_on",
    "days_overdue",
    "result_class",
]


def test_a_row_says_who_is_written_to_and_why(undecided: Registry):
    with acting(COORDINATOR):
        found = recall(undecided, as_of=DUE + timedelta(days=5), purpose=PURPOSE)

    assert found.columns == COLUMNS
    assert found.rows() == [("PAT1", date(1960, 5, 17), "P1", date(2025, 3, 10), DUE, 5, "tracer_only")]


def test_a_registry_that_holds_no_identifiers_yet_writes_to_nobody(folder: Path):
    clock = lambda: COORDINATOR.confirmed_at  # noqa: E731
    with acting(COORDINATOR), Registry.open(folder, write=True, clock=clock) as empty:
        found = recall(empty, as_of=DUE, purpose=PURPOSE)

    assert (found.columns, found.height) == (COLUMNS, 0)


def test_the_longest_overdue_stands_first(registry: Registry):
    """PAT2 had her biopsy a day earlier; her rows come in after those of PAT1."""
    rows = undecided_rows()
    rows["patients"].append({**rows["patients"][0], "patient_id": "PAT2", "birth_date": "1971-02-03"})
    rows["findings"].append({**rows["findings"][0], "finding_id": "F2", "patient_id": "PAT2"})
    rows["procedures"].append(
        {
            **rows["procedures"][0],
            "procedure_id": "P2",
            "finding_id": "F2",
            "accession": "ACC2",
            **dict.fromkeys(("ended_at", "injected_at", "first_scan_at"), ""),
            "started_at": "2025-03-09T09:30",
        }
    )
    rows["pathology"].append({**rows["pathology"][0], "report_id": "R2", "procedure_id": "P2"})
    rows["pathology"][1].pop("specimen_id", None)
    load(registry, rows, today=date(2028, 1, 1))
    found = recall(registry, as_of=DUE, purpose=PURPOSE)

    assert found.select("patient_id", "birth_date", "procedure_id").rows() == [
        ("PAT2", date(1971, 2, 3), "P2"),
        ("PAT1", date(1960, 5, 17), "P1"),
    ]


@pytest.mark.parametrize(("as_of", "patients"), [(DUE, 1), (DUE - timedelta(days=1), 0)])
def test_the_trail_says_for_what_and_of_how_many_the_identifiers_were_taken(
    undecided: Registry, as_of: date, patients: int
):
    with acting(COORDINATOR):
        found = recall(undecided, as_of=as_of, purpose=" letters  of the\nautumn recall ")
    (entry,) = undecided.rows(
        "SELECT actor, object_kind, object_key, details FROM audit_event WHERE action = 'recall'"
    )

    assert (found.columns, found.height) == (COLUMNS, patients)
    assert entry[:3] == ("ines", "list", "")
    assert json.loads(entry[3]) == {"purpose": PURPOSE, "patients": patients, "as_of": as_of.isoformat()}


def test_a_purpose_of_blanks_is_too_short(undecided: Registry):
    """Blanks count once: "x   x   x   x" are seven characters."""
    said = r"^Say in 10 to 200 characters what the identifiers are for; it is written to the trail\.$"
    with acting(COORDINATOR), pytest.raises(UsageProblem, match=said):
        recall(undecided, as_of=DUE, purpose="x   x   x   x")


def test_that_identifiers_were_refused_stands_in_the_trail(undecided: Registry):
    with acting(replace(COORDINATOR, roles=frozenset({Role.VIEWER}))), pytest.raises(Refused):
        recall(undecided, as_of=DUE, purpose=PURPOSE)

    assert undecided.rows(
        "SELECT actor, action, object_kind, object_key FROM audit_event WHERE outcome = 'refused'"
    ) == [("ines", "see identifiers of patients", "recall", "")]


def test_an_unconfirmed_password_takes_no_identifiers(undecided: Registry):
    with acting(replace(COORDINATOR, confirmed_at=None)), pytest.raises(ConfirmFirst):
        recall(undecided, as_of=DUE, purpose=PURPOSE)

    assert undecided.rows("SELECT count(*) FROM audit_event WHERE action = 'recall'") == [(0,)]
