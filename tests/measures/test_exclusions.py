"""The exclusions that many measures share, and the last day of each window.

A procedure enters a window of N days when it started at least N days before the as-of
date: on day N it is in, the day before it is not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.measures.test_definitions import AGREED, EARLY, NR, NS, RP, RW, W

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000
#: Window of each measure that has one, in days.
WINDOWS = {
    **dict.fromkeys(
        ("ppv3", "cancer_in_discordant", "repeat_biopsy", "upgrade_high_risk_excised", "upgrade_in_situ", "b_category_accuracy"),
        365,
    ),
    **dict.fromkeys(
        (
            "upgrade_high_risk_resolved",
            "missed_at_biopsy",
            "false_negative_benign",
            "false_omission",
            "later_cancer_after_concordant",
            "follow_up_complete",
        ),
        730,
    ),
}


def that_exclude(reason: str) -> list[str]:
    return [measure for measure, reasons in AGREED.items() if reason in reasons]


@pytest.mark.parametrize("measure", that_exclude(NS))
def test_without_tissue_a_procedure_is_not_sampled(drawn: Drawn, measure: str):
    for status in ("cancelled", "abandoned", "completed"):
        drawn.procedure(status, 0, status=status)
    said = drawn.built().said(measure, AS_OF)

    assert [said["cancelled"], said["abandoned"]] == [NS, NS]
    assert said["completed"] != NS


@pytest.mark.parametrize("measure", that_exclude(RP))
def test_only_the_first_sampled_procedure_of_a_chain_is_no_repeat(drawn: Drawn, measure: str):
    drawn.procedure("no tissue", 0, status="abandoned")
    drawn.procedure("first", 10, repeat_of="no tissue")
    drawn.procedure("second", 20, repeat_of="first")
    said = drawn.built().said(measure, AS_OF)

    assert said["first"] != RP
    assert said["second"] == RP


@pytest.mark.parametrize("measure", that_exclude(RW))
def test_the_report_window_ends_after_30_days_reported_or_not(drawn: Drawn, measure: str):
    for age in (29, 30):
        drawn.procedure(f"{age} days old", AS_OF - age)
        drawn.report(f"{age} days old")
    said = drawn.built().said(measure, AS_OF)

    assert said["29 days old"] == RW
    assert said["30 days old"] != RW


@pytest.mark.parametrize("measure", that_exclude(NR))
def test_a_procedure_needs_a_current_report(drawn: Drawn, measure: str):
    drawn.procedure("reported", 0)
    drawn.report("reported")
    drawn.procedure("not reported", 0)
    said = drawn.built().said(measure, AS_OF)

    assert said["not reported"] == NR
    assert said["reported"] != NR


@pytest.mark.parametrize("measure", WINDOWS)
def test_a_window_is_complete_on_its_last_day(drawn: Drawn, measure: str):
    days = WINDOWS[measure]
    for age in (days - 1, days):
        key = f"{age} days old"
        drawn.procedure(key, AS_OF - age)
        drawn.report(key)
        drawn.review(key, "discordant", AS_OF - age)
    said = drawn.built().said(measure, AS_OF)

    assert said[f"{days - 1} days old"] == W
    assert said[f"{days} days old"] != W


def test_the_window_of_a_target_that_was_not_sampled_is_complete_on_its_last_day(drawn: Drawn):
    drawn.procedure("729 days old", AS_OF - 729, status="cancelled")
    drawn.procedure("730 days old", AS_OF - 730, status="cancelled")

    assert drawn.built().said("later_cancer_after_not_sampled", AS_OF) == {
        "729 days old": W,
        "730 days old": "not resolved",
    }


def test_every_window_is_tested():
    assert {*WINDOWS, "later_cancer_after_not_sampled"} == set(that_exclude(W))


@pytest.mark.parametrize("measure", that_exclude(EARLY))
def test_a_review_has_14_days_from_the_first_report(drawn: Drawn, measure: str):
    for age in (13, 14):
        drawn.procedure(f"reported {age} days ago", 0)
        drawn.report(f"reported {age} days ago", on=AS_OF - age)
    said = drawn.built().said(measure, AS_OF)

    assert said == {"reported 13 days ago": EARLY, "reported 14 days ago": False}


@pytest.mark.parametrize("measure", AGREED)
def test_a_procedure_after_the_as_of_date_does_not_exist(drawn: Drawn, measure: str):
    drawn.procedure("on the day", AS_OF)
    drawn.procedure("the day after", AS_OF + 1)

    assert set(drawn.built().said(measure, AS_OF)) == {"on the day"}
