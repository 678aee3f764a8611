"""Decisions, signatures, and what brings a signed decision back."""

from __future__ import annotations

from datetime import date

import pytest

from registry.concordance import (
    decide,
    listed,
    print_list,
    record_own_view,
    sign,
    since_printed,
    standing,
)
from registry.errors import BatchRefused, ConfirmFirst, Refused, UsageProblem
from registry.people import Role, acting
from registry.people.acting import DEMO
from registry.store import Registry
from registry.verify import verify
from tests.build import load
from tests.concordance.conftest import AS_OF, PATHOLOGIST, RADIOLOGIST, TODAY, decision, person, undecided

P, R, S = "procedures", "pathology", "specimens"


def decided(registry: Registry, **cells: object) -> str:
    with acting(RADIOLOGIST):
        return decide(registry, decision(**cells), today=TODAY)


def signed(registry: Registry) -> str:
    review = decided(registry)
    with acting(RADIOLOGIST):
        sign(registry, review, "radiologist")
    with acting(PATHOLOGIST):
        sign(registry, review, "pathologist")
    return review


def state(registry: Registry, review: str) -> str:
    return standing(registry, [review])[review].state


def amended(**cells: str) -> dict[str, list[dict[str, str]]]:
    return {
        R: [{**undecided()[R][0], "version": "2", "status": "amended", "reported_on": "2025-04-01", **cells}]
    }


# -- deciding ------------------------------------------------------------------------------


def test_a_decision_is_a_review_like_one_from_a_file(registry):
    review = decided(registry, note="Fits the images.", responsible="coordinator")
    row = registry.frame("SELECT * FROM reviews").to_dicts()[0]

    assert (row["review_id"], row["stage"], row["determination"]) == (review, "joint", "concordant")
    assert (row["author"], row["note"], row["own_view_first"]) == ("RA1", "Fits the images.", "yes")
    assert list(verify(registry)) == []


@pytest.mark.parametrize(("view", "first"), [("concordant", "yes"), (None, "no")])
def test_whether_the_own_view_came_first_is_taken_from_the_record(registry, view, first):
    with acting(RADIOLOGIST):
        record_own_view(registry, "P1", view)
        decide(registry, decision(), today=TODAY)

    assert registry.rows("SELECT own_view_first FROM reviews") == [(first,)]


def test_a_decision_that_breaks_a_rule_is_refused_in_its_sentence(registry):
    with pytest.raises(BatchRefused, match="reason"):
        decided(registry, determination="discordant", management="repeat_biopsy")

    assert registry.rows("SELECT count(*) FROM reviews") == [(0,)]


def test_a_corrected_decision_is_a_new_version(registry):
    review = decided(registry)
    decided(registry, review_id=review, informed_on=date(2025, 4, 1))

    assert registry.rows("SELECT review_id, informed_on FROM reviews") == [(review, date(2025, 4, 1))]
    assert registry.rows("SELECT count(*) FROM history.reviews") == [(1,)]


def test_a_second_decision_gets_a_key_of_its_own(registry):
    assert decided(registry) != decided(registry)


# -- signing -------------------------------------------------------------------------------


def test_two_people_sign(registry):
    review = decided(registry)
    assert state(registry, review) == "not signed"
    with acting(RADIOLOGIST):
        sign(registry, review, "radiologist")
    assert state(registry, review) == "one signature missing"
    with acting(PATHOLOGIST):
        sign(registry, review, "pathologist")
    assert state(registry, review) == "signed"


def test_nobody_signs_twice(registry):
    both = person("RA1", Role.RADIOLOGIST, Role.PATHOLOGIST)
    review = decided(registry)
    with acting(both):
        sign(registry, review, "radiologist")
        with pytest.raises(Refused):
            sign(registry, review, "pathologist")


@pytest.mark.parametrize(
    ("who", "role"),
    [
        (person("PA1", Role.PATHOLOGIST), "radiologist"),
        (person("RA2", Role.RADIOLOGIST), "radiologist"),
        (person("RA1", Role.COORDINATOR), "radiologist"),
    ],
    ids=["other role", "not named by the review", "coordinator"],
)
def test_who_may_not_sign(registry, who, role):
    review = decided(registry)
    with acting(who), pytest.raises(Refused):
        sign(registry, review, role)

    assert state(registry, review) == "not signed"


def test_an_old_password_is_asked_for_again(registry):
    review = decided(registry)
    with acting(person("RA1", Role.RADIOLOGIST, confirmed=False)), pytest.raises(ConfirmFirst):
        sign(registry, review, "radiologist")


def test_a_provisional_review_is_not_signed(registry):
    review = decided(registry, stage="provisional", pathologist="")
    with acting(RADIOLOGIST), pytest.raises(UsageProblem, match="provisional"):
        sign(registry, review, "radiologist")


def test_in_invented_data_the_invented_reviewer_signs(registry):
    review = decided(registry)
    with acting(person("visitor", *Role, via=DEMO)):
        sign(registry, review, "radiologist", person="RA1")
        with pytest.raises(Refused):
            sign(registry, review, "pathologist", person="RA1")


def test_a_signature_stands_in_the_trail_with_what_it_binds(registry):
    review = signed(registry)
    rows = registry.rows(
        "SELECT actor, object_key, details FROM audit_event WHERE action = 'sign' ORDER BY seq"
    )

    assert [(actor, key) for actor, key, _ in rows] == [("RA1", review), ("PA1", review)]
    assert all('"basis"' in details and '"seen"' in details for *_, details in rows)


# -- what brings a decision back -----------------------------------------------------------


CHANGES = {
    "diagnosis": amended(
        diagnosis="high_risk", lesion="adh", b_category="B3", atypia="yes", morphology="8140/1"
    ),
    "lesion": amended(lesion="pash", morphology=""),
    "residual": {P: [{"procedure_id": "P1", "residual": "unchanged"}]},
    "uptake": {S: [{"specimen_id": "S1", "procedure_id": "P1", "uptake_seen": "no"}]},
    "category": {"findings": [{"finding_id": "F1", "patient_id": "PAT1", "assessment": "5"}]},
    "aperture": {"targeting": [{"procedure_id": "P1", "attempt": "1", "aperture_judgement": "outside"}]},
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_of_what_decides_brings_a_signed_decision_back(registry, change):
    review = signed(registry)
    assert "P1" not in listed(registry, as_of=AS_OF)["procedure_id"].to_list()
    load(registry, CHANGES[change], today=TODAY)

    assert state(registry, review) == "changed since signed"
    assert listed(registry, as_of=AS_OF)["procedure_id"].to_list() == ["P1"]


KEPT = {
    "receptors": amended(er="positive"),
    "words": amended(conclusion="Fibroadenoma, as said before."),
    "weight": {P: [{"procedure_id": "P1", "weight_kg": "69"}]},
}


@pytest.mark.parametrize("change", KEPT)
def test_what_decides_nothing_leaves_it_signed_and_is_said(registry, change):
    review = signed(registry)
    load(registry, KEPT[change], today=TODAY)
    stands = standing(registry, [review])[review]

    assert stands.state == "signed"
    assert all(one.seen_changed for one in stands.signatures)
    assert listed(registry, as_of=AS_OF).height == 0


def test_a_booking_leaves_the_signatures(registry):
    review = signed(registry)
    decided(registry, review_id=review, booked_for=date(2025, 5, 2), informed_on=date(2025, 4, 1))

    assert state(registry, review) == "signed"


def test_another_decision_under_the_same_key_is_not_signed(registry):
    review = signed(registry)
    decided(registry, review_id=review, management="excision")

    assert state(registry, review) == "changed since signed"
    assert listed(registry, as_of=AS_OF)["procedure_id"].to_list() == ["P1"]


def test_a_change_taken_back_stands_again(registry):
    review = signed(registry)
    load(registry, {P: [{"procedure_id": "P1", "residual": "unchanged"}]}, today=TODAY)
    load(registry, {P: [{"procedure_id": "P1", "residual": "<erase>"}]}, today=TODAY)

    assert state(registry, review) == "signed"


def test_after_a_change_both_sign_anew(registry):
    review = signed(registry)
    load(registry, CHANGES["residual"], today=TODAY)
    with acting(RADIOLOGIST):
        sign(registry, review, "radiologist")
    assert listed(registry, as_of=AS_OF)["procedure_id"].to_list() == ["P1"]  # one of two is not enough
    with acting(PATHOLOGIST):
        sign(registry, review, "pathologist")

    assert state(registry, review) == "signed"
    assert listed(registry, as_of=AS_OF).height == 0


# -- the list ------------------------------------------------------------------------------


def test_what_waits_is_listed_with_its_reason_and_flags(registry):
    row = listed(registry, as_of=AS_OF).to_dicts()[0]

    # Reported on 2025-03-14: 18 days before the day, 4 beyond the 14 of the site.
    assert (row["procedure_id"], row["reason"], row["days_overdue"]) == ("P1", "reported 18 days ago", 4)
    assert row["flags"] == 3


def test_nothing_was_printed_at_first(registry):
    assert since_printed(registry, as_of=AS_OF) is None


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda registry: None, []),
        (
            lambda registry: load(registry, CHANGES["residual"], today=TODAY),
            [("P1", "what decides has changed")],
        ),
        (decided, [("P1", "no longer on the list")]),
    ],
    ids=["nothing", "a cell", "a decision"],
)
def test_what_changed_since_the_list_was_printed(registry, change, said):
    print_list(registry, as_of=AS_OF)
    change(registry)

    assert list(since_printed(registry, as_of=AS_OF).changes) == said


def test_a_day_more_is_no_change(registry):
    print_list(registry, as_of=AS_OF)

    assert since_printed(registry, as_of=date(2025, 4, 2)).changes == ()
