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
