"""A proportion by procedure number: numbering, classes, what is left out, and the odds ratio."""

from __future__ import annotations

from math import log

import pytest

from registry.errors import Refused
from registry.people import Actor, Role, acting
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
