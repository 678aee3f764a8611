"""Follow-up: later cancer, what resolves a result, who is known to be clear, deaths.

The last day of a window is day 730; a target seen clear from day 669 on counts as followed
for two years (22 months).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000
UNRESOLVED = "not resolved"


def reported(drawn: Drawn, key: str, diagnosis: str = "benign", **cells: object) -> str:
    drawn.procedure(key, **cells)
    drawn.report(key, diagnosis)
    return key


def concordant(drawn: Drawn, key: str) -> str:
    drawn.review(reported(drawn, key), "concordant", 5)
    return key


#: Measures that ask for later cancer within 730 days among resolved ones, and their result.
OMISSIONS = ("false_omission", "later_cancer_after_concordant")


@pytest.mark.parametrize("measure", OMISSIONS)
def test_later_cancer_after_a_benign_result(drawn: Drawn, measure: str):
    for when in (730, 731):
        drawn.linkage(concordant(drawn, f"linkage on day {when}"), when, "in_situ")
        drawn.excision(concordant(drawn, f"excision on day {when}"), when, "invasive")
        concordant(drawn, f"repeat on day {when}")
        drawn.procedure(f"second {when}", when, repeat_of=f"repeat on day {when}")
        drawn.report(f"second {when}", "other_malignant")
    drawn.imaging(concordant(drawn, "clear"), 669)
    drawn.imaging(concordant(drawn, "clear, then cancer on day 731"), 669)
    drawn.linkage("clear, then cancer on day 731", 731, "invasive")
    concordant(drawn, "nothing known")
    said = drawn.built().said(measure, AS_OF)

    assert {key: value for key, value in said.items() if not key.startswith("second")} == {
        "linkage on day 730": True,
        "excision on day 730": True,
        "repeat on day 730": True,
        "linkage on day 731": UNRESOLVED,
        "excision on day 731": UNRESOLVED,
        "repeat on day 731": UNRESOLVED,
        "clear": False,
        "clear, then cancer on day 731": False,
        "nothing known": UNRESOLVED,
    }


@pytest.mark.parametrize("measure", [*OMISSIONS, "follow_up_complete", "cancer_after_benign"])
def test_benign_results_are_normal_or_benign(drawn: Drawn, measure: str):
    for diagnosis in ("insufficient", "normal", "benign", "high_risk", "suspicious", "in_situ", "invasive"):
        drawn.excision(reported(drawn, diagnosis, diagnosis), 700, "benign")
        drawn.review(diagnosis, "concordant", 5)
    said = drawn.built().said(measure, AS_OF)

    assert {key for key, value in said.items() if value != "not a benign result"} == {"normal", "benign"}


def test_later_cancer_after_concordant_is_about_the_first_conclusive_review(drawn: Drawn):
    for determination in ("concordant", "discordant", "indeterminate"):
        drawn.review(reported(drawn, determination), determination, 5)
    reported(drawn, "not reviewed")
    drawn.review(reported(drawn, "discordant later"), "concordant", 5)
    drawn.review("discordant later", "discordant", 9)
    drawn.review(reported(drawn, "concordant later"), "discordant", 5)
    drawn.review("concordant later", "concordant", 9)
    for key in (
        "concordant",
        "discordant",
        "indeterminate",
        "not reviewed",
        "discordant later",
        "concordant later",
    ):
        drawn.imaging(key, 700)
    left_out = "first conclusive review not concordant"

    assert drawn.built().said("later_cancer_after_concordant", AS_OF) == {
        "concordant": False,
        "discordant": left_out,
        "indeterminate": left_out,
        "not reviewed": left_out,
        "discordant later": False,
        "concordant later": left_out,
    }


# --- what counts as later cancer ---------------------------------------------------------


@pytest.mark.parametrize(("kind", "first_day"), [("excision", 0), ("registry_linkage", 1)])
def test_cancer_counts_from_the_first_day_of_its_kind(drawn: Drawn, kind: str, first_day: int):
    for when in (0, 1):
        drawn.event(reported(drawn, f"on day {when}"), kind, when, diagnosis="invasive")
    said = drawn.built().said("missed_at_biopsy", AS_OF)

    assert {key for key, value in said.items() if value is True} == {
        f"on day {n}" for n in (0, 1) if n >= first_day
    }


@pytest.mark.parametrize("kind", ["excision", "registry_linkage"])
def test_cancer_elsewhere_counts_nowhere_and_an_empty_site_is_not_elsewhere(drawn: Drawn, kind: str):
    for site in ("yes", "no", "unknown", None):
        drawn.event(reported(drawn, f"same site {site}"), kind, 100, diagnosis="invasive", same_site=site)

    assert drawn.built().said("missed_at_biopsy", AS_OF) == {
        "same site yes": True,
        "same site no": "no cancer",
        "same site unknown": True,
        "same site None": True,
    }


@pytest.mark.parametrize("kind", ["excision", "registry_linkage", "repeat"])
def test_cancer_is_a_malignant_diagnosis(drawn: Drawn, kind: str):
    found = (
        "insufficient",
        "normal",
        "benign",
        "high_risk",
        "suspicious",
        "in_situ",
        "invasive",
        "other_malignant",
    )
    for diagnosis in found:
        reported(drawn, diagnosis)
        if kind == "repeat":
            drawn.procedure(f"repeat {diagnosis}", 100, repeat_of=diagnosis)
            drawn.report(f"repeat {diagnosis}", diagnosis)
        else:
            drawn.event(diagnosis, kind, 100, diagnosis=diagnosis)
    said = drawn.built().said("missed_at_biopsy", AS_OF)

    assert {one for one in found if said[one] is True} == {"in_situ", "invasive", "other_malignant"}


def test_cancer_by_a_repeat_is_dated_by_its_start(drawn: Drawn):
    """Done on day 730, reported on day 760."""
    reported(drawn, "first")
    drawn.procedure("second", 730, repeat_of="first")
    drawn.report("second", "invasive", on=760)
    drawn.built()

    assert drawn.said("missed_at_biopsy", 759)["first"] == "no cancer"
    assert drawn.said("missed_at_biopsy", 760)["first"] is True


def test_cancer_before_or_beside_a_procedure_is_not_later(drawn: Drawn):
    """The first of the chain found it; the second, started later, was benign."""
    reported(drawn, "first", "invasive")
    drawn.procedure("second", 0, "10:00", repeat_of="first")
    drawn.report("second", "benign")
    drawn.excision("first", 20, "invasive")
    drawn.procedure("third", 30, repeat_of="first")
    drawn.report("third", "benign")
    drawn.built()

    assert drawn.run(
        "SELECT procedure_id, later_cancer_on - started_on FROM procedure_facts ORDER BY procedure_id"
    ) == [("first", 20), ("second", 20), ("third", None)]


def test_the_earliest_later_cancer_dates_it(drawn: Drawn):
    reported(drawn, "P")
    drawn.linkage("P", 90, "invasive")
    drawn.excision("P", 60, "in_situ")
    drawn.procedure("repeat", 30, repeat_of="P")
    drawn.report("repeat", "other_malignant")
    drawn.built()

    assert drawn.run(
        "SELECT later_cancer_on - started_on, later_breast_cancer_on - started_on FROM procedure_facts "
        "WHERE procedure_id = 'P'"
    ) == [(30, 60)]


# --- what shows that a target is clear ---------------------------------------------------


def test_imaging_clears_when_the_target_is_gone_smaller_or_unchanged(drawn: Drawn):
    for outcome in ("resolved", "decreased", "stable", "progressed", "new_finding"):
        drawn.imaging(reported(drawn, outcome), 700, outcome)
    said = drawn.built().said("follow_up_complete", AS_OF)

    assert {key for key, value in said.items() if value} == {"resolved", "decreased", "stable"}


@pytest.mark.parametrize(
    "correlate", ["none", "not_assessed", "mammography", "ultrasound", "mri", "multiple", None]
)
@pytest.mark.parametrize(
    ("modality", "sees_all"),
    [
        ("pet_tracer", True),
        ("gamma_tracer", True),
        ("mri", True),
        ("mammography", False),
        ("tomosynthesis", False),
        ("ultrasound", False),
        ("clinical", False),
        (None, True),
    ],
)
def test_imaging_that_cannot_show_the_target_does_not_clear_it(
    drawn: Drawn, correlate: str | None, modality: str | None, sees_all: bool
):
    drawn.finding("F", correlate=correlate)
    drawn.imaging(reported(drawn, "P", finding="F"), 700, modality=modality)
    drawn.built()

    assert drawn.run("SELECT is_resolved FROM procedure_facts") == [
        (sees_all or correlate not in ("none", "not_assessed"),)
    ]


def test_what_can_show_the_target_is_asked_of_the_units_own_finding(drawn: Drawn):
    """One mammogram, recorded with the second procedure of a chain over two findings of one breast."""
    drawn.finding("seen", "W", correlate="mammography")
    drawn.finding("unseen", "W", correlate="none")
    reported(drawn, "first", finding="seen")
    drawn.procedure("second", 10, repeat_of="first", finding="unseen")
    drawn.imaging("second", 700, modality="mammography")
    drawn.built()

    assert drawn.run("SELECT procedure_id, is_resolved FROM procedure_facts ORDER BY procedure_id") == [
        ("first", True),
        ("second", False),
    ]


@pytest.mark.parametrize("kind", ["excision", "registry_linkage"])
def test_tissue_and_linkage_that_clear(drawn: Drawn, kind: str):
    """An excision clears when it is normal, benign or high-risk; a linkage unless it is malignant."""
    found = (
        "none",
        "insufficient",
        "normal",
        "benign",
        "high_risk",
        "suspicious",
        "in_situ",
        "invasive",
        "other_malignant",
    )
    for diagnosis in found:
        drawn.event(reported(drawn, diagnosis), kind, 800, diagnosis=diagnosis)
    drawn.built()
    clear = dict(drawn.run("SELECT procedure_id, clear_until - started_on FROM procedure_facts"))
    expected = {"normal", "benign", "high_risk"}
    if kind == "registry_linkage":
        expected |= {"none", "insufficient", "suspicious"}

    assert {key for key, days in clear.items() if days == 800} == expected
    assert {days for key, days in clear.items() if key not in expected} == {None}


def test_an_excision_elsewhere_does_not_clear(drawn: Drawn):
    for site in ("no", "unknown", None):
        drawn.excision(reported(drawn, f"same site {site}"), 800, "benign", same_site=site)

    assert drawn.built().said("follow_up_complete", AS_OF) == {
        "same site no": False,
        "same site unknown": True,
        "same site None": True,
    }


def test_clear_until_is_the_latest_day(drawn: Drawn):
    reported(drawn, "P")
    for when in (100, 669, 300):
        drawn.imaging("P", when)

    assert drawn.built().said("follow_up_complete", AS_OF) == {"P": True}


def test_an_event_exists_from_its_day_on(drawn: Drawn):
    reported(drawn, "P")
    drawn.imaging("P", 735)
    drawn.built()

    assert drawn.said("follow_up_complete", 734) == {"P": False}
    assert drawn.said("follow_up_complete", 735) == {"P": True}


def test_an_event_counts_on_any_procedure_of_the_chain(drawn: Drawn):
    reported(drawn, "first")
    drawn.procedure("abandoned", 5, repeat_of="first", status="abandoned")
    drawn.imaging("abandoned", 700)
    reported(drawn, "another chain")

    assert drawn.built().said("follow_up_complete", AS_OF) == {
        "first": True,
        "abandoned": "not sampled",
        "another chain": False,
    }


# --- cancers as denominator --------------------------------------------------------------


def test_missed_at_biopsy_and_false_negatives(drawn: Drawn):
    for diagnosis in (
        "insufficient",
        "normal",
        "benign",
        "high_risk",
        "suspicious",
        "in_situ",
        "other_malignant",
    ):
        drawn.linkage(reported(drawn, diagnosis, diagnosis), 730, "invasive")
    drawn.linkage(reported(drawn, "too late"), 731, "invasive")
    reported(drawn, "at biopsy only", "invasive")
    drawn.built()
    cancers = {"in_situ": False, "other_malignant": False, "at biopsy only": False, "too late": "no cancer"}
    missed = dict.fromkeys(("insufficient", "normal", "benign", "high_risk", "suspicious"), True)

    assert drawn.said("missed_at_biopsy", AS_OF) == {**missed, **cancers}
    assert drawn.said("false_negative_benign", AS_OF) == {
        **missed,
        **dict.fromkeys(("insufficient", "high_risk", "suspicious"), False),
        **cancers,
    }
