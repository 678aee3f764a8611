"""Whether experience goes alike for all operators; observed over expected; shrinkage by another model."""

from __future__ import annotations

from math import exp, sqrt

import numpy as np
import polars as pl
import pytest
from scipy.stats import chi2, t

from registry.stats.regression import firth_logistic
from registry.units.learning import FEWEST_OPERATORS, one_by_one
from tests.units.test_funnel import draw, found


def rows(outcomes: dict[str, list[int]]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {"operator": code, "number": number + 1, "in_numerator": bool(one)}
            for code, seen in outcomes.items()
            for number, one in enumerate(seen)
        ]
    )


def alternating(n: int) -> list[int]:
    return [number % 2 for number in range(n)]


def test_operators_alike_give_one_slope_and_no_spread():
    """Six operators with the same outcomes: the mean is the slope of any of them, tau 0."""
    seen = [0] * 12 + alternating(16) + [1] * 12
    made = one_by_one(rows({f"OP{n}": seen for n in range(6)}), 10, 0.95)
    number = np.log2(np.arange(1, 41))
    alone = firth_logistic((number - number.mean())[:, None], np.array(seen))

    assert made.operators == 6
    assert made.ratio == pytest.approx(exp(alone.coef[1]))
    assert made.between == pytest.approx(0.0, abs=1e-6)


def test_operators_that_differ_show_a_spread():
    rising, falling = [0] * 15 + [1] * 15, [1] * 15 + [0] * 15
    made = one_by_one(rows({f"OP{n}": rising if n % 2 else falling for n in range(6)}), 10, 0.95)

    assert made.between is not None
    assert made.between > 0.5
    assert made.lower is not None
    assert made.upper is not None
    assert made.lower < 1 < made.upper


def test_mean_and_spread_of_mirrored_operators_by_hand():
    """Three with slope s and three with -s, all with variance v, so that weights are equal.

    Sample variance S^2 = 6 s^2 / 5; REML then gives S^2 - v between them, and the interval of
    Hartung and Knapp is t(5) S / sqrt(6) around 0.
    """
    rising = [0] * 12 + alternating(6) + [1] * 12
    falling = [1 - one for one in rising]
    made = one_by_one(rows({f"OP{n}": rising if n % 2 else falling for n in range(6)}), 10, 0.9)
    number = np.log2(np.arange(1, 31))
    alone = firth_logistic((number - number.mean())[:, None], np.array(rising))
    s, v = alone.coef[1], alone.se[1] ** 2
    half = t.ppf(0.95, 5) * s * sqrt(6 / 5) / sqrt(6)

    assert made.ratio == pytest.approx(1, rel=1e-6)
    assert made.between == pytest.approx(sqrt(6 / 5 * s**2 - v), rel=1e-5)
    assert (made.lower, made.upper) == pytest.approx((exp(-half), exp(half)), rel=1e-6)


def test_five_operators_are_enough():
    made = one_by_one(rows({f"OP{n}": alternating(20) for n in range(FEWEST_OPERATORS)}), 10, 0.95)

    assert (made.operators, made.reason) == (5, "")
    assert made.ratio is not None


def test_an_operator_with_too_few_of_one_outcome_does_not_count():
    enough = alternating(20)
    outcomes = {f"OP{n}": enough for n in range(FEWEST_OPERATORS - 1)}
    made = one_by_one(rows({**outcomes, "OP9": [1] * 9 + [0] * 30}), 10, 0.95)

    assert (made.operators, made.ratio) == (FEWEST_OPERATORS - 1, None)
    assert "asked for" in made.reason


def test_observed_over_expected_has_exact_poisson_limits(drawn):
    """OP2: 8 of 20 where the others have 18 of 20, so 18 expected; Garwood 1936 over 18."""
    units, _ = found(draw(drawn, OP1=(9, 1), OP2=(8, 12), OP3=(9, 1)))
    one = units["OP2"]

    assert one.expected == pytest.approx(18)
    assert one.ratio == pytest.approx(8 / 18)
    assert one.ratio_lower == pytest.approx(chi2.ppf(0.025, 16) / 2 / 18)
    assert one.ratio_upper == pytest.approx(chi2.ppf(0.975, 18) / 2 / 18)


def test_less_than_one_expected_gives_no_ratio(drawn):
    """OP2: the others have 1 of 30, so that 10 procedures would give a third of one."""
    units, _ = found(draw(drawn, OP1=(1, 19), OP2=(1, 9), OP3=(0, 10)))

    assert units["OP2"].expected == pytest.approx(10 / 30)
    assert units["OP2"].ratio is None


def test_the_other_model_of_shrinkage_lies_between_a_unit_and_all(drawn):
    units, made = found(draw(drawn, OP1=(5, 25), OP2=(15, 15), OP3=(25, 5), OP4=(15, 15)))

    for one in (units["OP1"], units["OP3"]):
        low, high = sorted((one.proportion, made.proportion))
        assert low < one.shrunken_otherwise < high
    assert any("Where the logits of the rates are normal instead" in said for said in made.sentences)
