"""Two groups, paired judgements, several groups."""

from __future__ import annotations

from math import exp, inf, log, sqrt

import numpy as np
import pytest
from scipy.stats import binomtest, chi2_contingency
from scipy.stats.contingency import relative_risk

from registry.stats.comparison import (
    homogeneity_test,
    katz_ratio,
    koopman_ratio,
    mcnemar,
    mee_difference,
    miettinen_nurminen_difference,
    miettinen_nurminen_ratio,
    newcombe_difference,
    newcombe_paired_difference,
    tango_difference,
    trend_test,
)
from registry.stats.proportions import wilson_interval

# Newcombe 1998, Stat Med 17:873-890, Table II, method 10 (from memory, reproduced by R).
NEWCOMBE = [
    (56, 70, 48, 80, 0.0524, 0.3339),
    (9, 10, 3, 10, 0.1705, 0.8090),
    (6, 7, 2, 7, 0.0582, 0.8062),
    (5, 56, 0, 29, -0.0381, 0.1926),
    (0, 10, 0, 20, -0.1611, 0.2775),
    (0, 10, 0, 10, -0.2775, 0.2775),
    (10, 10, 0, 20, 0.6791, 1.0000),
    (10, 10, 0, 10, 0.6075, 1.0000),
]


class TestDifference:
    @pytest.mark.parametrize(("x1", "n1", "x2", "n2", "lower", "upper"), NEWCOMBE)
    def test_newcombe_examples(self, x1, n1, x2, n2, lower, upper):
        assert newcombe_difference(x1, n1, x2, n2).ci == pytest.approx((lower, upper), abs=5e-5)

    def test_agrees_with_statsmodels_where_that_is_right(self):
        from statsmodels.stats.proportion import confint_proportions_2indep

        theirs = confint_proportions_2indep(7, 34, 1, 34, method="newcomb", compare="diff", alpha=0.1)
        assert newcombe_difference(7, 34, 1, 34, 0.9).ci == pytest.approx(theirs, abs=1e-12)

    def test_estimate(self):
        assert newcombe_difference(56, 70, 48, 80).diff == pytest.approx(0.2)

    def test_the_factor_stands_in_the_name(self):
        """Printed tables give both variants under one name."""
        assert "N/(N-1)" in miettinen_nurminen_difference(1, 5, 2, 5).method
        assert "no N/(N-1)" in mee_difference(1, 5, 2, 5).method

    def test_the_factor_widens(self):
        """At N = 14 it is 14/13."""
        with_factor, without = miettinen_nurminen_difference(6, 7, 2, 7), mee_difference(6, 7, 2, 7)
        assert with_factor.ci[0] < without.ci[0]
        assert with_factor.ci[1] > without.ci[1]

    def test_score_test_by_hand_at_no_difference(self):
        """0 lies on the limit where the pooled z equals the quantile.

        15/30 against 8/30: pooled 23/60, z = 7/30 / sqrt(23/60 * 37/60 * 2/30) = 1.85854...
        """
        pooled = 23 / 60
        z = (7 / 30) / sqrt(pooled * (1 - pooled) * 2 / 30)
        from scipy.stats import norm

        found = mee_difference(15, 30, 8, 30, 2 * norm.cdf(z) - 1)
        assert found.ci[0] == pytest.approx(0, abs=1e-9)

    def test_confidence_is_checked_without_trials(self):
        with pytest.raises(ValueError, match="confidence"):
            mee_difference(0, 0, 0, 0, 1.5)

    def test_arrays_are_refused(self):
        with pytest.raises(ValueError, match="single numbers"):
            newcombe_difference([1, 2], [3, 4], 1, 5)


class TestRatio:
    def test_katz_agrees_with_scipy(self):
        theirs = relative_risk(8, 15, 4, 15).confidence_interval(0.9)
        assert katz_ratio(8, 15, 4, 15, 0.9).ci == pytest.approx((theirs.low, theirs.high))

    def test_score_interval_agrees_with_statsmodels(self):
        from statsmodels.stats.proportion import confint_proportions_2indep

        theirs = confint_proportions_2indep(
            30, 100, 12, 90, method="score", compare="ratio", correction=False
        )
        assert koopman_ratio(30, 100, 12, 90).ci == pytest.approx(theirs, rel=1e-6)

    def test_score_test_by_hand_at_equal_rates(self):
        """1 lies on the limit where the pooled z equals the quantile, as for the difference."""
        from scipy.stats import norm

        z = (7 / 30) / sqrt(23 / 60 * 37 / 60 * 2 / 30)
        assert koopman_ratio(15, 30, 8, 30, 2 * norm.cdf(z) - 1).ci[0] == pytest.approx(1, abs=1e-9)

    def test_the_factor_widens(self):
        with_factor, without = miettinen_nurminen_ratio(8, 15, 4, 15), koopman_ratio(8, 15, 4, 15)
        assert with_factor.ci[0] < without.ci[0]
        assert with_factor.ci[1] > without.ci[1]

    def test_no_events_in_the_first_group(self):
        found = koopman_ratio(0, 10, 5, 10)
        assert (found.ratio, found.ci[0]) == (0, 0)
        assert 0 < found.ci[1] < 1

    def test_no_events_in_the_second_group(self):
        found = koopman_ratio(5, 10, 0, 10)
        assert (found.ratio, found.ci[1]) == (inf, inf)

    def test_everybody_has_the_event(self):
        """Equal rates of 1: the interval holds 1 and is its own inverse."""
        lower, upper = koopman_ratio(10, 10, 10, 10)
        assert lower < 1 < upper
        assert lower * upper == pytest.approx(1)

    @pytest.mark.parametrize(("x1", "x2", "ratio"), [(0, 5, 0), (5, 0, inf)])
    def test_katz_has_no_interval_at_no_events(self, x1, x2, ratio):
        found = katz_ratio(x1, 10, x2, 10)
        assert (found.ratio, found.ci, found.reason) == (ratio, (None, None), "a group has no events")

    @pytest.mark.parametrize("method", [katz_ratio, koopman_ratio])
    def test_no_events_at_all(self, method):
        assert method(0, 10, 0, 10).reason == "no events in either group"

    @pytest.mark.parametrize("method", [katz_ratio, koopman_ratio, miettinen_nurminen_ratio])
    def test_no_trials(self, method):
        assert method(0, 0, 1, 10).reason == "no trials in one of the groups"


class TestMcNemar:
    def test_exact_is_the_sign_test(self):
        """8 against 2 discordant pairs: scipy's two-sided binomial test of 8 of 10."""
        assert mcnemar([[10, 8], [2, 5]]).p_exact == pytest.approx(binomtest(8, 10).pvalue)

    def test_midp_takes_off_the_observed_point(self):
        """2 * (1 + 10 + 45)/1024 - 45/1024 = 67/1024."""
        assert mcnemar([[10, 8], [2, 5]]).p == pytest.approx(67 / 1024)

    def test_all_on_one_side(self):
        """0 of 5: exact 2/32, mid-P 1/32."""
        found = mcnemar([[1, 5], [0, 1]])
        assert (found.p_exact, found.p) == pytest.approx((2 / 32, 1 / 32))

    def test_even_split_is_no_evidence(self):
        found = mcnemar([[3, 4], [4, 3]])
        assert (found.p, found.p_exact, found.reason) == (1, 1, "")

    def test_agrees_with_statsmodels(self):
        from statsmodels.stats.contingency_tables import mcnemar as theirs

        table = [[20, 12], [2, 16]]
        assert mcnemar(table).p_exact == pytest.approx(theirs(table, exact=True).pvalue)

    def test_no_discordant_pair(self):
        found = mcnemar([[7, 0], [0, 2]])
        assert (found.p, found.p_exact, found.n) == (1, 1, 9)
        assert found.reason == "no discordant pairs"

    @pytest.mark.parametrize("table", [[[1, 2, 3], [4, 5, 6]], [1, 2]])
    def test_table_must_be_two_by_two(self, table):
        with pytest.raises(ValueError, match="2 x 2"):
            mcnemar(table)


class TestPaired:
    def test_tango_without_discordant_pairs_is_wilson_of_none(self):
        """b = c = 0: n d^2 = z^2 (|d| - d^2), so |d| = z^2 / (n + z^2), Wilson's limit of 0/n."""
        lower, upper = tango_difference(10, 0, 0, 10)
        assert (-lower, upper) == pytest.approx((wilson_interval(0, 20)[1],) * 2)

    def test_tango_at_no_difference_is_mcnemar(self):
        """0 lies on the limit where (b - c) / sqrt(b + c) equals the quantile."""
        from scipy.stats import norm

        level = 2 * norm.cdf((12 - 2) / sqrt(14)) - 1
        assert tango_difference(20, 12, 2, 16, level).ci[0] == pytest.approx(0, abs=1e-9)

    def test_one_sided_table_ends_at_one(self):
        found = tango_difference(0, 10, 0, 0)
        assert (found.diff, found.ci[1]) == (1, 1)

    def test_newcombe_without_correlation_is_the_independent_interval(self):
        """An empty margin makes phi 0: 10 of 10 against 4 of 10."""
        expected = newcombe_difference(10, 10, 4, 10).ci
        assert newcombe_paired_difference(4, 6, 0, 0).ci == pytest.approx(expected)

    def test_newcombe_negative_correlation_is_not_corrected(self):
        """a d < b c: phi = (4 - 100)/sqrt(12^4) = -2/3 enters as it is.

        Both rates 1/2 of 24, Wilson limits 0.5 -+ h: delta = h sqrt(2 + 4/3).
        """
        lower, upper = wilson_interval(12, 24)
        half = (upper - lower) / 2 * sqrt(2 + 4 / 3)
        assert newcombe_paired_difference(2, 10, 10, 2).ci == pytest.approx((-half, half))

    def test_newcombe_positive_correlation_is_corrected_by_half_n(self):
        """a d - b c = 96, less n/2 = 12: phi = 84/144; delta = h sqrt(2 - 2 phi)."""
        lower, upper = wilson_interval(12, 24)
        half = (upper - lower) / 2 * sqrt(2 - 2 * 84 / 144)
        assert newcombe_paired_difference(10, 2, 2, 10).ci == pytest.approx((-half, half))

    def test_newcombe_correlation_below_half_n_is_none(self):
        """1 x 2 - 1 x 1 = 1, less than half of 5: the limits 0.1176 and 0.7693 of 2 of 5 twice, uncorrelated."""
        found = newcombe_paired_difference(1, 1, 1, 2)
        lower, upper = wilson_interval(2, 5)
        half = sqrt((0.4 - lower) ** 2 + (upper - 0.4) ** 2)
        assert found.ci == pytest.approx((-half, half))

    @pytest.mark.parametrize("method", [tango_difference, newcombe_paired_difference])
    def test_without_pairs_there_is_no_difference(self, method):
        found = method(0, 0, 0, 0)
        assert (found.diff, tuple(found.ci)) == (None, (None, None))
        assert found.reason

    def test_one_pair_has_a_difference(self):
        assert newcombe_paired_difference(0, 1, 0, 0).diff == 1

    def test_negative_count_is_refused(self):
        with pytest.raises(ValueError, match="pairs must be at least 0; got -1"):
            tango_difference(1, -1, 0, 0)


class TestSeveralGroups:
    X, N = (3, 8, 12), (20, 25, 22)

    def test_homogeneity_is_the_chi_square_of_the_table(self):
        table = [[x, n - x] for x, n in zip(self.X, self.N, strict=True)]
        theirs = chi2_contingency(table, correction=False)
        found = homogeneity_test(self.X, self.N)
        assert (found.chi2, found.p, found.df) == pytest.approx((theirs.statistic, theirs.pvalue, 2))

    def test_groups_without_trials_are_left_out(self):
        assert homogeneity_test((*self.X, 0), (*self.N, 0)) == homogeneity_test(self.X, self.N)

    def test_tarone_by_hand(self):
        """Two groups of 2, 2 and 0 events: p = 1/2, sum (x - n p)^2 / (p q) = 8.

        z = (8 - 4) / sqrt(2 * (2 + 2)) = 1.41421.
        """
        found = homogeneity_test([2, 0], [2, 2])
        assert found.tarone_z == pytest.approx(sqrt(2))
        assert found.tarone_p == pytest.approx(0.0786496, abs=1e-7)

    def test_tarone_needs_a_group_of_two(self):
        found = homogeneity_test([1, 0], [1, 1])
        assert (found.tarone_z, found.tarone_p) == (None, None)

    def test_one_group(self):
        assert homogeneity_test([1], [5]).reason == "needs two groups with trials"

    @pytest.mark.parametrize("x", [(0, 0), (4, 5)])
    def test_constant_outcome(self, x):
        assert homogeneity_test(x, (4, 5)).reason.startswith("no variation")

    def test_trend_of_two_groups_is_the_plain_chi_square(self):
        plain = homogeneity_test([3, 9], [20, 22])
        found = trend_test([3, 9], [20, 22])
        assert (found.chi2, found.p) == pytest.approx((plain.chi2, plain.p))

    def test_trend_follows_the_positions(self):
        """Scale and origin of the axis do not matter, its spacing does."""
        plain = trend_test(self.X, self.N).chi2
        assert trend_test(self.X, self.N, [10, 30, 50]).chi2 == pytest.approx(plain)
        assert trend_test(self.X, self.N, [1, 2, 9]).chi2 != pytest.approx(plain)

    def test_trend_is_a_regression_on_the_outcomes(self):
        """N r^2 of position and outcome over all trials."""
        position = np.repeat([1, 1, 2, 2, 3, 3], [3, 17, 8, 17, 12, 10])
        outcome = np.repeat([1, 0, 1, 0, 1, 0], [3, 17, 8, 17, 12, 10])
        expected = 67 * np.corrcoef(position, outcome)[0, 1] ** 2
        assert trend_test(self.X, self.N).chi2 == pytest.approx(expected)

    def test_trend_of_two_single_trials(self):
        """Position and outcome agree altogether: N r^2 = 2 with one degree, however small the table."""
        found = trend_test([0, 1], [1, 1])
        assert (found.chi2, found.df) == (pytest.approx(2), 1)

    def test_a_group_of_one_trial_counts(self):
        """1 of 1, 1 of 4 and 3 of 5, as scipy has it."""
        expected = chi2_contingency([[1, 0], [1, 3], [3, 2]], correction=False)
        found = homogeneity_test([1, 1, 3], [1, 4, 5])
        assert (found.chi2, found.df) == (pytest.approx(expected.statistic), 2)

    @pytest.mark.parametrize(("x", "scores"), [((0, 0, 0), None), ((3, 8, 12), (2, 2, 2))])
    def test_trend_of_nothing(self, x, scores):
        found = trend_test(x, self.N, scores)
        assert (found.reason, found.df) == ("outcomes or positions do not vary", 1)

    def test_trend_without_trials(self):
        found = trend_test([0, 0], [0, 0])
        assert (found.reason, found.df) == ("no trials", 1)

    def test_scores_must_fit(self):
        with pytest.raises(ValueError, match="same length"):
            trend_test(self.X, self.N, [1, 2])


def test_katz_by_hand():
    """Log 2 +- 1.96 sqrt(1/8 - 1/15 + 1/4 - 1/15)."""
    half = 1.959964 * sqrt(1 / 8 - 1 / 15 + 1 / 4 - 1 / 15)
    assert katz_ratio(8, 15, 4, 15).ci == pytest.approx((exp(log(2) - half), exp(log(2) + half)), rel=1e-6)
