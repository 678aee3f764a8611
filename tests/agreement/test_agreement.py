"""Agreement of those who decide: a published table through the service itself, and drawn pairs."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from scipy.stats import binomtest

from registry.agreement import agreement
from registry.errors import UsageProblem
from tests.measures.build import day

if TYPE_CHECKING:
    from registry.agreement import Agreement, Audit
    from tests.measures.build import Drawn

AS_OF = day(400)
YES, NO = "discordant", "concordant"


def judged(drawn: Drawn, key: str, *reviews: tuple[str, str, int, dict[str, object]]) -> None:
    drawn.procedure(key, 0)
    drawn.report(key, on=3)
    for stage, determination, on, cells in reviews:
        drawn.review(key, determination, on, stage=stage, **cells)


def audit(drawn: Drawn, **asked: object) -> Audit:
    return agreement(drawn.built(), as_of=AS_OF, **asked)  # type: ignore[arg-type]


def pair(drawn: Drawn, name: str, **asked: object) -> Agreement:
    return next(one for one in audit(drawn, **asked).pairs if one.pair == name)


def test_a_published_table_comes_out_as_printed(drawn: Drawn):
    """Feinstein and Cicchetti, J Clin Epidemiol 1990;43:543-549: 40, 9, 6, 45 give kappa 0.70 at 0.85 raw agreement (from memory).

    AC1 and its error as computed with R irrCAC.
    """
    table = {(YES, YES): 40, (YES, NO): 9, (NO, YES): 6, (NO, NO): 45}
    number = 0
    for (before, after), times in table.items():
        for _ in range(times):
            number += 1
            judged(drawn, f"P{number}", ("provisional", before, 5, {}), ("joint", after, 9, {}))
    one = pair(drawn, "stages")

    assert (one.both, one.first_only, one.second_only, one.neither) == (40, 9, 6, 45)
    assert one.po == pytest.approx(0.85)
    assert one.kappa == pytest.approx(0.699519230769231)
    assert one.ac1 == pytest.approx(0.700748129675811)
    assert one.p_pos == pytest.approx(0.842105263157895)
    assert one.p_neg == pytest.approx(0.857142857142857)


def test_the_last_provisional_view_before_the_joint_one_counts(drawn: Drawn):
    judged(
        drawn,
        "P",
        ("provisional", NO, 4, {}),
        ("provisional", YES, 8, {}),
        ("joint", YES, 9, {}),
        ("provisional", NO, 12, {}),
    )

    assert pair(drawn, "stages").both == 1


def test_the_first_conclusive_joint_decision_counts(drawn: Drawn):
    judged(
        drawn,
        "P",
        ("provisional", NO, 4, {}),
        ("joint", "indeterminate", 8, {}),
        ("joint", YES, 9, {}),
        ("joint", NO, 20, {}),
    )

    assert pair(drawn, "stages").second_only == 1


def test_an_indeterminate_view_is_no_pair(drawn: Drawn):
    judged(drawn, "P", ("provisional", "indeterminate", 4, {}), ("joint", NO, 9, {}))
    one = pair(drawn, "stages")

    assert (one.n, one.unpaired) == (0, 1)


def test_two_readings_are_by_two_radiologists_without_a_meeting(drawn: Drawn):
    first, second = {"radiologist": "RA1"}, {"radiologist": "RA2"}
    judged(drawn, "P", ("provisional", YES, 4, first), ("provisional", NO, 6, second))
    judged(drawn, "Q", ("provisional", YES, 4, first), ("provisional", NO, 6, first))
    judged(drawn, "R", ("provisional", YES, 4, first), ("provisional", NO, 6, {**second, "meeting_id": "M"}))
    one = pair(drawn, "readings")

    assert (one.n, one.first_only, one.unpaired) == (1, 1, 2)


def test_flags_that_speak_of_the_decision_stand_against_it(drawn: Drawn):
    # Insufficient tissue speaks of sampling; a benign result seen on tracer alone only of the next step.
    drawn.procedure("P", 0)
    drawn.report("P", "insufficient", on=3)
    drawn.review("P", YES, 9)
    drawn.procedure("Q", 0)
    drawn.report("Q", "invasive", on=3)
    drawn.review("Q", NO, 9)
    one = pair(drawn, "flags")

    assert (one.both, one.first_only, one.second_only, one.neither) == (1, 0, 0, 1)


def test_who_decided_before_flags_were_shown(drawn: Drawn):
    for key, said in (("P", "yes"), ("Q", "no"), ("R", None)):
        judged(drawn, key, ("joint", NO, 9, {"own_view_first": said}))
    first = audit(drawn).own_view_first

    assert (first.x, first.n, first.not_recorded) == (1, 2, 1)


def test_a_period_counts_by_the_start_of_the_procedure(drawn: Drawn):
    judged(drawn, "P", ("provisional", NO, 4, {}), ("joint", NO, 9, {}))

    assert pair(drawn, "stages", start=day(1)).n == 0
    assert pair(drawn, "stages", end=day(0)).n == 1


def test_nothing_judged_is_said_without_figures(drawn: Drawn):
    one = pair(drawn, "readings")

    assert (one.n, one.kappa, one.ac1) == (0, None, None)


def test_a_period_that_ends_before_it_begins_is_refused(drawn: Drawn):
    with pytest.raises(UsageProblem, match="the first day is after the last"):
        audit(drawn, start=day(10), end=day(9))


def test_where_nobody_wrote_down_who_decided_first_there_is_no_share(drawn: Drawn):
    judged(drawn, "P", ("joint", NO, 9, {"own_view_first": None}))
    first = audit(drawn).own_view_first

    assert (first.x, first.n, first.not_recorded) == (0, 0, 1)
    assert (first.share, first.lower, first.upper) == (None, None, None)


def test_who_decided_first_has_wilsons_limits_of_the_confidence(drawn: Drawn):
    for key, said in (("P", "yes"), ("Q", "no"), ("R", "no")):
        judged(drawn, key, ("joint", NO, 9, {"own_view_first": said}))
    first = audit(drawn, confidence=0.9).own_view_first
    expected = binomtest(1, 3).proportion_ci(0.9, method="wilson")

    assert (first.share, first.lower, first.upper) == pytest.approx((1 / 3, expected.low, expected.high))


def test_all_of_it_can_be_written_as_json(drawn: Drawn):
    judged(drawn, "P", ("provisional", YES, 4, {}), ("joint", YES, 9, {}))
    written = json.loads(json.dumps(audit(drawn).to_dict()))

    assert [(one["pair"], one["both"]) for one in written["pairs"]] == [
        ("stages", 1),
        ("readings", 0),
        ("flags", 0),
    ]
    assert written["several"]["n"] == 0
