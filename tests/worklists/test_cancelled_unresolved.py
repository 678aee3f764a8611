"""Not sampled and not resolved: cancelled on 2025-03-10 for want of uptake; the local limit is 60 days."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from registry import worklists
from tests.build import Rows, base, load

if TYPE_CHECKING:
    from registry.store import Registry

AS_OF = date(2025, 6, 30)
NO_TISSUE = {
    "status": "cancelled",
    "status_reason": "no_uptake",
    "cores": "",
    "marker": "",
    "marker_shape": "",
    "accession": "",
    "ended_at": "",
    "injected_at": "",
    "first_scan_at": "",
}
EVENT = {"event_id": "E1", "procedure_id": "P1", "happened_on": "2025-05-01"}
IMAGING = {**EVENT, "kind": "imaging", "modality": "pet_tracer", "imaging_outcome": "resolved"}


def cancelled() -> Rows:
    rows = {name: base()[name] for name in ("operators", "patients", "findings", "procedures")}
    rows["procedures"][0] |= NO_TISSUE
    return rows


def listed(registry: Registry, as_of: date = AS_OF) -> list[dict[str, Any]]:
    return worklists.rows(registry, "cancelled_unresolved", as_of=as_of).to_dicts()


@pytest.mark.parametrize(
    ("as_of", "reason", "overdue"),
    [
        (date(2025, 5, 9), "not sampled, within the local limit", 0),
        (date(2025, 5, 10), "not sampled for 61 days", 1),
    ],
)
def test_an_attempt_without_tissue_is_listed(registry: Registry, as_of: date, reason: str, overdue: int):
    load(registry, cancelled())
    row = listed(registry, as_of)[0]
    assert (row["procedure_id"], row["status_reason"], row["reason"], row["days_overdue"]) == (
        "P1",
        "no_uptake",
        reason,
        overdue,
    )


@pytest.mark.parametrize(
    "event",
    [
        IMAGING,
        {**EVENT, "kind": "registry_linkage", "diagnosis": "none"},
        {**EVENT, "kind": "registry_linkage", "diagnosis": "invasive"},
        {**EVENT, "kind": "excision", "diagnosis": "benign"},
        {**EVENT, "kind": "death"},
    ],
    ids=["clear on imaging", "no cancer on linkage", "cancer on linkage", "excision", "death"],
)
def test_a_known_outcome_takes_it_off(registry: Registry, event: dict[str, str]):
    load(registry, {**cancelled(), "followup": [event]})
    assert listed(registry) == []


@pytest.mark.parametrize(
    "cells",
    [{"modality": "mammography"}, {"imaging_outcome": "progressed"}],
    ids=["cannot show it", "growth"],
)
def test_an_examination_that_does_not_clear_leaves_it_listed(registry: Registry, cells: dict[str, str]):
    load(registry, {**cancelled(), "followup": [{**IMAGING, **cells}]})
    assert [row["last_event_on"] for row in listed(registry)] == [date(2025, 5, 1)]


def test_a_finding_sampled_afterwards_is_off(registry: Registry):
    rows = cancelled()
    later = {
        "procedure_id": "P2",
        "started_at": "2025-04-10T09:30",
        "ended_at": "",
        "injected_at": "",
        "first_scan_at": "",
        "accession": "",
    }
    rows["procedures"].append({**base()["procedures"][0], **later})
    load(registry, rows)
    assert listed(registry) == []


def test_of_several_attempts_the_last_is_listed_with_their_number(registry: Registry):
    rows = cancelled()
    rows["procedures"].append(
        {**rows["procedures"][0], "procedure_id": "P2", "started_at": "2025-04-10T09:30"}
    )
    load(registry, rows)
    assert [(row["procedure_id"], row["attempts"]) for row in listed(registry)] == [("P2", 2)]


def test_a_sampled_procedure_is_not_listed(registry: Registry):
    load(registry, base())
    assert listed(registry) == []


def test_the_last_event_up_to_as_of_is_shown(registry: Registry):
    contacts = [
        {
            "event_id": key,
            "procedure_id": "P1",
            "happened_on": day,
            "kind": "contact",
            "contact_result": result,
        }
        for key, day, result in [
            ("E1", "2025-05-01", "reached"),
            ("E3", "2025-06-30", "no_answer"),
            ("E2", "2025-06-30", "reached"),
            ("E4", "2025-07-01", "declined"),
        ]
    ]
    load(registry, {**cancelled(), "followup": contacts}, today=date(2026, 6, 30))
    assert [row["last_event"] for row in listed(registry)] == ["contact no_answer"]


def test_an_event_of_the_day_itself_is_shown(registry: Registry):
    contact = {"event_id": "E1", "procedure_id": "P1", "happened_on": "2025-03-10", "kind": "contact"}
    load(registry, {**cancelled(), "followup": [{**contact, "contact_result": "reached"}]})
    assert [row["last_event_on"] for row in listed(registry)] == [date(2025, 3, 10)]


def test_the_recommendation_of_the_latest_review_is_shown(registry: Registry):
    """Of several on one day the one with the later key; a provisional one is shown too."""
    one = {
        "procedure_id": "P1",
        "radiologist": "RA1",
        "stage": "provisional",
        "determination": "not_applicable",
    }
    reviews = [
        {**one, "review_id": key, "reviewed_on": day, "management": step}
        for key, day, step in [
            ("V9", "2025-03-12", "other"),
            ("V1", "2025-06-30", "other_imaging"),
            ("V2", "2025-06-30", "same_tracer_imaging"),
            ("V3", "2025-07-01", "none"),
        ]
    ]
    load(registry, {**cancelled(), "reviews": reviews}, today=date(2026, 6, 30))
    assert [row["last_management"] for row in listed(registry)] == ["same_tracer_imaging"]


def test_the_longest_open_comes_first(registry: Registry):
    rows = cancelled()
    rows["findings"].append({**rows["findings"][0], "finding_id": "F2"})
    own = {"procedure_id": "P0", "finding_id": "F2", "started_at": "2025-03-12T09:30"}
    rows["procedures"].append({**rows["procedures"][0], **own})
    load(registry, rows)
    assert [row["procedure_id"] for row in listed(registry)] == ["P1", "P0"]
