"""Firth's logistic regression and the marginal model."""

from __future__ import annotations

import warnings
from math import log

import numpy as np
import pytest

from registry.stats.regression import firth_logistic, gee_logistic

RNG = np.random.default_rng(6)


class TestFirth:
    def test_two_by_two_table_is_the_half_corrected_odds_ratio(self):
        """Saturated model: Firth adds 1/2 to each cell (Firth 1993, from memory).

        3 of 10 without, 8 of 12 with: log((8.5/4.5) / (3.5/7.5)).
        """
        exposed = [0] * 10 + [1] * 12
        outcome = [1] * 3 + [0] * 7 + [1] * 8 + [0] * 4
        found = firth_logistic(exposed, outcome)
        assert found.coef == pytest.approx([log(3.5 / 7.5), log(8.5 / 4.5 / (3.5 / 7.5))], abs=1e-8)

    def test_separation_stays_finite(self):
        """0 of 3 against 3 of 3: log((3.5/0.5) / (0.5/3.5)) = log 49."""
        found = firth_logistic([0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 1, 1])
        assert found.coef[1] == pytest.approx(log(49), abs=1e-8)
        assert np.isfinite([found.lower[1], found.upper[1]]).all()

    def test_limits_are_where_the_p_value_is_the_level(self):
        """Shifting the outcome's offset is not possible here, so the other way round:

        a 90 % interval lies inside a 99 % one, and excludes 0 exactly if p < 0.1.
        """
        x = RNG.normal(size=40)
        y = (x + RNG.normal(size=40) > 0).astype(int)
        narrow, wide = firth_logistic(x, y, 0.9), firth_logistic(x, y, 0.99)
        assert wide.lower[1] < narrow.lower[1] < narrow.coef[1] < narrow.upper[1] < wide.upper[1]
        level = 1 - narrow.p[1]
        touching = firth_logistic(x, y, level)
        assert min(abs(touching.lower[1]), abs(touching.upper[1])) == pytest.approx(0, abs=1e-6)

    def test_intercept_is_not_added_twice(self):
        x, y = RNG.normal(size=30), RNG.integers(0, 2, 30)
        with_ones = firth_logistic(np.column_stack([np.ones(30), x]), y)
        without = firth_logistic(x, y)
        assert with_ones.coef == pytest.approx(without.coef)
        assert (with_ones.intercept_added, without.intercept_added) == (False, True)

    def test_no_event_at_all_stays_finite(self):
        """Intercept only, 0 of 4: log(0.5 / 4.5)."""
        assert firth_logistic(np.ones((4, 1)), [0] * 4).coef == pytest.approx([log(0.5 / 4.5)], abs=1e-8)

    @pytest.mark.parametrize(("origin", "unit"), [(2020.0, 1.0), (370.0, 0.3), (0.0, 1e-5)])
    def test_origin_and_unit_of_a_predictor_do_not_matter(self, origin, unit):
        """The two by two table above, as two calendar years, two activities, and a tiny unit."""
        exposed = np.array([0] * 10 + [1] * 12)
        outcome = [1] * 3 + [0] * 7 + [1] * 8 + [0] * 4
        plain, found = firth_logistic(exposed, outcome), firth_logistic(origin + unit * exposed, outcome)
        assert found.coef[1] * unit == pytest.approx(log(8.5 / 4.5 / (3.5 / 7.5)), abs=1e-6)
        for name in ("lower", "upper"):
            assert getattr(found, name)[1] * unit == pytest.approx(getattr(plain, name)[1], abs=1e-6)
        assert found.p[1] == pytest.approx(plain.p[1], abs=1e-6)

    @pytest.mark.parametrize("origin", [0.0, 3.0])
    def test_standard_errors_of_two_by_two_table(self, origin):
        """Rates 3.5/11 of 10 and 8.5/13 of 12: 1 / n p q each, their sum for the slope."""
        exposed = origin + np.array([0] * 10 + [1] * 12)
        found = firth_logistic(exposed, [1] * 3 + [0] * 7 + [1] * 8 + [0] * 4)
        without, with_it = 11**2 / (10 * 3.5 * 7.5), 13**2 / (12 * 8.5 * 4.5)
        assert found.se[1] == pytest.approx((without + with_it) ** 0.5)
        # the intercept at 0 is (1 + origin) times the logit without, less origin times that with
        assert found.se[0] == pytest.approx(((1 + origin) ** 2 * without + origin**2 * with_it) ** 0.5)

    def test_without_a_predictor_the_intercept_remains(self):
        """1 of 4: log(1.5 / 3.5)."""
        found = firth_logistic(np.empty((4, 0)), [0, 1, 0, 0])
        assert found.coef == pytest.approx([log(1.5 / 3.5)], abs=1e-8)

    def test_counts(self):
        found = firth_logistic([0, 1, 2, 3], [0, 1, 0, 1])
        assert (found.n, found.events) == (4, 2)

    @pytest.mark.parametrize(
        ("x", "y", "said"),
        [
            ([], [], "needs rows"),
            ([1, 2], [0, 2], "y must be 0 or 1; got 2"),
            ([1, 2, 3], [0, 1], "same length"),
            ([[1, 2], [2, 4], [3, 6]], [0, 1, 0], "depend on one another"),
            ([[[1]], [[2]]], [0, 1], "got 3 dimensions"),
        ],
    )
    def test_impossible_input_is_named(self, x, y, said):
        with pytest.raises(ValueError, match=said):
            firth_logistic(x, y)


class TestGee:
    def test_intercept_only_is_the_ratio_estimator(self):
        """Independence, robust: logit of p, error of p over p (1 - p), divisor m not m - 1."""
        from registry.stats.clustering import ratio_estimate

        y, n = [2, 0, 1, 3, 1], [3, 1, 1, 4, 2]
        outcome = [value for a, b in zip(y, n, strict=True) for value in [1] * a + [0] * (b - a)]
        patient = np.repeat(np.arange(5), n)
        found = gee_logistic(np.ones((len(outcome), 1)), outcome, patient)
        ratio = ratio_estimate(y, n)
        assert found.est[0] == pytest.approx(log(ratio.p / (1 - ratio.p)))
        expected = ratio.se * (4 / 5) ** 0.5 / (ratio.p * (1 - ratio.p))
        assert found.se[0] == pytest.approx(expected)

    def test_few_patients_carry_a_caution(self):
        x, y = RNG.normal(size=78), RNG.integers(0, 2, 78)
        assert gee_logistic(x, y, np.repeat(np.arange(39), 2)).caution.startswith("fewer than 40")
        assert gee_logistic(x, y, np.arange(78)).caution == ""

    def test_forty_patients_need_no_caution(self):
        x, y = RNG.normal(size=80), RNG.integers(0, 2, 80)
        assert gee_logistic(x, y, np.repeat(np.arange(40), 2)).caution == ""

    def test_exchangeable_weighs_patients_by_their_correlation(self):
        """Intercept only: the sum of (y - n p) / (1 + (n - 1) alpha) over patients is 0."""
        y, n = np.array([2, 0, 1, 3, 1, 0, 4]), np.array([3, 1, 1, 4, 2, 3, 5])
        outcome = [value for a, b in zip(y, n, strict=True) for value in [1] * a + [0] * (b - a)]
        found = gee_logistic(np.ones((n.sum(), 1)), outcome, np.repeat(np.arange(7), n), "exchangeable")
        weight = 1 / (1 + (n - 1) * found.alpha)
        p = (weight * y).sum() / (weight * n).sum()
        assert abs(found.alpha) > 0.05
        assert found.est[0] == pytest.approx(log(p / (1 - p)), abs=1e-5)

    def test_labels_may_be_text(self):
        x, y = RNG.normal(size=60), RNG.integers(0, 2, 60)
        numbered = gee_logistic(x, y, np.arange(60))
        named = gee_logistic(x, y, [f"patient {i:02}" for i in range(60)])
        assert named.est == pytest.approx(numbered.est)

    def test_separation_gives_a_reason(self):
        found = gee_logistic([0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 1, 1], [1, 2, 3, 4, 5, 6])
        assert (found.est, found.se) == (None, None)
        assert "separate" in found.reason

    def test_separation_is_told_by_the_reason_alone(self):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            found = gee_logistic([0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 1, 1], [1, 2, 3, 4, 5, 6])
        assert found.reason

    @pytest.mark.parametrize(("furthest", "settled"), [(6.5, True), (7.0, False)])
    def test_a_linear_predictor_beyond_14_counts_as_separated(self, furthest, settled):
        """1 of 4 at 0, 3 of 4 at 1: log 3 (2 x - 1), which is 13.2 at 6.5 and 14.3 at 7.

        The row so far out is fitted to a millionth, and moves nothing.
        """
        x, y = [0] * 4 + [1] * 4 + [furthest], [1, 0, 0, 0, 1, 1, 1, 0, 1]
        found = gee_logistic(x, y, range(9))
        assert (found.est is not None) is settled
        if settled:
            assert found.est == pytest.approx([-log(3), 2 * log(3)], abs=1e-4)

    def test_limits(self):
        x, y = RNG.normal(size=60), RNG.integers(0, 2, 60)
        found = gee_logistic(x, y, np.arange(60), confidence=0.9)
        assert found.upper - found.est == pytest.approx(1.644853627 * found.se)
        assert found.est - found.lower == pytest.approx(1.644853627 * found.se)

    def test_unknown_correlation(self):
        with pytest.raises(ValueError, match="'independence' or 'exchangeable'"):
            gee_logistic([1, 2], [0, 1], [1, 2], "unstructured")

    def test_labels_must_fit(self):
        with pytest.raises(ValueError, match="same length"):
            gee_logistic([1, 2], [0, 1], [1])


def test_limits_that_are_asked_for_are_those_of_the_whole_fit():
    draw = np.random.default_rng(5)
    x = draw.normal(size=(80, 3))
    y = (draw.random(80) < 0.4).astype(int)
    every, one = firth_logistic(x, y), firth_logistic(x, y, limits_of=[1])

    # The intercept stands first, so that the second column of x is the third coefficient.
    assert (one.lower[2], one.upper[2], one.p[2]) == (every.lower[2], every.upper[2], every.p[2])
    assert np.isnan(np.delete(one.lower, 2)).all()
    assert (one.coef == every.coef).all()
