"""Intervals and bounds from counts alone, without a registry: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from registry.errors import UsageProblem
from registry.measures import evaluate
from registry.measures.clusters import effect, interval_by_patient, widening
from registry.measures.counting import Counts
from registry.measures.evaluation import extremes, proportions_of
from tests.measures.build import Drawn, day

#: Ten patients with one procedure each, four of them counted.
ONE_EACH = (np.array([0, 1]), np.array([1, 1]), np.array([6, 4]))
#: Three patients with two procedures each, none counted.
NONE_COUNTED = (np.array([0]), np.array([2]), np.array([3]))
#: The same with two of two, none of two and one of two.
TWO_EACH = (np.array([0, 1, 2]), np.array([2, 2, 2]), np.array([1, 1, 1]))


def width(p: float, n: float, quantile: float) -> float:
    """Of Wilson's interval: 2 z sqrt(p q / n + z^2 / 4 n^2) / (1 + z^2 / n)."""
    square = quantile**2
    return 2 * quantile * (p * (1 - p) / n + square / (4 * n**2)) ** 0.5 / (1 + square / n)


def test_patients_with_one_procedure_each():
    """Design effect m / (m - 1) = 10/9, so 9 effective procedures; t with 9 degrees of freedom is 2.262157."""
    found = effect(ONE_EACH, 0.95)

    assert (found.patients, found.procedures, found.from_data, found.alike) == (10, 10, True, None)
    assert found.design_effect == pytest.approx(10 / 9)
    expected = width(0.4, 9, 2.262157) / width(0.4, 10, 1.959964)
    assert (found.ratio, widening(ONE_EACH, 0.95)) == pytest.approx((expected, expected), rel=1e-6)


def test_without_a_count_the_design_effect_is_planned():
    """1 + (2 - 1) x 0.3 among 6 procedures; t with 2 degrees of freedom is 4.302653."""
    found = effect(NONE_COUNTED, 0.95)

    assert (found.patients, found.procedures, found.from_data) == (3, 6, False)
    assert found.design_effect == pytest.approx(1.3)
    n = 6 / 1.3
    upper = 4.302653**2 / (n + 4.302653**2), 1.959964**2 / (6 + 1.959964**2)
    assert found.ratio == pytest.approx(upper[0] / upper[1], rel=1e-6)


def test_how_alike_two_procedures_of_one_patient_are():
    """Means 0, 1/2 and 1: between 2 (1/4 + 0 + 1/4) / 2 = 1/2, within (0 + 1/2 + 0) / 3 = 1/6;
    (1/2 - 1/6) / (1/2 + 1/6) = 1/2."""
    assert effect(TWO_EACH, 0.95).alike == pytest.approx(0.5)


def test_one_patient_has_no_interval_to_compare():
    one = (np.array([1]), np.array([3]), np.array([1]))

    assert (interval_by_patient(one, 0.95).ci, widening(one, 0.95)) == ((None, None), None)


def test_no_patients_have_no_widening():
    assert widening((np.arange(0), np.arange(0), np.arange(0)), 0.95) is None


@pytest.mark.parametrize(
    ("form", "found"),
    [
        ("missing", ((3, 15), (8, 15))),
        ("cancers", ((3, 10), (8, 15))),
        ("benign", ((3, 12), (8, 15))),
        ("", None),
    ],
)
def test_the_extremes_of_what_is_unknown(form, found):
    """3 of 10; 5 unknown, and 2 unknown without a benign result, which could only add to the denominator."""
    assert extremes(form, Counts(10, 3, unknown={"u": 5, "v": 2})) == found


@pytest.mark.parametrize("form", ["missing", "cancers", "benign"])
def test_where_nothing_is_unknown_the_extremes_are_the_counts(form):
    assert extremes(form, Counts(10, 3)) == ((3, 10), (3, 10))


@pytest.mark.parametrize("form", ["missing", "cancers", "benign"])
def test_where_nothing_is_unknown_the_bounds_are_the_rate(form):
    made = proportions_of(
        {("a", "all"): Counts(10, 3)},
        {"a": form},
        {},
        interval="wilson",
        confidence=0.95,
        stamp="",
        dates={"as_of": day(0), "start": None, "end": None},
    )

    bounds = made[0].bounds
    assert (bounds.lower, bounds.upper, bounds.unknown) == (0.3, 0.3, 0)


def test_no_counts_are_no_results():
    nothing = {"interval": "wilson", "confidence": 0.95, "stamp": "", "dates": {}}

    assert proportions_of({}, {}, {}, **nothing) == []


def test_the_probability_of_sampling_is_not_asked_of_some_procedures(drawn: Drawn):
    """Whatever is asked beside it, the sentence names what is at fault."""
    drawn.procedure("P")
    with pytest.raises(UsageProblem, match="^sampling_probability: is asked of a whole service"):
        evaluate(drawn.built(), ["cancellation", "sampling_probability"], as_of=day(10), among=["P"])
