"""Recommended and not done: a joint review of 2025-03-20 recommends a step after the procedure of 03-10."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from registry import worklists
from tests.build import Rows, base, load

if TYPE_CHECKING:
    from registry.store import Registry

AS_OF = date(2025, 12, 1)
TODAY = date(2026, 6, 30)
STEPS = (
    "repeat_biopsy",
    "excision",
    "vacuum_excision",
    "surgical_opinion",
    "short_interval_imaging",
    "same_tracer_imaging",
    "other_imaging",
    "pathology_review",
)
#: What can end a step, dated the day after the review unless the test says otherwise.
IMAGING = {"kind": "imaging", "modality": "mammography", "imaging_outcome": "stable"}
TRACER = {**IMAGING, "modality": "gamma_tracer"}
PET = {**IMAGING, "modality": "pet_tracer"}
UNSTATED = {**IMAGING, "modality": ""}
EXCISION = {"kind": "excision", "diagnosis": "benign"}
ELSEWHERE = {**EXCISION, "same_site": "no"}
CONTACT = {"kind": "contact", "contact_result": "reached"}


def each_recommended(*managements: str, event: dict[str, str] | None = None, **cells: str) -> Rows:
    """One patient, finding and procedure for each recommendation; the event follows every one of them."""
    one = base()
    rows: Rows = {"operators": one["operators"], "meetings": one["meetings"]}
    rows |= {name: [] for name in ("patients", "findings", "procedures", "pathology", "reviews", "followup")}
    for number, management in enumerate(managements, start=1):
        key = {"procedure_id": f"P{number}"}
        finding = {"finding_id": f"F{number}"}
        patient = {"patient_id": f"PAT{number}"}
        rows["patients"].append({**one["patients"][0], **patient})
        rows["findings"].append({**one["findings"][0], **finding, **patient})
        rows["procedures"].append(
            {**one["procedures"][0], **key, **finding, "accession": "", "marker_shape": f"shape {number}"}
        )
        rows["pathology"].append({**one["pathology"][0], **key, "report_id": f"R{number}"})
        rows["reviews"].append(
            {**one["reviews"][0], **key, "review_id": f"V{number}", "management": management, **cells}
        )
        if event:
            rows["followup"].append({**key, "event_id": f"E{number}", "happened_on": "2025-03-21", **event})
    return rows


def recommended(
    registry: Registry, management: str, event: dict[str, str] | None = None, **cells: str
) -> None:
    load(registry, each_recommended(management, event=event, **cells), today=TODAY)


def listed(registry: Registry, as_of: date = AS_OF) -> list[dict[str, Any]]:
    return worklists.rows(registry, "actions_open", as_of=as_of).to_dicts()


def test_exactly_the_recommendations_that_ask_for_a_step_are_listed(registry: Registry):
    nothing = ("routine_screening", "surveillance", "treatment", "none", "other")
    load(registry, each_recommended(*STEPS, *nothing), today=TODAY)
    assert {row["management"] for row in listed(registry)} == set(STEPS)


@pytest.mark.parametrize(
    ("event", "ends"),
    [
        (IMAGING, {"short_interval_imaging", "other_imaging"}),
        (TRACER, {"short_interval_imaging", "other_imaging", "same_tracer_imaging"}),
        (PET, {"short_interval_imaging", "other_imaging", "same_tracer_imaging"}),
        (UNSTATED, {"short_interval_imaging", "other_imaging", "same_tracer_imaging"}),
        (EXCISION, {"repeat_biopsy", "excision", "vacuum_excision", "surgical_opinion"}),
        (ELSEWHERE, set()),
        (CONTACT, set()),
    ],
    ids=[
        "mammogram",
        "tracer",
        "pet tracer",
        "unstated modality",
        "excision",
        "excision elsewhere",
        "contact",
    ],
)
def test_each_event_ends_the_steps_it_can(registry: Registry, event: dict[str, str], ends: set[str]):
    load(registry, each_recommended(*STEPS, event=event), today=TODAY)
    assert {row["management"] for row in listed(registry)} == set(STEPS) - ends


def test_a_sampled_repeat_ends_what_asks_for_tissue(registry: Registry):
    tissue = ("repeat_biopsy", "excision", "vacuum_excision", "surgical_opinion")
    rows = each_recommended(*tissue)
    later = {
        "started_at": "2025-04-10T09:30",
        "repeat_reason": "discordant",
        "ended_at": "",
        "injected_at": "",
        "first_scan_at": "",
    }
    for number, first in enumerate(list(rows["procedures"])):
        own = {
            "procedure_id": f"Q{number}",
            "repeat_of": first["procedure_id"],
            "marker_shape": f"second {number}",
        }
        rows["procedures"].append({**first, **later, **own})
    load(registry, rows, today=TODAY)
    assert [row["management"] for row in listed(registry)] == ["excision"]


def test_an_event_on_the_day_of_the_review_is_not_after_it(registry: Registry):
    recommended(registry, "other_imaging", {**IMAGING, "happened_on": "2025-03-20"})
    assert len(listed(registry)) == 1


def test_a_further_report_version_ends_a_review_of_the_pathology(registry: Registry):
    recommended(registry, "pathology_review")
    load(
        registry,
        {
            "pathology": [
                {**base()["pathology"][0], "version": "2", "status": "amended", "reported_on": "2025-04-02"}
            ]
        },
        today=TODAY,
    )
    assert listed(registry) == []


@pytest.mark.parametrize(
    "event",
    [{"kind": "death"}, {"kind": "registry_linkage", "diagnosis": "invasive"}],
    ids=["death", "cancer"],
)
def test_death_and_a_later_cancer_end_every_step(registry: Registry, event: dict[str, str]):
    recommended(registry, "short_interval_imaging", event)
    assert listed(registry) == []


@pytest.mark.parametrize(
    ("as_of", "reasons"),
    [
        (date(2025, 7, 1), []),
        (date(2025, 7, 2), ["booked for a day that has passed, nothing recorded since"]),
    ],
)
def test_a_booking_hides_a_step_until_its_day_has_passed(registry: Registry, as_of: date, reasons: list[str]):
    recommended(registry, "repeat_biopsy", booked_for="2025-07-01")
    assert [row["reason"] for row in listed(registry, as_of)] == reasons


def test_a_declined_step_stays_listed_in_words(registry: Registry):
    recommended(registry, "repeat_biopsy", declined_on="2025-04-01")
    assert [row["reason"] for row in listed(registry)] == ["declined by the patient"]


@pytest.mark.parametrize(
    ("management", "cells", "due_on"),
    [
        ("short_interval_imaging", {}, date(2025, 9, 10)),  # 6 months after the procedure of 10 March
        ("pathology_review", {}, date(2025, 4, 3)),  # 14 days after the review of 20 March
        ("repeat_biopsy", {}, None),
        ("repeat_biopsy", {"due_on": "2025-04-20"}, date(2025, 4, 20)),
    ],
)
def test_the_due_day_is_the_stated_one_or_that_of_the_local_schedule(
    registry: Registry, management: str, cells: dict[str, str], due_on: date | None
):
    recommended(registry, management, **cells)
    assert [row["due_on"] for row in listed(registry)] == [due_on]


def test_only_the_latest_joint_review_counts(registry: Registry):
    recommended(registry, "repeat_biopsy")
    load(
        registry,
        {"reviews": [{**base()["reviews"][0], "review_id": "V2", "reviewed_on": "2025-04-03"}]},
        today=TODAY,
    )
    assert (len(listed(registry, date(2025, 4, 2))), listed(registry)) == (1, [])


def test_discordant_comes_first_and_declined_last_within(registry: Registry):
    rows = each_recommended("repeat_biopsy", "repeat_biopsy", "repeat_biopsy")
    discordant = {"determination": "discordant", "reason": "target_not_sampled"}
    rows["reviews"][1] |= {**discordant, "declined_on": "2025-04-01"}
    rows["reviews"][2] |= discordant
    load(registry, rows, today=TODAY)
    assert [row["procedure_id"] for row in listed(registry)] == ["P3", "P2", "P1"]


@pytest.mark.parametrize(
    ("as_of", "left"), [(date(2025, 3, 20), 1), (date(2025, 3, 21), 0)], ids=["the day before", "the day"]
)
def test_an_event_counts_from_its_own_day(registry: Registry, as_of: date, left: int):
    recommended(registry, "other_imaging", IMAGING)
    assert len(listed(registry, as_of)) == left


@pytest.mark.parametrize(
    ("cells", "as_of", "left"),
    [
        ({"status": "amended", "reported_on": "2025-04-02"}, date(2025, 4, 2), 0),
        ({"status": "amended", "reported_on": "2025-04-02"}, date(2025, 4, 1), 1),
        ({"status": "amended", "reported_on": "2025-03-20"}, date(2025, 4, 2), 1),
        ({"status": "preliminary", "reported_on": "2025-04-02"}, date(2025, 4, 2), 1),
    ],
    ids=["on as_of", "after as_of", "on the day of the review", "preliminary"],
)
def test_which_report_version_ends_a_review_of_the_pathology(
    registry: Registry, cells: dict[str, str], as_of: date, left: int
):
    rows = each_recommended("pathology_review")
    rows["pathology"].append({**rows["pathology"][0], "version": "2", **cells})
    load(registry, rows, today=TODAY)
    assert len(listed(registry, as_of)) == left


def test_a_cancer_known_on_the_day_of_the_review_ends_nothing(registry: Registry):
    """The review knew of it, and still asked for the step."""
    linkage = {"kind": "registry_linkage", "diagnosis": "invasive", "happened_on": "2025-03-20"}
    recommended(registry, "excision", linkage)
    assert len(listed(registry)) == 1


@pytest.mark.parametrize(
    ("as_of", "reason"), [(date(2025, 3, 31), "not booked"), (date(2025, 4, 1), "declined by the patient")]
)
def test_declined_counts_from_its_own_day(registry: Registry, as_of: date, reason: str):
    recommended(registry, "repeat_biopsy", declined_on="2025-04-01")
    assert [row["reason"] for row in listed(registry, as_of)] == [reason]


def test_a_review_counts_from_its_own_day_and_of_two_the_later_key(registry: Registry):
    rows = each_recommended("repeat_biopsy")
    rows["reviews"].append({**rows["reviews"][0], "review_id": "V0", "management": "excision"})
    load(registry, rows, today=TODAY)
    found = [
        [row["management"] for row in listed(registry, day)] for day in (date(2025, 3, 19), date(2025, 3, 20))
    ]
    assert found == [[], ["repeat_biopsy"]]


def test_a_provisional_review_recommends_nothing_here(registry: Registry):
    recommended(registry, "repeat_biopsy", stage="provisional")
    assert listed(registry) == []


def test_the_longest_since_the_review_comes_first(registry: Registry):
    rows = each_recommended("repeat_biopsy", "repeat_biopsy")
    rows["reviews"][0]["reviewed_on"] = "2025-03-25"
    load(registry, rows, today=TODAY)
    assert [row["procedure_id"] for row in listed(registry)] == ["P2", "P1"]
