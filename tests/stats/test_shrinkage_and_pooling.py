"""Small units drawn towards the common rate; centres brought together."""

from __future__ import annotations

import json
from math import exp, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import betainc, betaln, expit, logit
from scipy.stats import binom, norm, t

from registry.stats.binomial_normal import _log_likelihood, lowest_point
from registry.stats.pooling import pooled_proportion, random_effects
from registry.stats.shrinkage import any_positive, beta_binomial, logit_normal

ROWS = {
    row["id"]: row["input"]
    for row in json.loads(
        (Path(__file__).parents[1] / "published" / "statistics_checks.json").read_text("utf-8")
    )
}
SURGERY = ROWS["qc.glmm_logit_normal.surgical"]


class TestBetaBinomial:
    def test_surgical_data(self):
        """Mean 0.0765, size 107.9; 0/47 becomes 5.3 %, 31/215 becomes 12.2 % (R cross-check)."""
        found = beta_binomial(SURGERY["x"], SURGERY["n"])
        assert found.mean == pytest.approx(0.0765, abs=5e-5)
        assert found.size == pytest.approx(107.9, abs=0.05)
        assert (found.eb[0], found.eb[7]) == pytest.approx((0.053, 0.122), abs=5e-4)

    @pytest.mark.parametrize(
        ("x", "n"), [([0, 2, 5, 9, 14], [30] * 5), ([0, 1, 8, 3, 20, 4], [10, 40, 30, 15, 60, 25])]
    )
    def test_limits_hold_the_middle_of_the_posterior(self, x, n):
        """Daniels 1999: size / (size + mean of n) uniform, Jeffreys' prior of the mean; by a plain sum.

        Each unit given mean m and size s is Beta(x + m s, n - x + (1 - m) s); 100 x 400 values of
        shrinkage and of the logit of the mean. 5 % of the posterior lie below, 5 % above.
        """
        events, trials = np.array(x, float), np.array(n, float)
        found = beta_binomial(events, trials, 0.9)
        shrinkage = (np.arange(100) + 0.5) / 100
        mean = expit(np.linspace(-7, 5, 400))
        size, mean = np.meshgrid(trials.mean() * shrinkage / (1 - shrinkage), mean, indexing="ij")
        a, b = (mean * size)[..., None], ((1 - mean) * size)[..., None]
        log_posterior = (betaln(events + a, trials - events + b) - betaln(a, b)).sum(axis=-1)
        # Jeffreys' prior m^(-1/2) (1 - m)^(-1/2) on the scale of the logit
        posterior = np.exp(log_posterior - log_posterior.max()) * np.sqrt(mean * (1 - mean))
        posterior /= posterior.sum()
        for limits, level in ((found.lower, 0.05), (found.upper, 0.95)):
            below = np.sum(
                posterior[..., None] * betainc(events + a, trials - events + b, limits), axis=(0, 1)
            )
            assert below == pytest.approx(np.full(len(x), level), abs=5e-4)

    def test_limits_enclose_the_shrunken_rate(self):
        found = beta_binomial(SURGERY["x"], SURGERY["n"])
        assert (found.lower < found.eb).all()
        assert (found.eb < found.upper).all()

    def test_higher_confidence_widens(self):
        narrow, wide = (beta_binomial(SURGERY["x"], SURGERY["n"], level) for level in (0.8, 0.99))
        assert (wide.lower < narrow.lower).all()
        assert (narrow.upper < wide.upper).all()

    def test_units_alike_show_no_spread(self):
        found = beta_binomial([1, 2, 1], [50, 100, 50])
        assert (found.mean, found.size) == (0.02, np.inf)
        assert list(found.eb) == [0.02] * 3
        assert found.reason == "the units show no spread beyond chance"

    def test_units_alike_still_have_limits(self):
        found = beta_binomial([1, 2, 1], [50, 100, 50])
        assert (found.lower < 0.02).all()
        assert (found.upper > 0.02).all()

    @pytest.mark.parametrize("method", [beta_binomial, logit_normal])
    @pytest.mark.parametrize(
        ("x", "n", "reason"),
        [
            ([0, 0], [3, 4], "no events"),
            ([3, 4], [3, 4], "no variation: every trial had the event"),
            ([1], [4], "needs two units"),
            ([], [], "needs two units"),
        ],
    )
    def test_nothing_to_shrink(self, method, x, n, reason):
        found = method(x, n)
        assert found.reason == reason
        assert np.isnan(found.eb).all()

    @pytest.mark.parametrize("method", [beta_binomial, logit_normal, pooled_proportion])
    def test_unit_without_trials_is_refused(self, method):
        with pytest.raises(ValueError, match="needs trials"):
            method([0, 1], [0, 4])

    @pytest.mark.parametrize("method", [beta_binomial, logit_normal, pooled_proportion])
    def test_units_come_in_columns(self, method):
        with pytest.raises(ValueError, match="one-dimensional"):
            method(1, 4)


class TestLogitNormal:
    def test_quadrature_agrees_with_adaptive_integration(self):
        """Marginal probability of 2/30 at mean -2, sd 0.8, by scipy's quad."""
        inner = lambda u: binom.pmf(2, 30, 1 / (1 + exp(2 - 0.8 * u))) * norm.pdf(u)  # noqa: E731
        expected = np.log(quad(inner, -10, 10, epsabs=1e-14)[0])
        found = _log_likelihood(np.array([2.0]), np.array([30.0]), -2.0, 0.8)[0]
        assert found == pytest.approx(expected, abs=1e-10)

    @pytest.mark.parametrize(("x", "n", "mu", "sd"), [(400, 1000, -2, 1.5), (999, 1000, 0, 2), (3, 5, 1, 4)])
    def test_quadrature_finds_the_narrow_and_the_wide_peak(self, x, n, mu, sd):
        """The same for counts that leave little doubt, and for units far apart."""
        inner = lambda u: binom.pmf(x, n, expit(mu + sd * u)) * norm.pdf(u)  # noqa: E731
        peak = (logit(x / n) - mu) / sd
        expected = np.log(quad(inner, -10, 10, points=[peak - 0.2, peak, peak + 0.2], epsabs=1e-14)[0])
        found = _log_likelihood(np.array([float(x)]), np.array([float(n)]), mu, sd)[0]
        assert found == pytest.approx(expected, abs=1e-7)

    def test_no_spread_is_a_valid_answer(self):
        """4/200: standard error of the logit sqrt(1 / (200 * 0.02 * 0.98))."""
        found = logit_normal([1, 2, 1], [50, 100, 50])
        assert (found.sd, found.se_mu) == (0, pytest.approx(sqrt(1 / (200 * 0.02 * 0.98))))
        assert found.eb == pytest.approx([0.02] * 3)

    def test_small_units_are_drawn_further(self):
        """Raw rate 0 in two units of 10 and 100 beside units at 20 %."""
        x, n = [0, 0, 20, 25, 18, 22], [10, 100, 100, 100, 100, 100]
        found = logit_normal(x, n)
        assert found.eb[0] > found.eb[1] > 0


class TestLowestPoint:
    def test_the_deeper_of_two_valleys(self):
        """(v^2 - 1)^2 + v / 10 is level where 4 v^3 - 4 v + 1/10 is 0; the smallest root lies deepest."""
        found = lowest_point(lambda v: float((v[0] ** 2 - 1) ** 2 + v[0] / 10), [[1.0], [-1.0], [1.0]])
        assert found == pytest.approx([np.roots([4, 0, -4, 0.1]).min()], abs=1e-7)

    def test_a_flat_valley_is_followed_to_its_end(self):
        """(1 - v)^2 + 100 (w - v^2)^2, Rosenbrock's valley, is 0 at 1, 1."""
        found = lowest_point(lambda v: float((1 - v[0]) ** 2 + 100 * (v[1] - v[0] ** 2) ** 2), [[-1.2, 1.0]])
        assert found == pytest.approx([1, 1], abs=1e-7)


class TestAnyPositive:
    def test_three_cores(self):
        """Beta(2, 1): 1 - 2*1/(3*... ) = 1 - B(2, 4)/B(2, 1) = 1 - (1/20)/(1/2)."""
        assert any_positive(2, 1, 3)[0] == pytest.approx(0.9)

    def test_no_core(self):
        assert any_positive(2, 1, 0)[0] == 0

    def test_shapes_may_lie_below_one(self):
        """Beta(1/2, 2), three cores: 1 - (2/2.5)(3/3.5)(4/4.5)."""
        assert any_positive(0.5, 2, 3)[0] == pytest.approx(1 - (2 / 2.5) * (3 / 3.5) * (4 / 4.5))

    def test_below_the_independent_cores(self):
        cores = np.arange(2, 10)
        assert (any_positive(2, 1, cores) < 1 - (1 / 3) ** cores).all()

    @pytest.mark.parametrize(("a", "b"), [(0, 1), (1, 0)])
    def test_shapes_must_be_positive(self, a, b):
        with pytest.raises(ValueError, match="a and b must be above 0"):
            any_positive(a, b, 3)


class TestRandomEffects:
    # BCG trials, log risk ratios with variances.
    BCG = ROWS["meta.reml.bcg"]

    def _data(self):
        a, b, c, d = (np.array(self.BCG[name], float) for name in ("tpos", "tneg", "cpos", "cneg"))
        return np.log(a / (a + b) / (c / (c + d))), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)

    @pytest.mark.parametrize(("method", "theirs"), [("DL", "chi2"), ("PM", "iterated")])
    def test_agrees_with_statsmodels(self, method, theirs):
        from statsmodels.stats.meta_analysis import combine_effects

        estimates, variances = self._data()
        expected = combine_effects(estimates, variances, method_re=theirs)
        found = random_effects(estimates, variances, method)
        assert found.tau2 == pytest.approx(expected.tau2, rel=1e-4)
        assert found.est == pytest.approx(expected.mean_effect_re, rel=1e-5)
        assert found.se == pytest.approx(expected.sd_eff_w_re, rel=1e-4)

    # Three centres at -sqrt(10) and three at sqrt(10), variance 10 each: sample variance 6 * 10 / 5 = 12.
    EVEN = ([-sqrt(10)] * 3 + [sqrt(10)] * 3, [10.0] * 6)

    @pytest.mark.parametrize("method", ["REML", "PM", "DL"])
    def test_equal_variances_leave_the_sample_variance_less_theirs(self, method):
        """Every method then has S^2 - v = 2 between, and variance 12 / 6 of the mean."""
        found = random_effects(*self.EVEN, method)
        assert (found.est, found.tau2, found.se) == pytest.approx((0, 2, sqrt(2)), abs=1e-9)

    @pytest.mark.parametrize(("knapp_hartung", "df"), [(False, 4), (True, 5)])
    def test_a_further_centre_is_predicted_by_t(self, knapp_hartung, df):
        """Between 2 and of the mean 2: t sqrt(4), with k - 2 degrees, and k - 1 after Hartung and Knapp."""
        found = random_effects(*self.EVEN, knapp_hartung=knapp_hartung)
        half = 2 * t.ppf(0.975, df)
        assert found.pi == pytest.approx((-half, half))

    def test_hartung_knapp(self):
        """metafor rma(test = "knha"): se 0.1808, limits -1.1084 to -0.3206."""
        found = random_effects(*self._data(), knapp_hartung=True)
        assert found.se == pytest.approx(0.1808, abs=5e-5)
        assert found.ci == pytest.approx((-1.1084, -0.3206), abs=5e-5)
        assert found.method == "REML, Hartung-Knapp"

    def test_prediction_interval(self):
        """-0.7145 +- t(11) * sqrt(0.3132 + 0.1798^2), t(11) = 2.200985."""
        half = 2.200985 * sqrt(0.313243 + 0.179782**2)
        assert random_effects(*self._data()).pi == pytest.approx(
            (-0.714532 - half, -0.714532 + half), abs=1e-5
        )

    def test_restricted_likelihood_of_equal_variances_is_the_sample_variance(self):
        """tau2 = s^2 - v: values 0, 1, 2, 3 with v = 0.5: 5/3 - 0.5."""
        for method in ("REML", "PM", "DL"):
            found = random_effects([0, 1, 2, 3], [0.5] * 4, method)
            assert found.tau2 == pytest.approx(5 / 3 - 0.5)

    @pytest.mark.parametrize("method", ["REML", "pm", "DL"])
    def test_no_spread_is_a_valid_answer(self, method):
        """All alike: the fixed-effect error sqrt(1 / (3 / 0.5))."""
        found = random_effects([1, 1, 1], [0.5] * 3, method)
        assert (found.tau2, found.I2) == (0, 0)
        assert found.se == pytest.approx(sqrt(0.5 / 3))

    @pytest.mark.parametrize(("k", "given"), [(4, False), (5, True)])
    def test_few_centres_get_no_prediction(self, k, given):
        found = random_effects(np.arange(k), np.ones(k))
        assert (found.pi != (None, None)) is given

    def test_one_centre_is_itself(self):
        found = random_effects([0.4], [0.25])
        assert (found.est, found.se, found.tau2) == (0.4, 0.5, None)
        assert found.ci == pytest.approx((0.4 - 0.979982, 0.4 + 0.979982), abs=1e-6)

    def test_no_centre(self):
        assert random_effects([], []).reason == "no centres"

    @pytest.mark.parametrize(
        ("variances", "method", "said"),
        [
            ([1, 0], "REML", "variances must be above 0; got 0"),
            ([1, 1], "ML", "REML, PM, DL"),
            ([1], "PM", "same length"),
        ],
    )
    def test_impossible_input_is_named(self, variances, method, said):
        with pytest.raises(ValueError, match=said):
            random_effects([1, 2], variances, method)


class TestPooledProportion:
    CONTROL = ROWS["meta.glmm_logit.catheter_control"]

    def test_limits_are_the_logit_ones_turned_back(self):
        found = pooled_proportion(**self.CONTROL, confidence=0.9)
        ends = [1 / (1 + exp(-(found.mu + side * 1.644853627 * found.se))) for side in (-1, 1)]
        assert found.ci == pytest.approx(ends)

    def test_prediction_is_wider_than_the_mean(self):
        found = pooled_proportion(**self.CONTROL)
        assert found.pi[0] < found.ci[0] < found.ci[1] < found.pi[1]

    def test_few_centres_get_no_prediction(self):
        assert pooled_proportion([1, 5, 3, 2], [20, 30, 25, 40]).pi == (None, None)

    def test_no_events(self):
        found = pooled_proportion([0, 0], [10, 20])
        assert (found.pooled, found.reason) == (None, "no events")

    def test_one_centre(self):
        assert pooled_proportion([1], [10]).reason == "needs two units"


@pytest.mark.parametrize(("x", "n"), [([1, 1, 0], [1, 1, 1]), ([5, 0, 5], [5, 5, 5])])
def test_units_that_had_all_or_nothing_settle_no_model(x, n):
    """Nothing in such counts bounds the spread: an interval would be made up."""
    found = pooled_proportion(x, n)

    assert found.pooled is None
    assert found.reason
