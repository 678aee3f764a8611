"""Concordance review: who is listed, why, and what opens a decision again.

The procedure of ``tests.build`` was done on 2025-03-10, reported benign on 03-14 and
found concordant on 03-20. The local limit for a joint review is 14 days.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from registry import facts, worklists
from registry.dictionary import tables
from registry.intake import write
from tests.build import Rows, base, load

if TYPE_CHECKING:
    from registry.store import Registry
    from tests.worklists.conftest import Clock

AS_OF = date(2025, 6, 30)
FIRST = base()["pathology"][0]
AMENDED = {**FIRST, "version": "2", "status": "amended", "reported_on": "2025-05-02"}


def listed(registry: Registry, as_of: date = AS_OF) -> list[dict[str, Any]]:
    return worklists.rows(registry, "concordance_review", as_of=as_of).to_dicts()


def reasons(registry: Registry, as_of: date = AS_OF) -> list[tuple[str, int, str]]:
    return [(row["procedure_id"], row["place"], row["reason"]) for row in listed(registry, as_of)]


def reported(**cells: str) -> Rows:
    """The procedure reported and not reviewed; ``cells`` go into the report."""
    rows = base()
    rows["reviews"] = []
    rows["pathology"] = [{**FIRST, **cells}]
    return rows


def review(review_id: str, day: str, **cells: str) -> Rows:
    return {"reviews": [{**base()["reviews"][0], "review_id": review_id, "reviewed_on": day, **cells}]}


# -- who is listed -----------------------------------------------------------------


def test_a_decided_procedure_is_not_listed(decided: Registry):
    assert listed(decided) == []


@pytest.mark.parametrize(
    ("as_of", "expected"),
    [
        # 14 days after the report, the last within the limit; then the day after it.
        (date(2025, 3, 28), ("P1", 6, "reported, within the local limit")),
        (date(2025, 3, 29), ("P1", 5, "reported 15 days ago")),
    ],
)
def test_a_reported_procedure_without_a_joint_review_is_listed(
    undecided: Registry, as_of: date, expected: tuple[str, int, str]
):
    assert reasons(undecided, as_of) == [expected]


def test_the_wait_counts_from_the_first_report_and_overdue_from_the_limit(undecided: Registry):
    row = listed(undecided, date(2025, 4, 3))[0]
    # 14 March to 3 April are 20 days, 6 beyond the 14 of the local limit.
    assert (row["waiting_since"], row["days_waiting"], row["days_overdue"]) == (date(2025, 3, 14), 20, 6)


def test_before_its_report_a_procedure_is_not_listed(undecided: Registry):
    assert listed(undecided, date(2025, 3, 13)) == []


def test_a_provisional_review_does_not_decide(undecided: Registry):
    load(undecided, review("V1", "2025-03-20", stage="provisional", meeting_id=""))
    assert [row[0] for row in reasons(undecided)] == ["P1"]


def test_a_procedure_without_tissue_is_not_listed(registry: Registry):
    rows = reported()
    rows["pathology"], rows["specimens"] = [], []
    rows["procedures"][0] |= {
        "status": "cancelled",
        "status_reason": "no_uptake",
        "cores": "",
        "marker": "",
        "marker_shape": "",
    }
    load(registry, {name: rows[name] for name in ("operators", "patients", "findings", "procedures")})
    assert listed(registry) == []


def test_an_indeterminate_last_review_is_listed_from_its_day(undecided: Registry):
    load(undecided, review("V1", "2025-03-20"))
    load(
        undecided, review("V2", "2025-04-10", determination="indeterminate", reason="awaiting_second_opinion")
    )
    row = listed(undecided)[0]
    assert (row["place"], row["reason"], row["waiting_since"]) == (
        4,
        "indeterminate at the last review",
        date(2025, 4, 10),
    )


def test_a_conclusive_review_after_an_indeterminate_one_takes_it_off(undecided: Registry):
    load(
        undecided, review("V1", "2025-03-20", determination="indeterminate", reason="awaiting_second_opinion")
    )
    load(undecided, review("V2", "2025-04-10"))
    assert listed(undecided) == []


# -- the order ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("assessment", "diagnosis", "place"),
    [
        ("5", "benign", 2),
        ("4C", "insufficient", 2),
        ("4B", "benign", 5),
        ("5", "high_risk", 3),
        ("4B", "invasive", 3),
        ("4B", "in_situ", 3),
        ("4B", "suspicious", 3),
    ],
)
def test_result_against_category_gives_the_place(
    registry: Registry, assessment: str, diagnosis: str, place: int
):
    rows = reported(diagnosis=diagnosis, b_category="", morphology="", lesion="")
    rows["findings"][0]["assessment"] = assessment
    load(registry, rows)
    assert [row[1] for row in reasons(registry)] == [place]


def test_the_most_urgent_comes_first_and_the_longest_wait_within_a_place(registry: Registry):
    rows = reported()
    for number, (assessment, reported_on) in enumerate(
        [("4B", "2025-03-15"), ("5", "2025-03-18"), ("5", "2025-03-16")], start=2
    ):
        rows["findings"].append({**rows["findings"][0], "finding_id": f"F{number}", "assessment": assessment})
        rows["procedures"].append(
            {
                **rows["procedures"][0],
                "procedure_id": f"P{number}",
                "finding_id": f"F{number}",
                "accession": "",
                "marker_shape": f"shape {number}",
            }
        )
        rows["pathology"].append(
            {**FIRST, "report_id": f"R{number}", "procedure_id": f"P{number}", "reported_on": reported_on}
        )
    load(registry, rows)
    assert [row[0] for row in reasons(registry)] == ["P4", "P3", "P1", "P2"]


# -- opened again ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "value", "changed"),
    [
        ("diagnosis", "high_risk", "diagnosis benign to high risk"),
        ("b_category", "B3", "B category B2 to B3"),
        ("lesion", "papilloma", "lesion"),
        ("other_lesions", "adh", "further lesions"),
        ("atypia", "yes", "atypia"),
        ("calcifications", "no", "calcifications"),
    ],
)
def test_an_amended_report_opens_the_decision_and_says_what_changed(
    decided: Registry, cell: str, value: str, changed: str
):
    load(decided, {"pathology": [{**AMENDED, cell: value}]})
    row = listed(decided)[0]
    assert (row["place"], row["reason"], row["changed"]) == (1, "changed since it was decided", changed)


@pytest.mark.parametrize(
    ("cell", "value"), [("er", "positive"), ("pathologist", "PA2"), ("conclusion", "Same, other words.")]
)
def test_receptors_and_wording_alone_open_nothing(decided: Registry, cell: str, value: str):
    load(decided, {"pathology": [{**AMENDED, cell: value}]})
    assert listed(decided) == []


def test_it_waits_from_the_day_of_the_amended_report(decided: Registry):
    load(decided, {"pathology": [{**AMENDED, "diagnosis": "high_risk"}]})
    assert [(row["waiting_since"], row["days_waiting"]) for row in listed(decided, date(2025, 5, 12))] == [
        (date(2025, 5, 2), 10)
    ]


def test_an_amended_report_dated_after_as_of_does_not_exist(decided: Registry):
    load(decided, {"pathology": [{**AMENDED, "diagnosis": "high_risk"}]})
    assert listed(decided, date(2025, 5, 1)) == []


def test_a_review_after_the_amended_report_takes_it_off(decided: Registry):
    load(decided, {"pathology": [{**AMENDED, "diagnosis": "high_risk"}]})
    load(decided, review("V2", "2025-05-08"))
    assert listed(decided) == []


@pytest.mark.parametrize(("recorded", "expected"), [("2025-03-20T16:00", ["P1"]), ("2025-03-20T08:00", [])])
def test_on_the_day_of_the_review_the_time_of_recording_decides(
    registry: Registry, clock: Clock, recorded: str, expected: list[str]
):
    """The decision was recorded at noon: what was in the record before it was seen."""
    amended = {"pathology": [{**AMENDED, "reported_on": "2025-03-20", "diagnosis": "high_risk"}]}
    clock.set("2025-03-15T08:00")
    load(registry, reported())
    for moment, rows in sorted(
        [("2025-03-20T12:00", review("V1", "2025-03-20")), (recorded, amended)], key=lambda one: one[0]
    ):
        clock.set(moment)
        load(registry, rows)
    assert [row["procedure_id"] for row in listed(registry)] == expected


def test_a_later_entry_in_the_same_review_is_no_new_decision(registry: Registry, clock: Clock):
    clock.set("2025-03-20T12:00")
    load(registry, base())
    clock.set("2025-03-20T16:00")
    load(registry, {"pathology": [{**AMENDED, "reported_on": "2025-03-20", "diagnosis": "high_risk"}]})
    clock.set("2025-03-21T09:00")
    load(registry, {"reviews": [{"review_id": "V1", "informed_on": "2025-03-21"}]})
    assert [row["changed"] for row in listed(registry)] == ["diagnosis benign to high risk"]


def test_a_corrected_version_that_was_typed_wrongly_opens_the_decision(decided: Registry, clock: Clock):
    clock.set("2025-04-02T08:00")
    load(
        decided,
        {"pathology": [{"report_id": "R1", "version": "1", "procedure_id": "P1", "diagnosis": "high_risk"}]},
    )
    assert [row["changed"] for row in listed(decided)] == ["diagnosis benign to high risk"]


def test_a_retracted_report_opens_the_decision(decided: Registry):
    load(decided, {"pathology": [{**AMENDED, "status": "retracted"}]})
    assert [row["changed"] for row in listed(decided)] == ["report retracted"]


@pytest.mark.parametrize(("status", "expected"), [("final", ["report added"]), ("preliminary", [])])
def test_a_report_added_later_opens_the_decision_unless_it_is_preliminary(
    decided: Registry, status: str, expected: list[str]
):
    load(
        decided, {"pathology": [{**FIRST, "report_id": "R2", "status": status, "reported_on": "2025-05-02"}]}
    )
    assert [row["changed"] for row in listed(decided)] == expected


def test_a_withdrawn_report_opens_the_decision(decided: Registry, clock: Clock):
    clock.set("2025-04-02T08:00")
    with decided.writing() as cursor:
        stamp = write.Stamp(clock.now.replace(tzinfo=None), "coordinator", 2, "wrong patient")
        write.withdraw_row(cursor, tables()["pathology"], ("R1", "P1", None, 1), stamp)
        facts.rebuild(cursor)
    assert [row["changed"] for row in listed(decided)] == ["report withdrawn"]


def test_another_breast_opens_the_decision(decided: Registry, clock: Clock):
    clock.set("2025-04-02T08:00")
    load(decided, {"findings": [{"finding_id": "F1", "laterality": "R"}]})
    assert [row["changed"] for row in listed(decided)] == ["breast"]


def test_several_changes_are_said_in_one_row(decided: Registry):
    load(decided, {"pathology": [{**AMENDED, "diagnosis": "high_risk", "atypia": "yes"}]})
    load(decided, {"pathology": [{**FIRST, "report_id": "R2", "reported_on": "2025-05-03"}]})
    assert [row["changed"] for row in listed(decided)] == [
        "diagnosis benign to high risk, atypia; report added"
    ]


# -- which version the decision rested on ------------------------------------------


def test_what_is_dated_on_as_of_counts(decided: Registry):
    load(decided, {"pathology": [{**AMENDED, "diagnosis": "high_risk"}]})
    load(decided, review("V2", "2025-05-08"))
    assert (
        [row["procedure_id"] for row in listed(decided, date(2025, 5, 2))],
        listed(decided, date(2025, 5, 8)),
    ) == (["P1"], [])


def test_of_two_joint_reviews_on_one_day_the_later_key_is_the_latest(undecided: Registry):
    load(undecided, review("V2", "2025-03-20", determination="indeterminate", reason="awaiting_imaging"))
    load(undecided, review("V1", "2025-03-20"))
    assert [row["place"] for row in listed(undecided)] == [4]


def test_a_decision_changed_in_the_same_review_dates_from_the_change(undecided: Registry, clock: Clock):
    clock.set("2025-04-02T12:00")
    load(undecided, review("V1", "2025-03-20"))
    clock.set("2025-04-03T12:00")
    load(undecided, {"pathology": [{**AMENDED, "reported_on": "2025-03-20", "diagnosis": "high_risk"}]})
    clock.set("2025-04-04T12:00")
    changed = {"determination": "discordant", "reason": "target_not_sampled", "management": "repeat_biopsy"}
    load(undecided, {"reviews": [{"review_id": "V1", **changed}]})
    assert listed(undecided) == []


def test_a_provisional_entry_made_joint_dates_from_when_it_was_joint(undecided: Registry, clock: Clock):
    clock.set("2025-04-02T12:00")
    load(undecided, review("V1", "2025-03-20", stage="provisional"))
    clock.set("2025-04-03T12:00")
    load(undecided, {"pathology": [{**AMENDED, "reported_on": "2025-03-20", "diagnosis": "high_risk"}]})
    clock.set("2025-04-04T12:00")
    load(undecided, {"reviews": [{"review_id": "V1", "stage": "joint"}]})
    assert listed(undecided) == []


def test_the_newest_version_known_at_the_decision_is_its_basis(undecided: Registry, clock: Clock):
    second = {**AMENDED, "reported_on": "2025-03-20", "diagnosis": "high_risk"}
    load(undecided, {"pathology": [second]})
    clock.set("2025-04-02T12:00")
    load(undecided, review("V1", "2025-03-20"))
    clock.set("2025-05-02T12:00")
    load(
        undecided, {"pathology": [{**second, "version": "3", "reported_on": "2025-05-02", "er": "positive"}]}
    )
    assert listed(undecided) == []


def test_a_superseded_version_that_is_corrected_later_opens_nothing(undecided: Registry, clock: Clock):
    load(undecided, {"pathology": [{**AMENDED, "reported_on": "2025-03-18", "diagnosis": "high_risk"}]})
    load(undecided, review("V1", "2025-03-20"))
    clock.set("2025-05-02T12:00")
    load(
        undecided,
        {"pathology": [{"report_id": "R1", "version": "1", "procedure_id": "P1", "diagnosis": "normal"}]},
    )
    assert listed(undecided) == []


def test_a_preliminary_version_is_no_basis(undecided: Registry, clock: Clock):
    second = {"report_id": "R2", "version": "1", "procedure_id": "P1"}
    load(undecided, {"pathology": [{**FIRST, **second, "status": "preliminary"}]})
    load(undecided, review("V1", "2025-03-20"))
    clock.set("2025-04-02T12:00")
    load(undecided, {"pathology": [{**second, "status": "final"}]})
    assert [row["changed"] for row in listed(undecided)] == ["report added"]


def test_a_report_that_stood_retracted_and_stands_again_is_added(undecided: Registry):
    second = {**FIRST, "report_id": "R2"}
    load(undecided, {"pathology": [second, {**second, "version": "2", "status": "retracted"}]})
    load(undecided, review("V1", "2025-03-20"))
    load(
        undecided,
        {"pathology": [{**second, "version": "3", "status": "amended", "reported_on": "2025-05-02"}]},
    )
    assert [row["changed"] for row in listed(undecided)] == ["report added"]


def test_a_report_added_and_retracted_since_opens_nothing(decided: Registry):
    second = {**FIRST, "report_id": "R2", "reported_on": "2025-05-02"}
    load(decided, {"pathology": [second, {**second, "version": "2", "status": "retracted"}]})
    assert listed(decided) == []


@pytest.mark.parametrize(
    ("cell", "value", "changed"),
    [("b_category", "B3", "B category none to B3"), ("lesion", "papilloma", "lesion")],
)
def test_what_was_not_stated_and_now_is_has_changed(registry: Registry, cell: str, value: str, changed: str):
    load(registry, reported(**{cell: ""}))
    load(registry, review("V1", "2025-03-20"))
    load(registry, {"pathology": [{**AMENDED, cell: value}]})
    assert [row["changed"] for row in listed(registry)] == [changed]


def test_one_container_of_a_report_withdrawn_opens_the_decision(registry: Registry, clock: Clock):
    rows = reported(specimen_id="S1")
    rows["pathology"].append({**FIRST, "specimen_id": "S2"})
    load(registry, rows)
    load(registry, review("V1", "2025-03-20"))
    clock.set("2025-05-02T12:00")
    with registry.writing() as cursor:
        stamp = write.Stamp(clock.now.replace(tzinfo=None), "coordinator", 3, "wrong container")
        write.withdraw_row(cursor, tables()["pathology"], ("R1", "P1", "S1", 1), stamp)
        facts.rebuild(cursor)
    assert [row["changed"] for row in listed(registry)] == ["report withdrawn"]
