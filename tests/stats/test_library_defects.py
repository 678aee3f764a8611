"""Where a library gives another number than ours, and the library is wrong.

Each test pins both: the library's value as it is today, so that a repair upstream is
noticed, and ours beside the value of R or of hand arithmetic. The faults were found by
comparing statsmodels 0.15.0 with R 4.2.2.
"""

from __future__ import annotations

import json
import warnings
from math import sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.special import xlogy
from scipy.stats import poisson

from registry.stats.comparison import miettinen_nurminen_difference, trend_test
from registry.stats.pooling import pooled_proportion
from registry.stats.proportions import jeffreys_interval, midp_interval, wilson_interval
from registry.stats.rates import midp_rate_interval
from registry.stats.regression import firth_logistic
from registry.stats.vectors import mean_region

ROWS = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[1] / "published" / "statistics_checks.json").read_text("utf-8")
    )
}


class TestScoreDifference:
    """statsmodels uses a count where a group size belongs in the cubic (its issue 10269)."""

    # R ratesci::scoreci(56, 70, 48, 80, skew = FALSE): 0.05283 to 0.33817
    R_VALUE = (0.052829713247945, 0.338172940012384)

    def test_library_is_wrong(self) -> None:
        from statsmodels.stats.proportion import confint_proportions_2indep

        found = confint_proportions_2indep(56, 70, 48, 80, method="score", compare="diff")
        assert found == pytest.approx((0.05255, 0.34404), abs=5e-6)

    def test_ours_agrees_with_r(self) -> None:
        assert miettinen_nurminen_difference(56, 70, 48, 80).ci == pytest.approx(self.R_VALUE, abs=1e-6)

    def test_library_fails_on_an_example_that_ours_solves(self) -> None:
        """Newcombe 1998, Stat Med 17:873-890, Table II, example 5/56 against 0/29, method 6."""
        from statsmodels.stats.proportion import confint_proportions_2indep

        with pytest.raises(ValueError), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            confint_proportions_2indep(5, 56, 0, 29, method="score", compare="diff")
        assert miettinen_nurminen_difference(5, 56, 0, 29).ci == pytest.approx((-0.0326, 0.1933), abs=5e-5)

    @pytest.mark.parametrize("side", [0, 1])
    def test_limit_is_where_the_restricted_likelihood_says(self, side: int) -> None:
        """At each limit the score statistic, its nuisance maximised numerically, is 1.96."""
        x1, n1, x2, n2 = 56, 70, 48, 80
        delta = miettinen_nurminen_difference(x1, n1, x2, n2).ci[side]
        assert delta is not None

        def minus_log_likelihood(p2: float) -> float:
            p1 = p2 + delta
            return -float(xlogy(x1, p1) + xlogy(n1 - x1, 1 - p1) + xlogy(x2, p2) + xlogy(n2 - x2, 1 - p2))

        ends = max(0.0, -delta) + 1e-12, min(1.0, 1.0 - delta) - 1e-12
        p2 = minimize_scalar(minus_log_likelihood, bounds=ends, method="bounded", options={"xatol": 1e-12}).x
        p1 = p2 + delta
        variance = (p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2) * (n1 + n2) / (n1 + n2 - 1)
        assert abs(x1 / n1 - x2 / n2 - delta) / sqrt(variance) == pytest.approx(1.959964, abs=1e-5)


class TestSimultaneousIntervals:
    """statsmodels mixes a divisor n covariance with a 1/n factor: too narrow."""

    SWEAT = ROWS["target.hotelling.sweat"]["input"]["data"]

    def test_library_is_too_narrow(self) -> None:
        from statsmodels.stats.multivariate import confint_mvmean

        lower, upper, *_ = confint_mvmean(np.array(self.SWEAT), simult=True)
        assert (lower[0], upper[0]) == pytest.approx((3.429, 5.851), abs=5e-4)

    def test_ours_agrees_with_the_textbook(self) -> None:
        """Johnson and Wichern, sweat data: 3.398 to 5.882 for the first mean (from memory)."""
        region = mean_region(self.SWEAT)
        assert region.simultaneous is not None
        assert region.simultaneous[0] == pytest.approx((3.398, 5.882), abs=5e-4)


class TestJeffreysEnds:
    def test_library_leaves_no_events_out_of_the_interval(self) -> None:
        from statsmodels.stats.proportion import proportion_confint

        lower, _ = proportion_confint(0, 20, method="jeffreys")
        assert lower == pytest.approx(2.4e-5, abs=5e-7)

    def test_ours_starts_at_zero(self) -> None:
        assert jeffreys_interval(0, 20)[0] == 0.0

    def test_ours_ends_at_one(self) -> None:
        assert jeffreys_interval(20, 20)[1] == 1.0


class TestWilsonEnd:
    def test_library_stops_short_of_one(self) -> None:
        from statsmodels.stats.proportion import proportion_confint

        assert proportion_confint(20, 20, method="wilson")[1] < 1.0

    def test_ours_is_exactly_one(self) -> None:
        assert wilson_interval(20, 20)[1] == 1.0


class TestTrend:
    """Smokers by group, Fleiss 1981 p 139: 8.2249, p 0.004132 (from memory; R agrees)."""

    X, N = np.array([83, 90, 129, 70]), np.array([86, 93, 136, 82])

    def test_library_gives_the_variant_over_n_minus_1(self) -> None:
        from statsmodels.stats.contingency_tables import Table

        found = Table(np.column_stack([self.N - self.X, self.X])).test_ordinal_association()
        assert found.zscore**2 == pytest.approx(8.2042, abs=5e-5)

    def test_ours_is_the_published_statistic(self) -> None:
        assert trend_test(self.X, self.N).chi2 == pytest.approx(8.2249, abs=5e-5)


class TestMidP:
    def test_library_stops_before_the_root(self) -> None:
        """The tail at its upper limit for 5 events misses 0.025 in the ninth decimal."""
        from statsmodels.stats.rates import confint_poisson

        _, upper = confint_poisson(5, 1, method="midp-c")
        tail = poisson.cdf(4, upper) + poisson.pmf(5, upper) / 2
        assert abs(tail - 0.025) > 1e-11

    def test_our_rate_solves_its_equation(self) -> None:
        _, upper = midp_rate_interval(5)
        tail = poisson.cdf(4, upper) + poisson.pmf(5, upper) / 2
        assert tail == pytest.approx(0.025, abs=1e-14)

    def test_our_proportion_at_no_events(self) -> None:
        """0/20: (1 - p)^20 / 2 = 0.025, so p = 1 - 0.05^(1/20) = 0.139108, not 0.139086."""
        assert midp_interval(0, 20)[1] == pytest.approx(0.139108, abs=5e-7)


class TestFirthSeparation:
    """Endometrial data, Heinze and Schemper 2002 (from memory): slope 2.93, 0.61 to 7.85."""

    DATA = ROWS["yield.firth.endometrial"]["input"]

    def test_plain_likelihood_has_no_finite_slope(self) -> None:
        """Every patient with neovascularisation has the outcome: the slope runs away."""
        with_nv = [y for y, nv in zip(self.DATA["y"], self.DATA["NV"], strict=True) if nv]
        assert set(with_nv) == {1}

    def test_ours_is_finite_with_a_profile_interval(self) -> None:
        columns = np.column_stack([self.DATA["NV"], self.DATA["PI"], self.DATA["EH"]])
        fitted = firth_logistic(columns, self.DATA["y"])
        found = (fitted.coef[1], fitted.lower[1], fitted.upper[1])
        assert found == pytest.approx((2.93, 0.61, 7.85), abs=0.005)


class TestPoolingRareEvents:
    """The double arcsine loses rare events: its way back ends at 0 although 26 were seen."""

    X, N = np.array([0, 0, 0, 26]), np.array([20, 30, 25, 230_000])

    def test_double_arcsine_mean_lies_below_that_of_no_event(self) -> None:
        """Miller 1978, Am Stat 32:138: sizes enter the way back by their harmonic mean.

        A mean angle below the angle of 0 events at that size goes back to 0.
        """
        angle = np.arcsin(np.sqrt(self.X / (self.N + 1))) + np.arcsin(np.sqrt((self.X + 1) / (self.N + 1)))
        mean = np.average(angle, weights=self.N + 0.5)
        harmonic = 1 / np.mean(1 / self.N)
        assert mean < np.arcsin(np.sqrt(1 / (harmonic + 1)))

    def test_ours_keeps_the_events(self) -> None:
        """All but 75 of the trials lie in one centre: the answer must be near 26 / 230,000."""
        pooled = pooled_proportion(self.X, self.N).pooled
        assert pooled == pytest.approx(26 / 230_000, rel=0.05)
