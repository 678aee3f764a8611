"""Follow-up: later cancer, what resolves a result, who is known to be clear, deaths.

The last day of a window is day 730; a target seen clear from day 669 on counts as followed
for two years (22 months).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.measures import evaluate
from tests.measures.build import day

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


# --- not sampled, deaths -----------------------------------------------------------------


def test_later_cancer_after_not_sampled(drawn: Drawn):
    for status in ("cancelled", "abandoned"):
        drawn.procedure(f"{status}, cancer on day 730", status=status)
        drawn.linkage(f"{status}, cancer on day 730", 730, "invasive")
    drawn.procedure("cancer on day 731", status="cancelled")
    drawn.linkage("cancer on day 731", 731, "invasive")
    drawn.procedure("clear", status="cancelled")
    drawn.imaging("clear", 669)
    drawn.procedure("clear, then cancer on day 731", status="cancelled")
    drawn.imaging("clear, then cancer on day 731", 669)
    drawn.linkage("clear, then cancer on day 731", 731, "invasive")
    drawn.procedure("nothing known", status="cancelled")
    drawn.procedure("completed")

    assert drawn.built().said("later_cancer_after_not_sampled", AS_OF) == {
        "cancelled, cancer on day 730": True,
        "abandoned, cancer on day 730": True,
        "cancer on day 731": UNRESOLVED,
        "clear": False,
        "clear, then cancer on day 731": False,
        "nothing known": UNRESOLVED,
        "completed": "sampled",
    }


@pytest.mark.parametrize("related", ["finding", "chain"])
def test_sampled_otherwise_within_60_days(drawn: Drawn, related: str):
    for when in (0, 60, 61):
        first, other = f"other on day {when}", f"other {when}"
        drawn.procedure(first, 0, "09:00", status="cancelled")
        if related == "finding":
            drawn.procedure(other, when, "08:00", finding=f"finding of {first}")
        else:
            # Another finding of the same breast, as a repeat of the first.
            drawn.procedure(other, when, "10:00", finding=f"second finding of {first}", repeat_of=first)
    drawn.procedure("other without tissue", 0, status="cancelled")
    drawn.procedure("abandoned", 30, finding="finding of other without tissue", status="abandoned")
    drawn.procedure("before", 0, finding="F")
    drawn.procedure("cancelled after", 1, finding="F", status="cancelled")
    said = drawn.built().said("later_cancer_after_not_sampled", AS_OF)

    assert {key for key, value in said.items() if value == "sampled otherwise"} == {
        "other on day 0",
        "other on day 60",
    }
    assert said["other on day 61"] == said["other without tissue"] == said["cancelled after"] == UNRESOLVED


def test_the_60_days_are_a_local_limit(drawn: Drawn):
    drawn.procedure("P", status="cancelled")
    drawn.procedure("other", 60, finding="finding of P")
    drawn.setting("sampled_otherwise_days", 59)

    assert drawn.built().said("later_cancer_after_not_sampled", AS_OF)["P"] == UNRESOLVED


def test_cancer_found_by_a_repeat_counts_for_a_target_that_was_not_sampled(drawn: Drawn):
    drawn.procedure("P", status="cancelled")
    drawn.procedure("repeat", 100, repeat_of="P")
    drawn.report("repeat", "invasive")

    assert drawn.built().said("later_cancer_after_not_sampled", AS_OF)["P"] is True


def test_deaths_come_from_either_table(drawn: Drawn):
    for when in (669, 670):
        drawn.patient(f"dies on {when}", died=when)
        drawn.finding(f"F{when}", f"dies on {when}")
        reported(drawn, f"death date {when}", finding=f"F{when}")
        drawn.event(reported(drawn, f"death event {when}"), "death", when)
    drawn.patient("W")
    drawn.finding("F1", "W")
    drawn.finding("F2", "W")
    reported(drawn, "event on the other procedure", finding="F1")
    drawn.procedure("other", 5, finding="F2", status="cancelled")
    drawn.event("other", "death", 300)
    drawn.patient("later in the patient table", died=800)
    drawn.finding("F3", "later in the patient table")
    drawn.event(reported(drawn, "earliest counts", finding="F3"), "death", 300)
    said = drawn.built().said("follow_up_complete", AS_OF)

    assert {key for key, value in said.items() if value == "died within 669 days"} == {
        "death date 669",
        "death event 669",
        "event on the other procedure",
        "earliest counts",
    }
    assert said["death date 670"] is said["death event 670"] is False


def test_a_death_exists_from_its_day_on(drawn: Drawn):
    drawn.patient("W", died=850)
    drawn.finding("F", "W")
    drawn.procedure("by table", 200, finding="F")
    drawn.procedure("by event", 200)
    for key in ("by table", "by event"):
        drawn.report(key)
    drawn.event("by event", "death", 850)
    drawn.procedure("keeps the record going", 940)
    drawn.built()
    facts = "SELECT count(died_on) FROM procedure_facts"

    assert drawn.run(facts) == [(2,)]
    assert drawn.asked(facts, 850) == [(2,)]
    assert drawn.asked(facts, 849) == [(0,)]


def test_follow_up_complete(drawn: Drawn):
    drawn.imaging(reported(drawn, "clear on day 669"), 669)
    drawn.imaging(reported(drawn, "clear on day 668"), 668)
    drawn.excision(reported(drawn, "excised"), 3, "insufficient")
    drawn.linkage(reported(drawn, "cancer"), 730, "invasive")
    drawn.event(reported(drawn, "lost"), "lost", 400)
    drawn.event(reported(drawn, "dead"), "death", 400)
    drawn.excision("dead", 10)

    assert drawn.built().said("follow_up_complete", AS_OF) == {
        "clear on day 669": True,
        "clear on day 668": False,
        "excised": True,
        "cancer": True,
        "lost": False,
        "dead": "died within 669 days",
    }


# --- bounds ------------------------------------------------------------------------------


def bounds(drawn: Drawn, measure: str):
    (result,) = evaluate(drawn.built(), [measure], as_of=day(AS_OF))
    return (result.numerator, result.denominator), (
        result.bounds.lower,
        result.bounds.upper,
        result.bounds.unknown,
    )


def test_bounds_where_the_outcome_is_not_known(drawn: Drawn):
    """x = 1 of n = 3, u = 2: from 1/5 to 3/5."""
    drawn.linkage(reported(drawn, "cancer"), 100, "invasive")
    drawn.imaging(reported(drawn, "clear"), 700)
    drawn.imaging(reported(drawn, "clear too"), 700)
    reported(drawn, "not known")
    reported(drawn, "not known either")

    assert bounds(drawn, "false_omission") == ((1, 3), (1 / 5, 3 / 5, 2))


def test_bounds_with_chance_run_from_wilsons_lower_limit_to_his_upper(drawn: Drawn):
    """None of two unknown: 1 of 5; both: 3 of 5. Wilson 1927: (p + z2/2n -+ z sqrt(p(1-p)/n + z2/4n2)) / (1 + z2/n)."""
    drawn.linkage(reported(drawn, "cancer"), 100, "invasive")
    drawn.imaging(reported(drawn, "clear"), 700)
    drawn.imaging(reported(drawn, "clear too"), 700)
    reported(drawn, "not known")
    reported(drawn, "not known either")

    def wilson(p: float, sign: int) -> float:
        z2 = 1.959963984540054**2
        return (p + z2 / 10 + sign * (z2 * (p * (1 - p) / 5 + z2 / 100)) ** 0.5) / (1 + z2 / 5)

    (result,) = evaluate(drawn.built(), ["false_omission"], as_of=day(AS_OF))
    assert result.bounds.interval_lower == pytest.approx(wilson(1 / 5, -1))
    assert result.bounds.interval_upper == pytest.approx(wilson(3 / 5, 1))


def test_bounds_of_missed_at_biopsy(drawn: Drawn):
    """x = 1 missed of n = 2 cancers, u = 3 without cancer and not resolved: from 1/2 to 4/5."""
    drawn.linkage(reported(drawn, "missed"), 100, "invasive")
    reported(drawn, "found", "invasive")
    for number, diagnosis in enumerate(("benign", "high_risk", "insufficient")):
        reported(drawn, f"not known {number}", diagnosis)
    drawn.imaging(reported(drawn, "clear"), 700)

    assert bounds(drawn, "missed_at_biopsy") == ((1, 2), (1 / 2, 4 / 5, 3))


def test_bounds_of_false_negatives(drawn: Drawn):
    """x = 1 of n = 2, u = 1 benign and v = 2 others not resolved: from 1/4 to 2/3."""
    drawn.linkage(reported(drawn, "missed"), 100, "invasive")
    reported(drawn, "found", "invasive")
    for number, diagnosis in enumerate(("benign", "high_risk", "insufficient")):
        reported(drawn, f"not known {number}", diagnosis)
    drawn.imaging(reported(drawn, "clear"), 700)

    assert bounds(drawn, "false_negative_benign") == ((1, 2), (1 / 4, 2 / 3, 1))


def test_bounds_of_discordance_count_those_without_a_conclusive_review(drawn: Drawn):
    drawn.review(reported(drawn, "discordant"), "discordant", 5)
    drawn.review(reported(drawn, "concordant"), "concordant", 5)
    drawn.review(reported(drawn, "indeterminate"), "indeterminate", 5)
    reported(drawn, "not reviewed", "invasive")
    drawn.procedure("not reported")

    assert bounds(drawn, "discordance") == ((1, 2), (1 / 4, 3 / 4, 2))
    # The malignant one is not among the benign results that could have been discordant.
    assert bounds(drawn, "discordant_benign") == ((1, 2), (1 / 3, 2 / 3, 1))
    assert bounds(drawn, "discordance_latest") == ((1, 2), (1 / 4, 3 / 4, 2))


@pytest.mark.parametrize(
    ("measure", "result"), [("upgrade_high_risk_excised", "high_risk"), ("upgrade_in_situ", "in_situ")]
)
def test_bounds_of_upgrades_count_those_not_excised(drawn: Drawn, measure: str, result: str):
    drawn.excision(reported(drawn, "upgraded", result), 30, "invasive")
    reported(drawn, "not excised", result)
    reported(drawn, "another result", "benign")

    assert bounds(drawn, measure) == ((1, 1), (1 / 2, 1.0, 1))


def test_bounds_of_cancer_in_discordant_count_those_without_later_tissue(drawn: Drawn):
    drawn.review(reported(drawn, "excised"), "discordant", 5)
    drawn.excision("excised", 30, "benign")
    drawn.review(reported(drawn, "nothing after"), "discordant", 5)
    drawn.review(reported(drawn, "concordant"), "concordant", 5)

    assert bounds(drawn, "cancer_in_discordant") == ((0, 1), (0.0, 1 / 2, 1))


@pytest.mark.parametrize(
    "measure",
    ["later_cancer_after_concordant", "later_cancer_after_not_sampled", "upgrade_high_risk_resolved"],
)
def test_bounds_count_those_not_resolved(drawn: Drawn, measure: str):
    for key in ("clear", "not known"):
        if measure == "later_cancer_after_concordant":
            concordant(drawn, key)
        elif measure == "upgrade_high_risk_resolved":
            reported(drawn, key, "high_risk")
        else:
            drawn.procedure(key, status="cancelled")
    drawn.imaging("clear", 700)

    assert bounds(drawn, measure) == ((0, 1), (0.0, 1 / 2, 1))
