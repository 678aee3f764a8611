"""A proportion by procedure number: numbering, classes, what is left out, and the odds ratio."""

from __future__ import annotations

import json
from math import exp, log, log2

import numpy as np
import pytest
from scipy.optimize import brentq, minimize, minimize_scalar
from scipy.special import expit
from scipy.stats import chi2

from registry.errors import Refused, UsageProblem
from registry.people import Actor, Role, acting
from registry.stats.proportions import wilson_interval
from registry.units import learning
from tests.measures.build import day

AS_OF = day(900)
MEASURE = "tissue_obtained"


def classes(made):
    return [(one.first, one.last, one.x, one.n) for one in made.points]


def test_the_number_counts_on_from_what_came_before(drawn, brought):
    """8 before: the first two are numbers 9 and 10, the third is number 11."""
    brought("OP1", 8)
    for number in range(3):
        drawn.procedure(f"P{number}", number, operator="OP1")

    assert classes(learning(drawn.built(), MEASURE, as_of=AS_OF)) == [(1, 10, 2, 2), (11, 25, 1, 1)]


def test_a_cancelled_procedure_is_no_experience(drawn, brought):
    brought("OP1", 9)
    drawn.procedure("P1", 0, operator="OP1", status="cancelled")
    drawn.procedure("P2", 1, operator="OP1")

    assert classes(learning(drawn.built(), MEASURE, as_of=AS_OF)) == [(1, 10, 1, 1)]


def test_the_moment_decides_the_order_and_not_the_key(drawn, brought):
    """The later of two on one day is number 11; it is the one without tissue."""
    brought("OP1", 9)
    drawn.procedure("A", 0, "15:00", operator="OP1", status="abandoned")
    drawn.procedure("B", 0, "09:00", operator="OP1")

    assert classes(learning(drawn.built(), MEASURE, as_of=AS_OF)) == [(1, 10, 1, 1), (11, 25, 0, 1)]


def test_what_came_before_the_period_counts_as_experience(drawn, brought):
    brought("OP1", 9)
    drawn.procedure("P1", 0, operator="OP1")
    drawn.procedure("P2", 10, operator="OP1")

    assert classes(learning(drawn.built(), MEASURE, as_of=AS_OF, start=day(5))) == [(11, 25, 1, 1)]


def test_unknown_experience_is_left_out_and_said(drawn, brought):
    brought("OP1", None)
    brought("OP2", 0)
    drawn.procedure("P1", 0, operator="OP1")
    drawn.procedure("P2", 1, operator="OP2")
    drawn.procedure("P3", 2, operator="OP3")
    made = learning(drawn.built(), MEASURE, as_of=AS_OF)

    assert (made.n, made.no_number) == (1, 2)
    assert "2 procedures are left out" in made.sentences[0]


def test_a_class_below_the_minimum_has_counts_only(drawn, brought):
    brought("OP1", 0)
    for number in range(19):
        drawn.procedure(f"P{number:02}", number, operator="OP1")
    first, second = learning(drawn.built(), MEASURE, as_of=AS_OF, minimum=10).points

    assert (first.n, first.proportion) == (10, 1.0)
    assert (second.n, second.proportion, second.lower) == (9, None, None)


def test_the_odds_ratio_of_a_doubling(drawn, brought):
    """One operator: tissue in 20 of the first 40, in 38 of the next 40."""
    brought("OP1", 0)
    for number in range(80):
        sampled = number % 2 == 0 if number < 40 else number not in (50, 70)
        status = "completed" if sampled else "abandoned"
        drawn.procedure(f"P{number:02}", number, operator="OP1", status=status)
    made = learning(drawn.built(), MEASURE, as_of=AS_OF)

    assert made.reason == ""
    assert made.odds_lower > 1
    assert log(made.odds_ratio) > 0


def test_the_odds_ratio_maximises_the_penalised_likelihood_with_an_intercept_for_each_operator(
    drawn, brought
):
    """Firth 1993: log likelihood + log det(information) / 2, by a search in scipy; its profile gives the limits.

    OP1 from number 1 on, OP2 from number 33 on, 40 procedures each; every third and every
    second without tissue up to the thirtieth, then every fifth.
    """
    brought("OP1", 0)
    brought("OP2", 32)
    design, outcome = [], []
    for operator, before, each in (("OP1", 0, 2), ("OP2", 32, 3)):
        for place in range(1, 41):
            sampled = place % (each if place <= 30 else 5) != 0
            status = "completed" if sampled else "abandoned"
            drawn.procedure(f"{operator} {place:02}", place, operator=operator, status=status)
            design.append([1.0, log2(before + place), float(operator == "OP2")])
            outcome.append(float(sampled))
    made = learning(drawn.built(), MEASURE, as_of=AS_OF, confidence=0.9)
    x, y = np.array(design), np.array(outcome)

    def penalised(slope, others):
        p = expit(x @ [others[0], slope, others[1]])
        information = x.T @ (x * (p * (1 - p))[:, None])
        return float(np.sum(np.where(y > 0, np.log(p), np.log1p(-p)))) + log(np.linalg.det(information)) / 2

    def profile(slope):
        return -minimize(lambda others: -penalised(slope, others), [0.0, 0.0], tol=1e-12).fun

    best = minimize_scalar(lambda slope: -profile(slope), bracket=(0.0, 0.5), tol=1e-10)
    drop = chi2.ppf(0.9, 1) / 2
    low, high = (
        brentq(lambda slope: profile(slope) + best.fun + drop, *ends)
        for ends in ((best.x - 2, best.x), (best.x, best.x + 2))
    )

    assert made.odds_ratio == pytest.approx(exp(best.x), rel=1e-5)
    assert (made.odds_lower, made.odds_upper) == pytest.approx((exp(low), exp(high)), rel=1e-5)
    assert (made.modelled, made.modelled_operators) == (80, 2)


def test_an_operator_below_the_minimum_is_not_modelled(drawn, brought):
    """OP1 40 procedures, every second without tissue; OP2 nine."""
    brought("OP1", 0)
    brought("OP2", 0)
    for operator, size in (("OP1", 40), ("OP2", 9)):
        for place in range(size):
            status = "completed" if place % 2 else "abandoned"
            drawn.procedure(f"{operator} {place:02}", place, operator=operator, status=status)
    made = learning(drawn.built(), MEASURE, as_of=AS_OF)

    assert (made.n, made.modelled, made.modelled_operators) == (49, 40, 1)


def test_what_the_measure_leaves_out_is_counted(drawn, brought):
    brought("OP1", 0)
    for number, status in enumerate(("completed", "abandoned", "completed", "cancelled")):
        drawn.procedure(f"P{number}", number, operator="OP1", status=status)
    made = learning(drawn.built(), MEASURE, as_of=AS_OF)

    assert (made.x, made.n, made.left_out, made.no_number) == (2, 3, 1, 0)


def test_classes_have_the_interval_of_their_confidence(drawn, brought):
    """None of ten: an interval from 0 on, and 1 - 0.1^(1/10) one-sided at 90 %."""
    brought("OP1", 0)
    for number in range(10):
        drawn.procedure(f"P{number}", number, operator="OP1", status="abandoned")
    (point,) = learning(drawn.built(), MEASURE, as_of=AS_OF, confidence=0.9).points

    assert (point.lower, point.upper) == pytest.approx(wilson_interval(0, 10, 0.9))
    assert point.upper_bound_no_events == pytest.approx(1 - 0.1 ** (1 / 10))
    assert point.operators == 1


def test_too_few_events_give_no_odds_ratio_but_a_reason(drawn, brought):
    brought("OP1", 0)
    for number in range(30):
        drawn.procedure(
            f"P{number:02}", number, operator="OP1", status="abandoned" if number < 9 else "completed"
        )
    made = learning(drawn.built(), MEASURE, as_of=AS_OF)

    assert made.odds_ratio is None
    assert "9 procedures with the rarer outcome are too few" in made.reason


def test_another_operator_is_refused(drawn, brought):
    drawn.procedure("P1", 0, operator="OP1")
    registry = drawn.built()
    with (
        acting(Actor("ines", frozenset({Role.RADIOLOGIST}), "OP2")),
        pytest.raises(Refused, match="that operator and to the quality committee only"),
    ):
        learning(registry, MEASURE, as_of=AS_OF, operator="OP1")


def test_the_own_curve_is_shown(drawn, brought):
    brought("OP1", 0)
    drawn.procedure("P1", 0, operator="OP1")
    registry = drawn.built()
    with acting(Actor("ines", frozenset({Role.RADIOLOGIST}), "OP1")):
        assert learning(registry, MEASURE, as_of=AS_OF, operator="OP1").n == 1


def test_all_operators_together_are_shown_to_whoever_has_a_code(drawn, brought):
    brought("OP1", 0)
    brought("OP2", 0)
    drawn.procedure("P1", 0, operator="OP1")
    drawn.procedure("P2", 0, operator="OP2")
    registry = drawn.built()
    with acting(Actor("ines", frozenset({Role.RADIOLOGIST}), "OP1")):
        assert learning(registry, MEASURE, as_of=AS_OF).n == 2


@pytest.mark.parametrize(
    ("measure", "said"), [("no_such", "there is no such measure"), ("tissue_mass_g", "is no proportion")]
)
def test_a_measure_that_is_no_proportion_is_refused(drawn, measure, said):
    with pytest.raises(UsageProblem, match=f"{measure}: {said}"):
        learning(drawn.built(), measure, as_of=AS_OF)


@pytest.mark.parametrize("last", [10, 25, 50, 100, 200, 400])
def test_the_last_number_of_a_class_and_the_next(drawn, brought, last):
    brought("OP1", last - 1)
    drawn.procedure("P1", 0, operator="OP1")
    drawn.procedure("P2", 1, operator="OP1")
    first, second = learning(drawn.built(), MEASURE, as_of=AS_OF).points

    assert (first.last, first.n) == (last, 1)
    assert (second.first, second.n) == (last + 1, 1)


def test_ten_of_the_rarer_outcome_are_enough_for_one_operator(drawn, brought):
    brought("OP1", 0)
    for number in range(30):
        status = "abandoned" if number < 10 else "completed"
        drawn.procedure(f"P{number:02}", number, operator="OP1", status=status)

    assert learning(drawn.built(), MEASURE, as_of=AS_OF).reason == ""


def test_it_can_be_written_as_json(drawn, brought):
    brought("OP1", 0)
    drawn.procedure("P1", 0, operator="OP1")
    made = learning(drawn.built(), MEASURE, as_of=AS_OF, start=day(0))
    written = json.loads(json.dumps(made.to_dict()))

    assert (written["as_of"], written["from"], written["to"]) == (AS_OF.isoformat(), "2020-01-01", None)
    assert written["points"][0]["x"] == 1
    assert written["sentences"] == list(made.sentences)
