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
        (
            "ppv3",
            "cancer_in_discordant",
            "repeat_biopsy",
            "upgrade_high_risk_excised",
            "upgrade_in_situ",
            "b_category_accuracy",
        ),
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


WINDOW_DAYS = (365, 730)


@pytest.fixture(scope="module", autouse=True)
def drawing(scene: Drawn) -> None:
    """One procedure for each reason; all but the cancelled ones are reviewed discordant."""
    for status in ("cancelled", "abandoned", "completed"):
        scene.procedure(status, 0, status=status)
    scene.procedure("without tissue", 0, status="abandoned")
    scene.procedure("first of its chain", 10, repeat_of="without tissue")
    scene.procedure("second of its chain", 20, repeat_of="first of its chain")
    for age in (29, 30, *(one for days in WINDOW_DAYS for one in (days - 1, days))):
        key = f"{age} days old"
        scene.procedure(key, AS_OF - age)
        scene.report(key)
        scene.review(key, "discordant", AS_OF - age)
        scene.procedure(f"cancelled {age} days ago", AS_OF - age, status="cancelled")
    scene.procedure("reported", 0)
    scene.report("reported")
    for age in (13, 14):
        scene.procedure(f"reported {age} days ago", 0)
        scene.report(f"reported {age} days ago", on=AS_OF - age)
    scene.procedure("on the day", AS_OF)
    scene.procedure("the day after", AS_OF + 1)
    scene.built()


@pytest.mark.parametrize("measure", that_exclude(NS))
def test_without_tissue_a_procedure_is_not_sampled(scene: Drawn, measure: str):
    said = scene.said(measure, AS_OF)

    assert [said["cancelled"], said["abandoned"]] == [NS, NS]
    assert said["completed"] != NS


@pytest.mark.parametrize("measure", that_exclude(RP))
def test_only_the_first_sampled_procedure_of_a_chain_is_no_repeat(scene: Drawn, measure: str):
    said = scene.said(measure, AS_OF)

    assert said["first of its chain"] != RP
    assert said["second of its chain"] == RP


@pytest.mark.parametrize("measure", that_exclude(RW))
def test_the_report_window_ends_after_30_days_reported_or_not(scene: Drawn, measure: str):
    said = scene.said(measure, AS_OF)

    assert said["29 days old"] == RW
    assert said["30 days old"] != RW


@pytest.mark.parametrize("measure", that_exclude(NR))
def test_a_procedure_needs_a_current_report(scene: Drawn, measure: str):
    said = scene.said(measure, AS_OF)

    assert said["completed"] == NR
    assert said["reported"] != NR


@pytest.mark.parametrize("measure", WINDOWS)
def test_a_window_is_complete_on_its_last_day(scene: Drawn, measure: str):
    days, said = WINDOWS[measure], scene.said(measure, AS_OF)

    assert said[f"{days - 1} days old"] == W
    assert said[f"{days} days old"] != W


def test_the_window_of_a_target_that_was_not_sampled_is_complete_on_its_last_day(scene: Drawn):
    said = scene.said("later_cancer_after_not_sampled", AS_OF)

    assert said["cancelled 729 days ago"] == W
    assert said["cancelled 730 days ago"] == "not resolved"


def test_every_window_is_tested():
    assert {*WINDOWS, "later_cancer_after_not_sampled"} == set(that_exclude(W))


@pytest.mark.parametrize("measure", that_exclude(EARLY))
def test_a_review_has_14_days_from_the_first_report(scene: Drawn, measure: str):
    said = scene.said(measure, AS_OF)

    assert said["reported 13 days ago"] == EARLY
    assert said["reported 14 days ago"] is False


@pytest.mark.parametrize("measure", AGREED)
def test_a_procedure_after_the_as_of_date_does_not_exist(scene: Drawn, measure: str):
    said = scene.said(measure, AS_OF)

    assert "on the day" in said
    assert "the day after" not in said
