"""Error vectors, order statistics, limits of agreement."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy.stats import chi2, quantile_test, t, ttest_1samp

from registry.stats.vectors import (
    BlandAltman,
    MeanRegion,
    bland_altman,
    ellipse_outline,
    hotelling_test,
    mean_region,
    order_statistic_ranks,
    radius_quantile,
)

POINTS = [(1.0, 2.0, 0.5), (0.2, -1.0, 1.5), (2.2, 0.3, -0.4), (-0.7, 1.1, 0.9), (0.4, 0.6, 2.8)]


class TestOrderStatisticRanks:
    def test_95th_percentile_has_an_upper_limit_from_72_values(self):
        """0.95^72 = 0.0249 <= 0.025 < 0.95^71 = 0.0262."""
        assert order_statistic_ranks(72, 0.95)[1] == 72
        assert order_statistic_ranks(71, 0.95)[1] is None

    def test_5th_percentile_mirrors_it(self):
        assert order_statistic_ranks(72, 0.05)[0] == 1
        assert order_statistic_ranks(71, 0.05)[0] is None

    def test_median_has_limits_from_six_values(self):
        """0.5^6 = 0.0156 <= 0.025 < 0.5^5 = 0.0313."""
        assert order_statistic_ranks(6, 0.5) == (1, 6)
        assert order_statistic_ranks(5, 0.5) == (None, None)

    def test_median_of_ten_by_hand(self):
        """P(B <= 1) = 11/1024 = 0.0107, P(B <= 2) = 56/1024 = 0.0547: ranks 2 and 9."""
        assert order_statistic_ranks(10, 0.5) == (2, 9)

    def test_median_of_a_hundred(self):
        """Ranks 40 and 61 for n = 100 (common table of the median's interval, from memory)."""
        assert order_statistic_ranks(100, 0.5) == (40, 61)

    def test_lower_confidence_narrows(self):
        """n = 10, 80 %: P(B <= 2) = 0.0547 <= 0.1 < P(B <= 3) = 0.1719: ranks 3 and 8."""
        assert order_statistic_ranks(10, 0.5, 0.8) == (3, 8)

    def test_tail_that_is_met_exactly_counts(self):
        """n = 1, median, 0 % would be needed; n = 2 at 50 %: 0.5^2 = 0.25 = tail."""
        assert order_statistic_ranks(2, 0.5, 0.5) == (1, 2)

    @pytest.mark.parametrize(("n", "q"), [(30, 0.25), (80, 0.5), (200, 0.9), (500, 0.95)])
    def test_agrees_with_scipy(self, n, q):
        """scipy's quantile_test on the values 1 .. n gives the ranks themselves."""
        interval = quantile_test(np.arange(1, n + 1), p=q).confidence_interval(0.95)
        assert order_statistic_ranks(n, q) == (interval.low, interval.high)

    def test_one_value_may_be_a_limit(self):
        """P(none below the 90th percentile) = 0.1 <= 0.15: the value bounds it from below."""
        assert order_statistic_ranks(1, 0.9, 0.7) == (1, None)
        assert order_statistic_ranks(1, 0.1, 0.7) == (None, 1)

    def test_no_values_have_no_ranks(self):
        assert order_statistic_ranks(0, 0.5) == (None, None)

    @pytest.mark.parametrize("n", [-1, 2.5])
    def test_number_of_values_is_checked(self, n):
        with pytest.raises(ValueError, match=f"n must be a whole number of 0 or more; got {n}"):
            order_statistic_ranks(n, 0.5)

    @pytest.mark.parametrize("q", [0, 1, 95])
    def test_quantile_is_checked(self, q):
        with pytest.raises(ValueError, match=f"q must lie between 0 and 1.*got {q}"):
            order_statistic_ranks(10, q)

    def test_confidence_is_checked_without_values(self):
        with pytest.raises(ValueError, match="confidence"):
            order_statistic_ranks(0, 0.5, 2)


class TestRadiusQuantile:
    def test_lengths_of_vectors(self):
        """3-4-12 is 13 mm long."""
        assert radius_quantile([(3, 4, 12)], 0.5).radius == 13

    def test_lengths_may_be_given(self):
        assert radius_quantile([1, 5, 3], 0.5).radius == 3

    def test_limits_are_order_statistics(self):
        """Ranks 2 and 9 of ten (above)."""
        found = radius_quantile([10, 9, 8, 7, 6, 5, 4, 3, 2, 1], 0.5)
        assert found.ci == (2, 9)

    def test_one_sided_bound_from_59_values(self):
        """0.95^59 = 0.0485 <= 0.05 < 0.95^58 = 0.0510."""
        assert radius_quantile(np.arange(1, 60), 0.95).upper_bound == 59
        assert radius_quantile(np.arange(1, 59), 0.95).upper_bound is None

    def test_largest_value_does_not_stand_in_for_a_missing_limit(self):
        assert radius_quantile(np.arange(1, 60), 0.95).ci[1] is None

    def test_no_points(self):
        found = radius_quantile([], 0.95)
        assert (found.radius, found.ci, found.upper_bound, found.n) == (None, (None, None), None, 0)

    def test_one_dimension_too_many_is_refused(self):
        with pytest.raises(ValueError, match="rows of coordinates; got 3 dimensions"):
            radius_quantile(np.zeros((2, 2, 3)), 0.5)

    def test_missing_coordinate_is_named(self):
        with pytest.raises(ValueError, match=r"^points must be finite"):
            radius_quantile([(1, float("nan"), 0)], 0.5)

    def test_confidence_reaches_interval_and_bound(self):
        """n = 10 at 80 %: ranks 3 and 8 (above); one-sided P(B >= 7) = 176/1024 = 0.172 <= 0.2,

        P(B >= 6) = 386/1024 = 0.377 > 0.2: rank 7.
        """
        found = radius_quantile(np.arange(1, 11), 0.5, 0.8)
        assert (found.ci, found.upper_bound) == ((3, 8), 7)

    def test_negative_lengths_are_refused(self):
        with pytest.raises(ValueError, match="points must be at least 0; got -2"):
            radius_quantile([1, -2], 0.5)

    def test_confidence_is_checked(self):
        with pytest.raises(ValueError, match="confidence"):
            radius_quantile([1, 2], 0.5, 1)


class TestHotelling:
    def test_one_axis_is_the_t_test_squared(self):
        values = [1.0, 2.5, 0.3, 1.7, 0.9]
        expected = ttest_1samp(values, 0.5)
        found = hotelling_test([[value] for value in values], [0.5])
        assert (found.T2, found.p) == pytest.approx((expected.statistic**2, expected.pvalue))

    def test_agrees_with_statsmodels(self):
        from statsmodels.stats.multivariate import test_mvmean as theirs

        expected = theirs(np.array(POINTS), [0.1, 0.2, 0.3])
        found = hotelling_test(POINTS, [0.1, 0.2, 0.3])
        assert (found.T2, found.F, found.p) == pytest.approx(
            (expected.t2, expected.statistic, expected.pvalue)
        )

    def test_no_bias_is_the_default(self):
        assert hotelling_test(POINTS) == hotelling_test(POINTS, [0, 0, 0])

    def test_needs_one_point_more_than_axes(self):
        assert hotelling_test(POINTS[:3]).reason == "needs 4 points; got 3"
        assert hotelling_test(POINTS[:4]).T2 is not None

    def test_too_few_points_leave_nothing(self):
        found = hotelling_test(POINTS[:3])
        assert (found.T2, found.F, found.p, found.crit90, found.crit95, found.n) == (*[None] * 5, 3)

    def test_missing_coordinates_are_named(self):
        with pytest.raises(ValueError, match=r"^points must be finite"):
            hotelling_test([(1, 2, float("nan"))])
        with pytest.raises(ValueError, match=r"^mean must be finite"):
            hotelling_test(POINTS, [0, 0, float("inf")])

    def test_points_in_a_plane(self):
        flat = [(1, 2, 1), (2, 1, 1), (0, 4, 1), (3, 3, 1), (5, 1, 1)]
        assert hotelling_test(flat).reason == "the points lie in a plane or on a line: no region"

    def test_mean_of_another_length_is_refused(self):
        with pytest.raises(ValueError, match="mean must hold 3 values"):
            hotelling_test(POINTS, [0, 0])

    def test_single_coordinates_are_refused(self):
        with pytest.raises(ValueError, match="rows of coordinates"):
            hotelling_test([1, 2, 3])


class TestMeanRegion:
    def test_one_axis_is_the_t_interval(self):
        values = np.array([1.0, 2.5, 0.3, 1.7, 0.9])
        half = t.ppf(0.975, 4) * values.std(ddof=1) / sqrt(5)
        found = mean_region(values[:, None]).simultaneous[0]
        assert found == pytest.approx([values.mean() - half, values.mean() + half])

    def test_axes_carry_the_eigenvalues_largest_first(self):
        found = mean_region(POINTS)
        back = found.axes @ np.diag(found.eigenvalues) @ found.axes.T
        np.testing.assert_allclose(back, np.cov(np.array(POINTS), rowvar=False), atol=1e-12)
        assert (np.diff(found.eigenvalues) < 0).all()

    def test_region_of_the_mean(self):
        """T2 over n: c = 3 * 4 / 2 * F(3, 2) at 0.95 = 6 * 19.16429."""
        found = mean_region(POINTS)
        assert found.semi_axes == pytest.approx(np.sqrt(found.eigenvalues * 6 * 19.16429 / 5), rel=1e-5)

    def test_region_of_single_errors_is_another(self):
        """sqrt(eigenvalue * chi-square(3) at 0.9)."""
        found = mean_region(POINTS, 0.9)
        assert found.single_semi_axes == pytest.approx(np.sqrt(found.eigenvalues * chi2.ppf(0.9, 3)))

    def test_mean(self):
        """(1 + 0.2 + 2.2 - 0.7 + 0.4) / 5 = 0.62 and so on."""
        assert mean_region(POINTS).mean == pytest.approx([0.62, 0.6, 1.06])

    def test_few_points_carry_a_caution(self):
        assert mean_region(POINTS).caution.startswith("fewer than 10 points")

    def test_ten_points_carry_none(self):
        assert mean_region(np.random.default_rng(1).normal(size=(10, 3))).caution == ""

    def test_too_few_points(self):
        expected = MeanRegion(None, None, None, None, None, None, None, 3, "needs 4 points; got 3")
        assert mean_region(POINTS[:3]) == expected

    def test_confidence_is_checked(self):
        with pytest.raises(ValueError, match="confidence"):
            mean_region(POINTS, 0)


class TestEllipseOutline:
    def test_a_quarter_at_a_time(self):
        """Centre (1, 2), 3 along x and 1 along y."""
        found = ellipse_outline([1, 2], np.eye(2), [3, 1], corners=4)
        assert found == pytest.approx(np.array([(4, 2), (1, 3), (-2, 2), (1, 1), (4, 2)]))

    def test_it_is_turned_with_its_axes(self):
        """Long axis along y: (1, 0) of the ellipse points to (0, 1) of the plane."""
        found = ellipse_outline([0, 0], [[0, -1], [1, 0]], [3, 1], corners=4)
        assert found[:2] == pytest.approx(np.array([(0, 3), (-1, 0)]))

    def test_every_point_of_single_errors_lies_at_the_quantile(self):
        """Squared Mahalanobis distance from the mean = chi-square(2) at 0.95 = 5.991."""
        points = np.random.default_rng(5).multivariate_normal([1, -2], [[4, 1.2], [1.2, 1]], 40)
        region = mean_region(points)
        away = ellipse_outline(region.mean, region.axes, region.single_semi_axes) - points.mean(axis=0)
        squared = (away @ np.linalg.inv(np.cov(points, rowvar=False)) * away).sum(axis=1)
        assert squared == pytest.approx(np.full(73, 5.991464547))

    def test_it_is_closed(self):
        found = ellipse_outline([0.1, 0.2], np.eye(2), [3, 1])
        assert (found[0] == found[-1]).all()

    def test_only_in_a_plane(self):
        with pytest.raises(ValueError, match="an ellipse lies in a plane"):
            ellipse_outline([0, 0, 0], np.eye(3), [1, 1, 1])

    def test_two_corners_are_a_line(self):
        with pytest.raises(ValueError, match="corners must be 3 or more; got 2"):
            ellipse_outline([0, 0], np.eye(2), [1, 1], corners=2)


class TestBlandAltman:
    # Differences 1, 3, 2, 2: mean 2, variance 2/3.
    A, B = (5, 9, 4, 8), (4, 6, 2, 6)

    def test_bias_and_deviation(self):
        found = bland_altman(self.A, self.B)
        assert (found.bias, found.sd) == pytest.approx((2, sqrt(2 / 3)))

    def test_limits(self):
        assert bland_altman(self.A, self.B, 3).limits == pytest.approx(
            (2 - 3 * sqrt(2 / 3), 2 + 3 * sqrt(2 / 3))
        )

    def test_interval_of_the_bias(self):
        """t(3) at 0.975 = 3.182446 times sd / 2."""
        half = 3.182446305 * sqrt(2 / 3) / 2
        assert bland_altman(self.A, self.B).ci_bias == pytest.approx((2 - half, 2 + half))

    def test_interval_of_a_limit_with_any_multiplier(self):
        """sd * sqrt(1/4 + 9 / 6) for three standard deviations."""
        half = 3.182446305 * sqrt(2 / 3) * sqrt(1 / 4 + 9 / 6)
        upper = 2 + 3 * sqrt(2 / 3)
        assert bland_altman(self.A, self.B, 3).ci_upper == pytest.approx((upper - half, upper + half))

    def test_first_paper_with_two_deviations(self):
        """Standard error of a limit s * sqrt(3 / n)."""
        half = 3.182446305 * sqrt(2 / 3) * sqrt(3 / 4)
        upper = 2 + 2 * sqrt(2 / 3)
        assert bland_altman(self.A, self.B, 2).ci_upper == pytest.approx((upper - half, upper + half))

    def test_multiplier_may_be_below_one(self):
        assert bland_altman(self.A, self.B, 0.5).limits[1] == pytest.approx(2 + sqrt(2 / 3) / 2)

    def test_one_pair(self):
        none = (None, None)
        assert bland_altman([1], [2]) == BlandAltman(None, None, none, none, none, none, 1, "needs two pairs")

    def test_two_pairs_are_enough(self):
        """Differences 1 and 3: mean 2, deviation sqrt(2)."""
        found = bland_altman([5, 9], [4, 6])
        assert (found.bias, found.sd) == pytest.approx((2, sqrt(2)))

    def test_normal_quantile_is_the_default(self):
        """2 + 1.959964 * sqrt(2/3)."""
        assert bland_altman(self.A, self.B).limits[1] == pytest.approx(2 + 1.959964 * sqrt(2 / 3), abs=1e-6)

    def test_confidence_reaches_the_intervals(self):
        """t(3) at 0.9 = 1.637744."""
        half = 1.637744354 * sqrt(2 / 3) / 2
        assert bland_altman(self.A, self.B, confidence=0.8).ci_bias == pytest.approx((2 - half, 2 + half))

    @pytest.mark.parametrize(("a", "b", "name"), [(["x"], [1], "a"), ([1], ["x"], "b")])
    def test_reading_that_is_no_number_is_named(self, a, b, name):
        with pytest.raises(ValueError, match=f"^{name} must be numbers"):
            bland_altman(a, b)

    def test_lengths_must_agree(self):
        with pytest.raises(ValueError, match="same length"):
            bland_altman([1, 2], [1])

    def test_multiplier_must_be_positive(self):
        with pytest.raises(ValueError, match="multiplier must be above 0; got 0"):
            bland_altman([1, 2], [1, 3], 0)


def test_three_corners_are_an_outline_and_two_are_none():
    assert len(ellipse_outline([0, 0], np.eye(2), [1, 1], corners=3)) >= 3
    with pytest.raises(ValueError, match="corners"):
        ellipse_outline([0, 0], np.eye(2), [1, 1], corners=2)
