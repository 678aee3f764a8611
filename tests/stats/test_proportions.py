"""Single proportions: published limits, ends, and the accuracy of the digits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import beta, binom

from registry.stats.proportions import (
    bounds_with_missing,
    exact_interval,
    jeffreys_interval,
    midp_interval,
    score_limits,
    upper_bound_no_events,
    wilson_interval,
)

# Newcombe 1998, Stat Med 17:857-872, Table I (limits from memory, reproduced by R).
NEWCOMBE = [
    (wilson_interval, 81, 263, 0.2553, 0.3662),
    (wilson_interval, 15, 148, 0.0624, 0.1605),
    (wilson_interval, 0, 20, 0.0000, 0.1611),
    (wilson_interval, 1, 29, 0.0061, 0.1718),
    (exact_interval, 81, 263, 0.2527, 0.3676),
    (exact_interval, 15, 148, 0.0578, 0.1617),
    (exact_interval, 0, 20, 0.0000, 0.1684),
    (exact_interval, 1, 29, 0.0009, 0.1776),
    (midp_interval, 81, 263, 0.2544, 0.3658),
    (midp_interval, 15, 148, 0.0601, 0.1581),
    (midp_interval, 0, 20, 0.0000, 0.1391),
    (midp_interval, 1, 29, 0.0017, 0.1585),
]


@pytest.mark.parametrize(("interval", "x", "n", "lower", "upper"), NEWCOMBE)
def test_published_limits(interval, x, n, lower, upper):
    assert interval(x, n) == pytest.approx((lower, upper), abs=5e-5)


# Clopper-Pearson per cent at about 2 %, computed in R with binom.test.
PLANNING = [(1, 50, 0.05, 10.65), (2, 100, 0.24, 7.04), (4, 200, 0.55, 5.04), (20, 1000, 1.23, 3.07)]


@pytest.mark.parametrize(("x", "n", "lower", "upper"), PLANNING)
def test_exact_limits_at_two_per_cent(x, n, lower, upper):
    assert np.array(exact_interval(x, n)) * 100 == pytest.approx((lower, upper), abs=0.005)


def test_arrays_agree_with_an_independent_library():
    """statsmodels' vectorised Wilson and beta intervals, which are right."""
    from statsmodels.stats.proportion import proportion_confint

    rng = np.random.default_rng(3)
    n = rng.integers(1, 400, 500)
    x = rng.binomial(n, 0.1)
    for ours, theirs in ((wilson_interval, "wilson"), (exact_interval, "beta")):
        np.testing.assert_allclose(ours(x, n), proportion_confint(x, n, method=theirs), rtol=0, atol=1e-13)


@pytest.mark.parametrize("x", [1, 7, 42, 59])
def test_midp_limits_solve_their_tail_equations(x):
    lower, upper = midp_interval(x, 60, 0.9)
    assert binom.sf(x, 60, lower) + binom.pmf(x, 60, lower) / 2 == pytest.approx(0.05, abs=1e-13)
    assert binom.cdf(x - 1, 60, upper) + binom.pmf(x, 60, upper) / 2 == pytest.approx(0.05, abs=1e-13)


def test_midp_of_ends_and_middle_in_one_array():
    """0/20 and 1/29 as published, 12/12 by the power."""
    lower, upper = midp_interval([0, 1, 12], [20, 29, 12])
    assert lower == pytest.approx([0, 0.0017, 0.05 ** (1 / 12)], abs=5e-5)
    assert upper == pytest.approx([0.1391, 0.1585, 1], abs=5e-5)


def test_midp_of_all_events_is_a_power():
    """n/n: p^n / 2 = 0.025, so p = 0.05^(1/n)."""
    assert midp_interval(12, 12)[0] == pytest.approx(0.05 ** (1 / 12), abs=1e-14)


def test_rare_lower_limit_keeps_its_digits():
    """One event in 10^7: the smaller root of n(1 + z^2/n) p^2 - (2 + z^2) p + 1/n = 0.

    Solved with z^2 = 3.841458820694124 in 50-digit arithmetic, where nothing cancels.
    """
    from decimal import Decimal, getcontext

    getcontext().prec = 50
    n, z2 = Decimal(10) ** 7, Decimal("3.841458820694124")
    b = 2 + z2
    exact = (b - (b * b - 4 * (n + z2) / n).sqrt()) / (2 * (n + z2))
    assert wilson_interval(1, 10**7)[0] == pytest.approx(float(exact), rel=1e-13)


def test_jeffreys_is_the_middle_of_its_beta():
    """2/100 at 95 %: quantiles of Beta(2.5, 98.5) by R qbeta, 0.00418 and 0.06261."""
    assert jeffreys_interval(2, 100) == pytest.approx((0.004179, 0.062606), abs=5e-7)


@pytest.mark.parametrize("n", [1, 2, 40])
def test_jeffreys_of_one_event_is_the_quantile_of_scipy(n):
    """Beta(1.5, n - 0.5) from below; from above too unless that is all events."""
    lower, upper = jeffreys_interval(1, n)
    assert lower == pytest.approx(beta.ppf(0.025, 1.5, n - 0.5), rel=1e-12)
    assert upper == pytest.approx(beta.ppf(0.975, 1.5, n - 0.5) if n > 1 else 1.0, rel=1e-12)


class TestNoEvents:
    def test_hundred_without_an_event(self):
        """Hanley and Lippman-Hand 1983 (from memory): 1 - 0.05^(1/100) = 2.95 %."""
        assert upper_bound_no_events(100) == pytest.approx(0.0295, abs=5e-5)

    def test_fifty_nine_exclude_five_per_cent(self):
        """0.95^59 = 0.0485 < 0.05 < 0.95^58 = 0.0510."""
        assert upper_bound_no_events(59) < 0.05 < upper_bound_no_events(58)

    @pytest.mark.parametrize(("n", "per_cent"), [(50, 5.82), (200, 1.49), (400, 0.75), (1000, 0.30)])
    def test_planning_table(self, n, per_cent):
        """(1 - bound)^n = 0.05, by hand from the logarithm."""
        assert 100 * upper_bound_no_events(n) == pytest.approx(per_cent, abs=0.005)

    def test_confidence_is_one_sided(self):
        """0.975 one-sided is the upper end of the two-sided 95 % exact interval."""
        assert upper_bound_no_events(40, 0.975) == pytest.approx(exact_interval(0, 40)[1], abs=1e-14)

    def test_one_procedure_excludes_little(self):
        assert upper_bound_no_events(1) == pytest.approx(0.95, abs=1e-15)

    def test_no_procedure_has_no_bound(self):
        assert upper_bound_no_events(0) is None

    def test_arrays_keep_their_shape(self):
        found = upper_bound_no_events([0, 1])
        assert np.isnan(found[0])
        assert found[1] == pytest.approx(0.95)

    def test_negative_count_is_refused(self):
        with pytest.raises(ValueError, match="trials must be at least 0; got -3"):
            upper_bound_no_events(-3)

    def test_confidence_is_checked(self):
        with pytest.raises(ValueError, match="confidence"):
            upper_bound_no_events(10, 1.0)


class TestMissingOutcomes:
    def test_bounds_by_hand(self):
        """3 of 150 followed, 50 missing: 3/200, 3/150, 53/200."""
        found = bounds_with_missing(3, 150, 50)
        assert (found.best, found.complete_case, found.worst) == (3 / 200, 3 / 150, 53 / 200)

    def test_interval_runs_from_the_best_to_the_worst(self):
        found = bounds_with_missing(3, 150, 50)
        assert found.ci == (wilson_interval(3, 200)[0], wilson_interval(53, 200)[1])

    def test_confidence_reaches_the_interval(self):
        found = bounds_with_missing(3, 150, 50, 0.8)
        assert found.ci == (wilson_interval(3, 200, 0.8)[0], wilson_interval(53, 200, 0.8)[1])

    def test_nobody_followed(self):
        found = bounds_with_missing(0, 0, 4)
        assert (found.best, found.complete_case, found.worst) == (0.0, None, 1.0)

    def test_nobody_at_all(self):
        found = bounds_with_missing(0, 0, 0)
        assert (found.best, found.complete_case, found.worst, found.ci) == (None, None, None, (None, None))

    def test_more_events_than_followed_are_refused(self):
        with pytest.raises(ValueError, match="5 of 4"):
            bounds_with_missing(5, 4, 1)

    def test_negative_missing_is_refused(self):
        with pytest.raises(ValueError, match="missing must be at least 0; got -1"):
            bounds_with_missing(1, 4, -1)


class TestFractionalSizes:
    def test_whole_sizes_give_the_wilson_interval(self):
        assert score_limits(81, 263, 1.959963984540054) == pytest.approx(wilson_interval(81, 263), abs=1e-14)

    def test_limits_solve_the_score_equation(self):
        """At a limit |p - x/n| = z sqrt(p (1 - p) / n), here with n = 12.5."""
        for limit in score_limits(3.5, 12.5, 2.2):
            assert abs(limit - 0.28) == pytest.approx(2.2 * np.sqrt(limit * (1 - limit) / 12.5), abs=1e-12)

    def test_size_may_be_below_one(self):
        """0 of 0.5: z^2 / (n + z^2) = 4 / 4.5."""
        assert score_limits(0, 0.5, 2) == (0, pytest.approx(4 / 4.5))

    def test_quantile_of_zero_leaves_the_estimate(self):
        assert score_limits([0, 3], [10, 10], 0) == pytest.approx(np.array([[0, 0.3], [0, 0.3]]))

    @pytest.mark.parametrize("size", [0, -2.5])
    def test_size_must_be_positive(self, size):
        with pytest.raises(ValueError, match=f"trials must be above 0; got {size}"):
            score_limits(0, size, 2)

    def test_all_events_end_at_one(self):
        assert score_limits(12.5, 12.5, 2)[1] == 1

    def test_one_impossible_pair_among_many_is_found(self):
        with pytest.raises(ValueError, match="trials must be above 0; got 0"):
            score_limits([0, 0], [1, 0], 2)
        with pytest.raises(ValueError, match="got 3"):
            score_limits([2, 3], [2, 2], 2)

    def test_what_is_no_number_is_named(self):
        with pytest.raises(ValueError, match=r"^trials must be numbers"):
            score_limits(1, "x", 2)
        with pytest.raises(ValueError, match=r"^quantile must be numbers"):
            score_limits(1, 2, "x")

    @pytest.mark.parametrize(
        ("events", "quantile", "said"), [(-1, 2, "events must be at least 0"), (1, -2, "quantile must be at")]
    )
    def test_nothing_is_negative(self, events, quantile, said):
        with pytest.raises(ValueError, match=said):
            score_limits(events, 10, quantile)

    def test_events_must_not_exceed_the_size(self):
        with pytest.raises(ValueError, match=r"got 3.5"):
            score_limits(3.5, 3, 2)


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="same shape"):
        wilson_interval([1, 2], [3, 4, 5])


def test_text_is_refused():
    with pytest.raises(ValueError, match="events must be numbers"):
        wilson_interval("some", 10)


def test_one_size_serves_all_counts():
    lower, upper = wilson_interval([0, 5], 10)
    assert (lower[1], upper[1]) == pytest.approx(wilson_interval(5, 10))
