"""Charts, funnels, running sums and how long they run."""

from __future__ import annotations

import json
from math import asin, inf, log, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom, false_discovery_control, norm, poisson

from registry.stats.monitoring import (
    adjust_pvalues,
    bernoulli_cusum,
    bernoulli_cusum_arl,
    bernoulli_cusum_run_length,
    binomial_cusum_arl,
    ewma_arl,
    funnel_limits,
    lattice_cusum,
    lattice_cusum_run_length,
    lattice_step,
    normal_cusum_arl,
    overdispersion,
    p_chart,
    poisson_cusum_arl,
    risk_adjusted_scores,
    u_chart,
)

SURGERY = next(
    row["input"]
    for row in json.loads(
        (Path(__file__).parents[1] / "published" / "statistics_checks.json").read_text("utf-8")
    )
    if row["id"] == "qc.glmm_logit_normal.surgical"
)


class TestCharts:
    def test_changing_sizes_change_the_limits(self):
        """11 of 110: 0.1 +- 3 sqrt(0.09 / n) for n = 100 and 10, cut at 0."""
        found = p_chart([9, 2], [100, 10])
        assert found.center == pytest.approx(0.1)
        assert found.ucl == pytest.approx([0.19, 0.1 + 3 * sqrt(0.009)])
        assert found.lcl == pytest.approx([0.01, 0])

    def test_point_outside_is_numbered_from_one(self):
        assert p_chart([1, 1, 1, 9], 10, sigmas=2).beyond == (4,)

    def test_point_below_counts_too(self):
        assert p_chart([50, 50, 20], 100).beyond[-1] == 3

    def test_upper_limit_is_cut_at_one(self):
        assert p_chart([9, 10], 10).ucl == 1

    def test_u_chart_takes_any_exposure(self):
        """12 events in 6: 2 +- 3 sqrt(2 / exposure)."""
        found = u_chart([3, 9], [1.5, 4.5])
        assert found.ucl == pytest.approx([2 + 3 * sqrt(2 / 1.5), 2 + 3 * sqrt(2 / 4.5)])

    def test_u_chart_has_a_lower_limit_cut_at_zero(self):
        """50 events in 5: 10 - 3 sqrt(10 / exposure) for exposures of 4 and of 1/2 twice."""
        found = u_chart([40, 5, 5], [4, 0.5, 0.5])
        assert found.lcl == pytest.approx([10 - 3 * sqrt(2.5), 0, 0])

    @pytest.mark.parametrize(("center", "beyond"), [(0, (1,)), (1, (1, 2))])
    def test_accepted_rate_may_be_none_or_all(self, center, beyond):
        """Limits without width: whatever differs lies outside."""
        assert p_chart([1, 0], 10, center=center).beyond == beyond

    @pytest.mark.parametrize("center", [-0.1, 1.1])
    def test_accepted_rate_outside_its_range_is_refused(self, center):
        with pytest.raises(ValueError, match="center must lie between 0 and 1"):
            p_chart([1, 2], 10, center=center)

    @pytest.mark.parametrize("chart", [p_chart, u_chart])
    def test_no_periods(self, chart):
        assert chart([], []).reason == "no periods"

    def test_period_without_trials_is_refused(self):
        with pytest.raises(ValueError, match="needs trials"):
            p_chart([0, 1], [0, 10])

    def test_period_without_exposure_is_refused(self):
        with pytest.raises(ValueError, match="exposure must be above 0; got 0"):
            u_chart([0, 1], [0, 10])

    def test_lengths_must_agree(self):
        with pytest.raises(ValueError, match="same length"):
            u_chart([0, 1], [1, 2, 3])

    def test_a_rate_beyond_the_limits_is_judged_per_exposure(self):
        """120 in 9: 13.3 -+ 3 sqrt(13.3 / 3) = 7.0 to 19.7, and rates 10, 10 and 20."""
        assert u_chart([30, 30, 60], [3, 3, 3]).beyond == (3,)

    @pytest.mark.parametrize("chart", [p_chart, u_chart])
    def test_periods_come_in_a_column(self, chart):
        with pytest.raises(ValueError, match="one-dimensional"):
            chart(1, 10)


class TestFunnel:
    def test_limit_by_hand(self):
        """n = 2, p = 1/2, level 0.9: r = 2 (P <= 1 is 3/4), a = (1 - 0.9)/(1/4) = 0.4: 0.8."""
        assert funnel_limits(2, 0.5, [0.9]).limits[0, 0] == pytest.approx(0.8)

    def test_limit_on_a_step_is_that_count(self):
        """P(R <= 1) = 0.75 exactly: a = 0."""
        assert funnel_limits(2, 0.5, [0.75]).limits[0, 0] == pytest.approx(0.5)

    def test_limits_lie_within_one_count_of_the_binomial_quantile(self):
        sizes = np.array([20, 87, 300])
        found = funnel_limits(sizes, 0.07)
        quantile = binom.ppf(np.array(found.levels)[:, None], sizes, 0.07)
        assert (np.clip(quantile - 1, 0, None) <= found.limits * sizes + 1e-9).all()
        assert (found.limits * sizes <= quantile + 1e-9).all()

    def test_large_size_is_normal(self):
        """0.1 + 1.96 sqrt(0.09 / 10^6)."""
        upper = funnel_limits(10**6, 0.1, [0.975]).limits[0, 0]
        assert upper == pytest.approx(0.1 + norm.ppf(0.975) * 3e-4, abs=2e-6)

    def test_without_levels_they_are_the_usual_two_pairs(self):
        """95 % and 99.8 %, two-sided (Spiegelhalter 2005, from memory)."""
        assert funnel_limits(100, 0.1).levels == (0.001, 0.025, 0.975, 0.999)

    def test_one_trial_is_enough(self):
        """n = 1, p = 1/2, level 0.9: r = 1 (P <= 0 is 1/2), a = (1 - 0.9)/(1/2) = 0.2: 0.8."""
        assert funnel_limits(1, 0.5, [0.9]).limits[0, 0] == pytest.approx(0.8)

    def test_never_below_zero(self):
        assert funnel_limits(5, 0.01, [0.001]).limits[0, 0] == 0

    @pytest.mark.parametrize(
        ("n", "p0", "levels", "said"),
        [
            (0, 0.1, [0.5], "n must be at least 1"),
            (5, 0, [0.5], "p0 must lie between 0 and 1"),
            (5, 1, [0.5], "p0 must lie between 0 and 1"),
            (5, 0.1, [0], "levels must lie between 0 and 1"),
            (5, 0.1, [1], "levels must lie between 0 and 1"),
        ],
    )
    def test_impossible_input_is_named(self, n, p0, levels, said):
        with pytest.raises(ValueError, match=said):
            funnel_limits(n, p0, levels)


class TestOverdispersion:
    def test_surgical_data(self):
        """Phi 2.38; the hospital at 3.35 falls to 2.09 (independent R computation)."""
        found = overdispersion(SURGERY["x"], SURGERY["n"])
        assert found.phi == pytest.approx(2.38, abs=0.005)
        assert (found.z[7], found.z_adj[7]) == pytest.approx((3.35, 2.09), abs=0.005)

    def test_deviation_by_hand(self):
        """(asin sqrt(1/5) - asin sqrt(6/25)) * 2 sqrt(20) for 4 of 20 among 24 of 100."""
        found = overdispersion([4, 20], [20, 80])
        assert found.z[0] == pytest.approx((asin(sqrt(0.2)) - asin(sqrt(0.24))) * 2 * sqrt(20))

    def test_nine_units_are_not_adjusted(self):
        found = overdispersion([1] * 9, [20] * 9)
        assert (found.phi, found.tau2) == (None, None)
        assert np.isnan(found.z_adj).all()
        assert found.reason.startswith("fewer than 10 units")

    def test_ten_units_are(self):
        assert overdispersion([1] * 10, [20] * 10).phi is not None

    def test_units_alike_show_no_spread(self):
        found = overdispersion([2] * 10, [20] * 10)
        assert found.tau2 == 0
        assert found.z_adj == pytest.approx(found.z)

    def test_no_units(self):
        assert overdispersion([], []).reason == "no units"

    def test_unit_without_trials_is_refused(self):
        with pytest.raises(ValueError, match="needs trials"):
            overdispersion([0, 1], [0, 4])


class TestAdjustedP:
    P = (0.04, 0.001, 0.03, 0.5)

    def test_bh_agrees_with_scipy(self):
        assert adjust_pvalues(self.P) == pytest.approx(false_discovery_control(self.P))

    def test_holm_by_hand(self):
        """Sorted 0.001*4, 0.03*3, then not below: 0.09, 0.5*1."""
        assert adjust_pvalues(self.P, "holm") == pytest.approx([0.09, 0.004, 0.09, 0.5])

    def test_never_above_one(self):
        assert adjust_pvalues([0.9, 0.8], "holm").max() == 1

    def test_certainty_is_a_value_too(self):
        assert adjust_pvalues([1.0, 0.2]) == pytest.approx([1, 0.4])

    def test_none(self):
        assert adjust_pvalues([]).size == 0

    @pytest.mark.parametrize(
        ("p", "method", "said"),
        [([1.2], "bh", r"0\.\.1; got 1\.2"), ([-0.1], "bh", "at least 0"), ([0.1], "none", "'bh' or 'holm'")],
    )
    def test_impossible_input_is_named(self, p, method, said):
        with pytest.raises(ValueError, match=said):
            adjust_pvalues(p, method)


class TestBernoulliCusum:
    def test_path_by_hand(self):
        """Up log(0.2/0.1) for an event, down log(0.8/0.9), never below 0."""
        up, down = log(2), log(0.8 / 0.9)
        found = bernoulli_cusum([0, 1, 0, 1], 0.1, 0.2, 5)
        assert found.path == pytest.approx([0, up, up + down, 2 * up + down])
        assert found.signals == ()

    def test_signal_starts_again_at_zero(self):
        """Two events reach 1.386 >= 1: signal at the 2nd and the 4th unit."""
        found = bernoulli_cusum([1, 1, 1, 1, 0], 0.1, 0.2, 1)
        assert found.signals == (2, 4)
        assert found.path[2] == pytest.approx(log(2))

    def test_limit_reached_exactly_signals(self):
        assert lattice_cusum([1, 0, 1], 3, 3).signals == (3,)

    def test_run_length_median_is_below_the_mean(self):
        found = bernoulli_cusum_run_length(0.02, 0.04, 3, 0.02)
        assert found.arl == bernoulli_cusum_arl(0.02, 0.04, 3, 0.02)
        assert found.median / found.arl == pytest.approx(0.7, abs=0.02)

    def test_uneven_steps_agree_with_whole_ones(self):
        """For p1 of the lattice the two sums are the same: limit 90 steps of -log step."""
        step = lattice_step(0.02, 0.04)
        unit = -log((1 - step.p1) / 0.98)
        uneven = bernoulli_cusum_arl(0.02, step.p1, 90 * unit, 0.02)
        assert uneven == pytest.approx(lattice_cusum_run_length(step.m, 90, 0.02).arl, rel=0.01)

    @pytest.mark.parametrize(
        ("p0", "p1", "limit", "said"),
        [
            (0.2, 0.1, 1, "p1 must be above p0"),
            (0, 0.1, 1, "p0 must lie between 0 and 1"),
            (0.1, 1, 1, "p1 must lie between 0 and 1"),
            (0.1, 0.2, 0, "limit must be a number above 0"),
        ],
    )
    def test_impossible_input_is_named(self, p0, p1, limit, said):
        with pytest.raises(ValueError, match=said):
            bernoulli_cusum([0, 1], p0, p1, limit)

    def test_outcome_other_than_yes_or_no_is_refused(self):
        with pytest.raises(ValueError, match="outcomes must be 0 or 1; got 2"):
            bernoulli_cusum([0, 2], 0.1, 0.2, 1)


class TestLattice:
    def test_step_for_a_doubling_from_two_per_cent(self):
        """log(0.04*0.98/(0.02*0.96)) / -log(0.96/0.98) = 34.6: m = 34."""
        step = lattice_step(0.02, 0.04)
        assert step.m == 34
        ratio = log(step.p1 * 0.98 / (0.02 * (1 - step.p1))) / -log((1 - step.p1) / 0.98)
        assert ratio == pytest.approx(34)

    @pytest.mark.parametrize(
        ("limit", "rate", "arl"), [(90, 0.02, 851), (150, 0.02, 4260), (90, 0.04, 161), (150, 0.04, 315)]
    )
    def test_run_lengths_of_a_design(self, limit, rate, arl):
        """Independent exact solution for m = 34."""
        assert lattice_cusum_run_length(34, limit, rate).arl == pytest.approx(arl, abs=0.5)

    def test_run_length_by_hand(self):
        """m = 2, limit 2: two events more than others; from 0, E0 = 1 + p E1 + q E0 and

        E1 = 1 + q E0: E0 = (1 + p)/p^2, 6 for p = 1/2.
        """
        assert lattice_cusum_run_length(2, 2, 0.5).arl == pytest.approx(6)

    def test_median_by_hand(self):
        """First event of probability 0.3 signals: 1 - 0.7^2 = 0.51 >= 0.5."""
        assert lattice_cusum_run_length(2, 1, 0.3).median == 2

    def test_no_whole_step_for_a_common_rate(self):
        with pytest.raises(ValueError, match="no whole step fits"):
            lattice_step(0.6, 0.7)

    @pytest.mark.parametrize(("m", "limit"), [(1, 5), (2.5, 5), (3, 0), (3, 2.5)])
    def test_impossible_steps_are_refused(self, m, limit):
        with pytest.raises(ValueError, match="must be a whole number"):
            lattice_cusum([0, 1], m, limit)


class TestRiskAdjusted:
    @pytest.mark.parametrize("ratio", [0.5, 2, 3])
    def test_steps_are_log_likelihood_ratios(self, ratio):
        """Odds times the ratio: new risk r q / (1 - q + r q)."""
        risk = 0.07
        raised = ratio * risk / (1 - risk + ratio * risk)
        event, none = risk_adjusted_scores([risk, risk], [1, 0], ratio)
        assert (event, none) == pytest.approx((log(raised / risk), log((1 - raised) / (1 - risk))))

    @pytest.mark.parametrize(
        ("risks", "ratio", "said"),
        [([0, 0.1], 2, "risks must lie"), ([0.2, 0.1], 1, "odds_ratio"), ([0.2, 0.1], 0, "odds_ratio")],
    )
    def test_impossible_input_is_named(self, risks, ratio, said):
        with pytest.raises(ValueError, match=said):
            risk_adjusted_scores(risks, [0, 1], ratio)


class TestRunLengths:
    @pytest.mark.parametrize(
        ("h", "shift", "arl"), [(4, 0, 335.4), (5, 0, 930.9), (4, 1, 8.38), (5, 1, 10.38)]
    )
    def test_normal_cusum(self, h, shift, arl):
        """k = 1/2, one side: table of R spc xcusum.arl and of text-books (from memory)."""
        assert normal_cusum_arl(0.5, h, shift) == pytest.approx(arl, rel=1e-3)

    def test_ewma_of_the_newest_value_only_is_a_shewhart_chart(self):
        """Three sigma: 1 / 0.0027 = 370.4."""
        assert ewma_arl(1, 3) == pytest.approx(370.4, abs=0.05)

    def test_limits_below_one_deviation(self):
        """Without memory each value is judged alone: 1 over twice the tail beyond 0.5."""
        assert ewma_arl(1, 0.5) == pytest.approx(1 / (2 * norm.sf(0.5)))

    def test_count_charts_that_signal_at_the_first_excess(self):
        """Limit of one step above k: signal with the first X >= k + h from 0 or never build up.

        k = 2, h = 1, X at most 3 of 3 trials: only X = 3 signals and S stays 0: 1 / p^3.
        """
        assert binomial_cusum_arl(3, 2, 1, 0.5) == pytest.approx(8)

    def test_poisson_chart_of_one_step(self):
        """k = 1, h = 1: signal with the first X >= 2, S stays 0: 1 / P(X >= 2)."""
        assert poisson_cusum_arl(1, 1, 0.4) == pytest.approx(1 / poisson.sf(1, 0.4))

    def test_fractional_reference_value(self):
        """k = 1/2, h = 1/2: the first event signals: 1 / (1 - exp(-mean))."""
        assert poisson_cusum_arl(0.5, 0.5, 0.3) == pytest.approx(1 / poisson.sf(0, 0.3))

    def test_step_that_does_not_divide_the_limit(self):
        """k = 1/2, h = 1: from 0 one event leaves 1/2, from where any event signals.

        E0 = 1 + a E0 + b E1 and E1 = 1 + a E0 with a, b for none and one event.
        """
        a, b = poisson.pmf([0, 1], 0.3)
        assert poisson_cusum_arl(0.5, 1, 0.3) == pytest.approx((1 + b) / (1 - a - a * b))

    def test_normal_cusum_without_a_shift(self):
        """As above: 335.4 for a limit of 4."""
        assert normal_cusum_arl(0.5, 4) == pytest.approx(335.4, rel=1e-3)

    def test_poisson_is_the_limit_of_the_binomial(self):
        assert binomial_cusum_arl(5000, 1, 4, 0.5 / 5000) == pytest.approx(632.67, rel=0.01)

    @pytest.mark.parametrize(
        ("call", "said"),
        [
            (lambda: poisson_cusum_arl(0, 1, 1), "k and h must be above 0"),
            (lambda: poisson_cusum_arl(1, 1, 0), "mean must be above 0"),
            (lambda: binomial_cusum_arl(0, 1, 1, 0.1), "n must be a whole number"),
            (lambda: binomial_cusum_arl(5, 1, 1, 0), "p must lie between 0 and 1"),
            (lambda: normal_cusum_arl(0.5, 0), "h above 0"),
            (lambda: normal_cusum_arl(-0.1, 4), "k must be 0 or more"),
            (lambda: ewma_arl(0, 3), "smoothing"),
            (lambda: ewma_arl(0.1, 0), "width must be above 0"),
        ],
    )
    def test_impossible_input_is_named(self, call, said):
        with pytest.raises(ValueError, match=said):
            call()


def test_run_length_of_a_sum_a_few_steps_high_is_that_of_a_simulation():
    """100,000 seeded runs of log(2) up, log(0.6 / 0.8) down until 1.5, within four standard errors."""
    rng = np.random.default_rng(8)
    height, length, still = np.zeros(100_000), np.zeros(100_000), np.arange(100_000)
    while still.size:
        event = rng.random(still.size) < 0.3
        height[still] = np.maximum(0.0, height[still] + np.where(event, log(2), log(0.6 / 0.8)))
        length[still] += 1
        still = still[height[still] < 1.5]
    error = length.std() / sqrt(length.size)
    assert bernoulli_cusum_arl(0.2, 0.4, 1.5, 0.3) == pytest.approx(length.mean(), abs=4 * error)


@pytest.mark.parametrize("rate", [0, 1])
def test_run_length_at_a_rate_that_leaves_no_chance_is_refused(rate):
    with pytest.raises(ValueError, match=f"p must lie between 0 and 1, both ends excluded; got {rate}"):
        bernoulli_cusum_arl(0.02, 0.04, 3, rate)


@pytest.mark.parametrize(("limit", "said"), [(inf, "a number above 0"), (1e9, "out of reach")])
def test_run_length_of_an_endless_limit_is_refused(limit, said):
    with pytest.raises(ValueError, match=said):
        bernoulli_cusum_arl(0.02, 0.04, limit, 0.02)
