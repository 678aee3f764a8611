"""Suspicious and not biopsied: a finding of 2025-02-20, biopsy advised on 02-21, nothing begun."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from registry import worklists
from tests.build import Rows, base, load

if TYPE_CHECKING:
    from registry.store import Registry

AS_OF = date(2025, 3, 23)


def waiting(**cells: str) -> Rows:
    """One patient with one finding and nothing after it."""
    one = base()
    return {"patients": one["patients"], "findings": [{**one["findings"][0], **cells}]}


def listed(registry: Registry, as_of: date = AS_OF) -> list[dict[str, Any]]:
    return worklists.rows(registry, "not_biopsied", as_of=as_of).to_dicts()


def test_the_wait_runs_from_the_day_on_which_biopsy_was_advised(registry: Registry):
    """21 February to 23 March 2025: 7 days to the end of February, 23 of March."""
    load(registry, waiting())

    (row,) = listed(registry)
    assert (row["finding_id"], row["days_waiting"], row["reason"]) == ("F1", 30, "biopsy advised, none begun")


def test_without_an_advised_day_it_runs_from_the_examination(registry: Registry):
    load(registry, waiting(biopsy_advised_on=""))

    (row,) = listed(registry)
    assert (row["days_waiting"], row["reason"]) == (31, "no biopsy advised, none begun")


@pytest.mark.parametrize(
    ("assessment", "on_it"),
    [("0", False), ("1", False), ("2", False), ("3", False), ("4", True), ("4A", True), ("4B", True),
     ("4C", True), ("5", True), ("6", False)],
)  # fmt: skip
def test_categories_4_and_5_are_listed(registry: Registry, assessment: str, on_it: bool):
    load(registry, waiting(assessment=assessment))

    assert bool(listed(registry)) is on_it


def test_a_finding_after_the_as_of_date_is_not_there_yet(registry: Registry):
    load(registry, waiting())

    assert listed(registry, date(2025, 2, 19)) == []
    assert len(listed(registry, date(2025, 2, 20))) == 1


@pytest.mark.parametrize("status", ["completed", "cancelled"])
def test_any_procedure_at_the_finding_ends_it_on_its_day(registry: Registry, status: str):
    rows = base()
    keep = {name: rows[name] for name in ("operators", "patients", "findings", "procedures")}
    if status == "cancelled":
        bare = (
            "cores",
            "marker",
            "marker_shape",
            "ended_at",
            "tracer",
            "activity_mbq",
            "injected_at",
            "first_scan_at",
        )
        keep["procedures"] = [
            {**{k: v for k, v in rows["procedures"][0].items() if k not in bare}, "status": "cancelled",
             "status_reason": "target_not_seen"}
        ]  # fmt: skip
    load(registry, keep)

    assert len(listed(registry, date(2025, 3, 9))) == 1
    assert listed(registry, date(2025, 3, 10)) == []


def test_a_patient_who_died_is_not_listed(registry: Registry):
    rows = waiting()
    rows["patients"] = [{**rows["patients"][0], "death_date": "2025-03-23"}]
    load(registry, rows)

    assert listed(registry) == []
    assert len(listed(registry, date(2025, 3, 22))) == 1


def test_the_most_suspicious_come_first_and_then_the_longest_wait(registry: Registry):
    one = waiting()
    finding = one["findings"][0]
    given = [
        ("A", "4", "2025-01-02"),
        ("B", "5", "2025-03-01"),
        ("C", "4C", "2025-02-01"),
        ("D", "4C", "2025-01-05"),
    ]
    one["findings"] = [
        {**finding, "finding_id": key, "assessment": assessment, "found_on": found, "biopsy_advised_on": ""}
        for key, assessment, found in given
    ]
    load(registry, one)

    assert [row["finding_id"] for row in listed(registry)] == ["B", "D", "C", "A"]
