"""Discordant and never booked, and not yet told: a joint review of 2025-03-20 after a biopsy of 03-10."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from registry import worklists
from tests.build import Rows, base, load

if TYPE_CHECKING:
    from registry.store import Registry

AS_OF = date(2025, 4, 1)
TODAY = date(2026, 6, 30)


def decided(diagnosis: str = "benign", **cells: str) -> Rows:
    """One sampled procedure with a report and one joint review."""
    rows = base()
    kept = {
        name: rows[name]
        for name in ("operators", "meetings", "patients", "findings", "procedures", "pathology", "reviews")
    }
    plain = {"specimen_id": "", "lesion": "", "b_category": "", "diagnosis": diagnosis}
    kept["pathology"] = [{**rows["pathology"][0], **plain}]
    review = {"determination": "discordant", "reason": "imaging_more_suspicious", "management": "repeat_biopsy",
              "booked_for": "", "declined_on": "", "informed_on": "", "due_on": ""}  # fmt: skip
    kept["reviews"] = [{**rows["reviews"][0], **review, **cells}]
    return kept


def listed(
    registry: Registry, name: str = "discordant_unbooked", as_of: date = AS_OF
) -> list[dict[str, Any]]:
    return worklists.rows(registry, name, as_of=as_of).to_dicts()


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ({}, "recommended, not booked"),
        ({"management": "routine_screening"}, "discordant, no step recommended"),
        ({"declined_on": "2025-03-25"}, "declined by the patient"),
        ({"declined_on": "2025-04-02"}, "recommended, not booked"),
    ],
)
def test_a_discordant_decision_without_a_booking_is_listed_with_why(
    registry: Registry, cells: dict[str, str], reason: str
):
    load(registry, decided(**cells), today=TODAY)

    (row,) = listed(registry)
    assert (row["reason"], row["days_open"]) == (reason, 12)


@pytest.mark.parametrize(
    "cells",
    [
        {"booked_for": "2025-04-10"},
        {"determination": "concordant", "reason": ""},
        {"determination": "indeterminate"},
        {"stage": "provisional", "pathologist": "", "meeting_id": ""},
    ],
    ids=["booked", "concordant", "indeterminate", "provisional"],
)
def test_everything_else_is_not(registry: Registry, cells: dict[str, str]):
    load(registry, decided(**cells), today=TODAY)

    assert listed(registry) == []


@pytest.mark.parametrize(
    ("event", "ends"),
    [
        ({"kind": "excision", "diagnosis": "benign"}, True),
        ({"kind": "excision", "diagnosis": "benign", "same_site": "no"}, False),
        ({"kind": "imaging", "modality": "mammography", "imaging_outcome": "stable"}, False),
        ({"kind": "registry_linkage", "diagnosis": "invasive"}, True),
        ({"kind": "death"}, True),
        ({"kind": "contact", "contact_result": "reached"}, False),
    ],
    ids=["excision", "excision elsewhere", "imaging", "later cancer", "death", "contact"],
)
def test_what_ends_it(registry: Registry, event: dict[str, str], ends: bool):
    rows = decided()
    rows["followup"] = [{"event_id": "E1", "procedure_id": "P1", "happened_on": "2025-03-28", **event}]
    load(registry, rows, today=TODAY)

    assert (listed(registry) == []) is ends
    assert len(listed(registry, as_of=date(2025, 3, 27))) == 1


def test_a_sampled_repeat_ends_it_for_the_first_procedure(registry: Registry):
    rows = decided()
    again = {"procedure_id": "P2", "started_at": "2025-03-28T09:30", "ended_at": "", "injected_at": "",
             "first_scan_at": "", "repeat_of": "P1", "repeat_reason": "discordant", "accession": "", "marker_shape": "ring"}  # fmt: skip
    rows["procedures"] = [rows["procedures"][0], {**rows["procedures"][0], **again}]
    load(registry, rows, today=TODAY)

    assert listed(registry) == []
    assert len(listed(registry, as_of=date(2025, 3, 27))) == 1


@pytest.mark.parametrize(
    ("diagnosis", "cells", "reason"),
    [
        ("invasive", {"determination": "concordant", "reason": ""}, "malignant result, not recorded as told"),
        ("benign", {}, "discordant decision, not recorded as told"),
        ("benign", {"determination": "concordant", "reason": ""}, "not recorded as told"),
    ],
)
def test_who_was_not_told_is_listed_with_why(
    registry: Registry, diagnosis: str, cells: dict[str, str], reason: str
):
    load(registry, decided(diagnosis, **cells), today=TODAY)

    (row,) = listed(registry, "informed_pending")
    assert (row["reason"], row["days_waiting"]) == (reason, 12)


@pytest.mark.parametrize(
    ("told", "as_of", "on_it"),
    [("2025-03-21", AS_OF, False), ("2025-04-01", AS_OF, False), ("2025-04-02", AS_OF, True)],
)
def test_telling_ends_it_on_its_day(registry: Registry, told: str, as_of: date, on_it: bool):
    load(registry, decided(informed_on=told), today=TODAY)

    assert bool(listed(registry, "informed_pending", as_of)) is on_it


def test_an_indeterminate_decision_is_still_being_worked_on(registry: Registry):
    load(registry, decided(determination="indeterminate"), today=TODAY)

    assert listed(registry, "informed_pending") == []
