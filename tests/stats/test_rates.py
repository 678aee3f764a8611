"""Events per time, observed against expected."""

from __future__ import annotations

from math import inf, log

import numpy as np
import pytest
from scipy.stats import binom, binomtest, chi2, poisson

from registry.stats.rates import (
    byar_interval,
    exact_rate_interval,
    midp_rate_interval,
    observed_expected,
    observed_expected_from_risks,
    poisson_binomial,
    rate_ratio,
)


class TestRateInterval:
    def test_no_events(self):
        """-log 0.025 = 3.6889 by hand, over ten years."""
        assert exact_rate_interval(0, 10) == (0, pytest.approx(0.36889, abs=5e-6))

    def test_agrees_with_chi_square_quantiles(self):
        for x in (1, 3, 17):
            expected = chi2.ppf(0.05, 2 * x) / 2 / 4, chi2.ppf(0.95, 2 * x + 2) / 2 / 4
            assert exact_rate_interval(x, 4, 0.9) == pytest.approx(expected)

    def test_less_than_one_unit_of_time(self):
        """2 in half a year: the limits for 2, doubled."""
        found = exact_rate_interval(2, 0.5)
        assert found == pytest.approx((chi2.ppf(0.025, 4), chi2.ppf(0.975, 6)))

    def test_arrays(self):
        lower, upper = exact_rate_interval([0, 5], [1, 2])
        assert (lower[1], upper[1]) == pytest.approx(exact_rate_interval(5, 2))
        assert lower[0] == 0

    @pytest.mark.parametrize("interval", [exact_rate_interval, midp_rate_interval])
    def test_no_time_has_no_rate(self, interval):
        assert interval(0, 0) == (None, None)

    @pytest.mark.parametrize("interval", [exact_rate_interval, midp_rate_interval])
    def test_no_time_in_an_array(self, interval):
        lower, upper = interval([1, 1], [0, 1])
        assert np.isnan([lower[0], upper[0]]).all()
        assert lower[1] == interval(1)[0]

    @pytest.mark.parametrize("x", [1, 4, 30])
    def test_midp_solves_its_tail_equations(self, x):
        lower, upper = midp_rate_interval(x, 1, 0.9)
        assert poisson.sf(x, lower) + poisson.pmf(x, lower) / 2 == pytest.approx(0.05, abs=1e-13)
        assert poisson.cdf(x - 1, upper) + poisson.pmf(x, upper) / 2 == pytest.approx(0.05, abs=1e-13)

    def test_midp_of_no_events(self):
        """exp(-m) / 2 = 0.025: m = -log 0.05."""
        assert midp_rate_interval(0) == (0, pytest.approx(-log(0.05)))

    @pytest.mark.parametrize(
        ("count", "time", "said"),
        [
            (-1, 1, "count must be at least 0; got -1"),
            (1.5, 1, "whole numbers"),
            (1, -2, "time must be at least 0"),
        ],
    )
    def test_impossible_input_is_named(self, count, time, said):
        with pytest.raises(ValueError, match=said):
            exact_rate_interval(count, time)

    def test_shapes_must_fit(self):
        with pytest.raises(ValueError, match="count and time must fit"):
            exact_rate_interval([1, 2], [1, 2, 3])

    def test_midp_of_no_events_beside_others(self):
        """One array: exp(-m) / 2 = 0.025 for none, and each limit as it is alone."""
        lower, upper = midp_rate_interval([0, 4])
        assert (lower[0], upper[0]) == (0, pytest.approx(-log(0.05)))
        assert (lower[1], upper[1]) == pytest.approx(midp_rate_interval(4))

    def test_byar_of_no_events(self):
        """(1 - 1/9 + 1.96/3)^3 = 3.6700... by hand."""
        assert byar_interval(0) == (0, pytest.approx((8 / 9 + 1.959964 / 3) ** 3, rel=1e-6))


class TestRateRatio:
    def test_agrees_with_statsmodels(self):
        from statsmodels.stats.rates import confint_poisson_2indep

        found = rate_ratio([60, 30], [51477.5, 54308.7])
        assert found.ratio == pytest.approx(60 / 51477.5 / (30 / 54308.7))
        # A score interval of the same ratio: near, not equal.
        theirs = confint_poisson_2indep(60, 51477.5, 30, 54308.7, compare="ratio", method="score")
        assert found.ci == pytest.approx(theirs, rel=0.05)

    def test_interval_is_the_binomial_one(self):
        """Share p of the first group, 12 of 20 with times 3 and 2: ratio p/(1-p) * 2/3."""
        binomial = binomtest(12, 20).proportion_ci(method="exact")
        expected = [limit / (1 - limit) * 2 / 3 for limit in (binomial.low, binomial.high)]
        found = rate_ratio([12, 8], [3, 2])
        assert found.ci == pytest.approx(expected)
        assert found.p == pytest.approx(binomtest(12, 20, 0.6).pvalue)

    def test_no_events_in_the_second_group(self):
        found = rate_ratio([3, 0], [10, 20])
        assert (found.ratio, found.ci[1]) == (inf, inf)
        assert found.p == pytest.approx((1 / 3) ** 3)

    def test_no_events(self):
        assert rate_ratio([0, 0], [1, 1]).reason == "no events in either group"

    def test_confidence_is_checked_without_events(self):
        with pytest.raises(ValueError, match="confidence"):
            rate_ratio([0, 0], [1, 1], 95)

    @pytest.mark.parametrize(
        ("x", "time", "said"),
        [([1, 2, 3], [1, 2, 3], "two groups"), ([1, 2], [0, 1], "time must be above 0; got 0")],
    )
    def test_impossible_input_is_named(self, x, time, said):
        with pytest.raises(ValueError, match=said):
            rate_ratio(x, time)


class TestObservedExpected:
    def test_upper_tail(self):
        """P(X >= 11) for mean 6.8."""
        assert observed_expected(11, 6.8).p_upper == pytest.approx(poisson.sf(10, 6.8))

    def test_nothing_observed(self):
        found = observed_expected(0, 2)
        assert (found.oe, found.p_upper) == (0, 1)
        assert found.ci == (0, pytest.approx(3.688879 / 2, abs=1e-6))

    def test_nothing_expected(self):
        found = observed_expected(0, 0)
        assert (found.oe, found.ci, found.reason) == (None, (None, None), "nothing expected")

    @pytest.mark.parametrize(("expected", "few"), [(0.99, True), (1.0, False)])
    def test_few_expected_is_flagged(self, expected, few):
        assert observed_expected(1, expected).few_expected is few

    def test_where_nothing_is_expected_counts_only_are_shown(self):
        assert observed_expected(1, 0.0).few_expected

    def test_a_certain_event_is_a_risk_as_well(self):
        assert observed_expected_from_risks(1, [1.0]).p_upper == 1

    def test_every_unit_may_have_its_event(self):
        """Two of two at 1/2 and 1/4: probability 1/8."""
        assert observed_expected_from_risks(2, [0.5, 0.25]).p_upper == pytest.approx(0.125)

    def test_equal_risks_are_binomial(self):
        found = observed_expected_from_risks(3, [0.1] * 20)
        assert found.p_upper == pytest.approx(binom.sf(2, 20, 0.1))
        assert pytest.approx(2) == found.E

    def test_more_events_than_units_are_refused(self):
        with pytest.raises(ValueError, match="3 of 2"):
            observed_expected_from_risks(3, [0.1, 0.2])

    def test_risk_above_one_is_refused(self):
        with pytest.raises(ValueError, match=r"risks must lie in 0\.\.1; got 1\.2"):
            observed_expected_from_risks(0, [1.0, 1.2])

    def test_nothing_negative_is_expected(self):
        with pytest.raises(ValueError, match=r"expected must be at least 0; got -0\.5"):
            observed_expected(1, -0.5)

    @pytest.mark.parametrize(
        "of_risks", [lambda risks: observed_expected_from_risks(0, risks), poisson_binomial]
    )
    def test_negative_risk_is_refused(self, of_risks):
        with pytest.raises(ValueError, match=r"risks must be at least 0; got -0\.1"):
            of_risks([0.1, -0.1])

    def test_distribution_by_hand(self):
        """Risks 1/2 and 1/4: none 3/8, one 1/2, both 1/8."""
        assert poisson_binomial([0.5, 0.25]) == pytest.approx([3 / 8, 1 / 2, 1 / 8])

    def test_no_units(self):
        assert list(poisson_binomial([])) == [1]
