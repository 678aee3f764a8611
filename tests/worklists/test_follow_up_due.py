"""Follow-up due: a benign result of 2025-03-10, dates at 6, 12 and 24 months, grace 60 days.

The dates are 2025-09-10, 2026-03-10 and 2027-03-10. The finding shows on tracer imaging
alone (correlate none), so a mammogram cannot clear it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from registry import worklists
from tests.build import base, load

if TYPE_CHECKING:
    from registry.store import Registry

TODAY = date(2028, 1, 1)
EVENT = {
    "event_id": "E1",
    "procedure_id": "P1",
    "kind": "imaging",
    "modality": "pet_tracer",
    "imaging_outcome": "stable",
}


def listed(registry: Registry, as_of: date) -> list[dict[str, Any]]:
    return worklists.rows(registry, "follow_up_due", as_of=as_of).to_dicts()


def followed(registry: Registry, *events: dict[str, str]) -> None:
    rows = [{**EVENT, **event, "event_id": f"E{number}"} for number, event in enumerate(events, start=1)]
    load(registry, {"followup": rows}, today=TODAY)


@pytest.mark.parametrize(
    ("as_of", "expected"),
    [
        (date(2025, 9, 9), []),
        (date(2025, 9, 10), [(3, "due", 0)]),
        (date(2025, 11, 9), [(3, "due", 60)]),
        (date(2025, 11, 10), [(2, "overdue by 61 days", 61)]),
    ],
)
def test_due_on_the_date_and_overdue_after_the_grace(
    undecided: Registry, as_of: date, expected: list[tuple[int, str, int]]
):
    assert [
        (row["place"], row["reason"], row["days_overdue"]) for row in listed(undecided, as_of)
    ] == expected


@pytest.mark.parametrize(
    ("happened_on", "next_due_on"),
    [("2025-07-12", date(2026, 3, 10)), ("2025-07-11", date(2025, 9, 10))],
    ids=["60 days early", "61 days early"],
)
def test_an_examination_meets_a_date_up_to_the_grace_before_it(
    undecided: Registry, happened_on: str, next_due_on: date
):
    followed(undecided, {"happened_on": happened_on})
    assert [row["next_due_on"] for row in listed(undecided, date(2026, 3, 10))] == [next_due_on]


def test_an_examination_that_cannot_show_the_target_meets_no_date(undecided: Registry):
    followed(undecided, {"happened_on": "2025-09-10", "modality": "mammography"})
    row = listed(undecided, date(2025, 9, 20))[0]
    assert (row["next_due_on"], row["clear_until"], row["last_event"]) == (
        date(2025, 9, 10),
        None,
        "imaging mammography stable",
    )


@pytest.mark.parametrize("outcome", ["progressed", "new_finding"])
def test_growth_is_listed_at_once_and_first(undecided: Registry, outcome: str):
    followed(undecided, {"happened_on": "2025-06-01", "imaging_outcome": outcome})
    assert [(row["place"], row["days_overdue"]) for row in listed(undecided, date(2025, 6, 1))] == [(1, 0)]


def test_a_later_stable_examination_takes_growth_off(undecided: Registry):
    followed(
        undecided,
        {"happened_on": "2025-06-01", "imaging_outcome": "progressed"},
        {"happened_on": "2025-08-20"},
    )
    assert listed(undecided, date(2025, 9, 10)) == []


def test_a_later_examination_that_cannot_show_the_target_takes_no_growth_off(undecided: Registry):
    """Mammography says stable of a target that was seen on tracer imaging alone."""
    followed(
        undecided,
        {"happened_on": "2025-06-01", "imaging_outcome": "progressed"},
        {"happened_on": "2025-08-20", "modality": "mammography"},
    )
    row = listed(undecided, date(2025, 9, 10))[0]
    assert (row["place"], row["reason"]) == (1, "growth or a new finding, no tissue since")
    assert (
        row["not_cleared_because"]
        == "mammography of 2025-08-20 cannot show a target seen on tracer imaging alone"
    )


def test_growth_on_an_examination_that_need_not_show_the_target_is_growth(undecided: Registry):
    followed(
        undecided, {"happened_on": "2025-06-01", "modality": "mammography", "imaging_outcome": "new_finding"}
    )
    assert [row["place"] for row in listed(undecided, date(2025, 6, 1))] == [1]


@pytest.mark.parametrize(
    ("happened_on", "expected"),
    [("2027-01-08", []), ("2027-01-07", [date(2027, 3, 10)])],
    ids=["669 days", "668 days"],
)
def test_clear_for_669_days_is_resolved(undecided: Registry, happened_on: str, expected: list[date]):
    followed(undecided, {"happened_on": happened_on})
    assert [row["next_due_on"] for row in listed(undecided, date(2027, 12, 1))] == expected


@pytest.mark.parametrize(
    "event",
    [
        {
            "kind": "excision",
            "diagnosis": "benign",
            "excision_kind": "diagnostic",
            "modality": "",
            "imaging_outcome": "",
        },
        {"kind": "registry_linkage", "diagnosis": "invasive", "modality": "", "imaging_outcome": ""},
        {"kind": "death", "modality": "", "imaging_outcome": ""},
    ],
    ids=["excision", "later cancer", "death"],
)
def test_tissue_cancer_and_death_take_it_off(undecided: Registry, event: dict[str, str]):
    followed(undecided, {"happened_on": "2025-10-01", **event})
    assert listed(undecided, date(2025, 12, 1)) == []


def test_an_excision_elsewhere_does_not_take_it_off(undecided: Registry):
    elsewhere = {
        "kind": "excision",
        "diagnosis": "benign",
        "same_site": "no",
        "modality": "",
        "imaging_outcome": "",
    }
    followed(undecided, {"happened_on": "2025-10-01", **elsewhere})
    assert len(listed(undecided, date(2025, 12, 1))) == 1


LOST = {"kind": "lost", "closure_reason": "untraced", "modality": "", "imaging_outcome": ""}
CONTACT = {"kind": "contact", "contact_result": "no_answer", "modality": "", "imaging_outcome": ""}


def test_lost_to_follow_up_stays_listed_at_the_end(undecided: Registry):
    followed(undecided, {"happened_on": "2025-10-01", **CONTACT}, {"happened_on": "2025-11-01", **LOST})
    row = listed(undecided, date(2025, 12, 1))[0]
    assert (row["place"], row["contact_attempts"], row["last_event"]) == (4, 1, "lost untraced")


def test_an_event_after_the_closure_brings_it_back(undecided: Registry):
    followed(undecided, {"happened_on": "2025-10-01", **LOST}, {"happened_on": "2025-11-01", **CONTACT})
    assert [row["place"] for row in listed(undecided, date(2025, 12, 1))] == [2]


@pytest.mark.parametrize("diagnosis", ["high_risk", "insufficient", "invasive"])
def test_of_what_is_not_decided_only_benign_results_are_listed(registry: Registry, diagnosis: str):
    """The others stand on the list of the meeting until it decides."""
    rows = base()
    rows["followup"] = []
    rows["reviews"] = []
    rows["pathology"][0] |= {"diagnosis": diagnosis, "b_category": "", "morphology": "", "lesion": ""}
    load(registry, rows, today=TODAY)
    assert listed(registry, date(2026, 1, 1)) == []


def test_of_a_chain_only_the_newest_benign_result_is_listed(registry: Registry):
    rows = base()
    rows["followup"] = []
    repeat = {
        "procedure_id": "P2",
        "started_at": "2025-04-10T09:30",
        "repeat_of": "P1",
        "repeat_reason": "imaging_change",
        "accession": "",
        "marker_shape": "ring",
    }
    clocks = {"ended_at": "", "injected_at": "", "first_scan_at": ""}
    rows["procedures"].append({**rows["procedures"][0], **repeat, **clocks})
    rows["pathology"].append(
        {**rows["pathology"][0], "report_id": "R2", "procedure_id": "P2", "reported_on": "2025-04-14"}
    )
    load(registry, rows, today=TODAY)
    assert [row["procedure_id"] for row in listed(registry, date(2026, 1, 1))] == ["P2"]


def test_an_event_dated_after_as_of_does_not_exist(undecided: Registry):
    followed(undecided, {"happened_on": "2025-09-11"})
    assert [row["last_event_on"] for row in listed(undecided, date(2025, 9, 10))] == [None]


def test_of_two_events_on_one_day_the_later_key_is_the_last(undecided: Registry):
    followed(
        undecided,
        {"happened_on": "2025-06-01"},
        {"happened_on": "2025-06-01", "imaging_outcome": "progressed"},
    )
    row = listed(undecided, date(2025, 6, 1))[0]
    assert (row["place"], row["last_event"]) == (1, "imaging pet_tracer progressed")


def test_a_call_on_the_day_of_the_procedure_is_an_attempt(undecided: Registry):
    followed(undecided, {"happened_on": "2025-03-10", **CONTACT})
    assert [row["contact_attempts"] for row in listed(undecided, date(2025, 9, 10))] == [1]


@pytest.mark.parametrize(("last", "expected"), [("stable", []), ("progressed", [(1, None)])])
def test_after_the_last_date_of_the_local_schedule_only_growth_is_listed(
    undecided: Registry, last: str, expected: list[tuple[int, date | None]]
):
    undecided.site = replace(undecided.site, benign_months=(6,))
    followed(undecided, {"happened_on": "2025-09-10"}, {"happened_on": "2026-01-10", "imaging_outcome": last})
    assert [(row["place"], row["next_due_on"]) for row in listed(undecided, date(2026, 6, 30))] == expected


def test_the_longest_overdue_comes_first(registry: Registry):
    rows = {name: base()[name] for name in ("operators", "patients", "findings", "procedures", "pathology")}
    rows["findings"].append({**rows["findings"][0], "finding_id": "F2"})
    own = {
        "procedure_id": "P0",
        "finding_id": "F2",
        "started_at": "2025-03-12T09:30",
        "ended_at": "",
        "accession": "",
    }
    clocks = {"injected_at": "", "first_scan_at": "", "marker_shape": "ring"}
    rows["procedures"].append({**rows["procedures"][0], **own, **clocks})
    rows["pathology"].append({**rows["pathology"][0], "report_id": "R2", "procedure_id": "P0"})
    load(registry, rows, today=TODAY)
    assert [row["procedure_id"] for row in listed(registry, date(2026, 1, 1))] == ["P1", "P0"]
