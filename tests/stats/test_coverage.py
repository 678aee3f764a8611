"""Do the intervals cover what they promise? Exact where a sum will do, seeded elsewhere.

For a binomial interval the coverage at (n, p) is the sum of the probabilities of those
counts whose interval holds p: no random numbers. The bounds asserted are theorems
(Clopper-Pearson, Garwood, order statistics) or the values of an independent exact
computation of the same sums with R's and scipy's distribution functions.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from math import sqrt

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import binom, multivariate_normal, poisson

from registry.stats.clustering import clustered_wilson_interval
from registry.stats.comparison import newcombe_difference
from registry.stats.monitoring import lattice_cusum_run_length
from registry.stats.proportions import exact_interval, jeffreys_interval, midp_interval, wilson_interval
from registry.stats.rates import exact_rate_interval
from registry.stats.shrinkage import beta_binomial
from registry.stats.time_to_event import cumulative_incidence, kaplan_meier
from registry.stats.vectors import mean_region, order_statistic_ranks

FloatArray = NDArray[np.float64]
Interval = Callable[..., tuple[FloatArray, FloatArray]]

GRID = np.arange(1, 1000) / 1000
EDGE = 1e-12


def wald_interval(events: FloatArray, trials: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The interval this project does not use."""
    p = events / trials
    half = 1.959964 * np.sqrt(p * (1 - p) / trials)
    return p - half, p + half


def coverage(interval: Interval, n: int, rates: FloatArray) -> FloatArray:
    """Exact coverage at each rate."""
    x = np.arange(n + 1)
    lower, upper = interval(x, np.full(n + 1, n))
    holds = (lower[:, None] - EDGE <= rates) & (rates <= upper[:, None] + EDGE)
    found: FloatArray = (binom.pmf(x[:, None], n, rates) * holds).sum(axis=0)
    return found


@pytest.mark.parametrize("n", [1, 2, 5, 10, 20, 30, 50, 100, 200, 500])
def test_clopper_pearson_never_falls_below_its_level(n: int) -> None:
    assert coverage(exact_interval, n, GRID).min() >= 0.95


@pytest.mark.parametrize("mean", [0.5, 1, 2, 5, 10, 20])
def test_garwood_never_falls_below_its_level(mean: float) -> None:
    x = np.arange(200)
    lower, upper = exact_rate_interval(x)
    assert poisson.pmf(x, mean)[(lower <= mean) & (mean <= upper)].sum() >= 0.95


@pytest.mark.parametrize("n", [10, 20, 50, 100, 200, 500])
def test_wilson_covers_its_level_on_average_and_not_everywhere(n: int) -> None:
    found = coverage(wilson_interval, n, GRID)
    assert 0.950 <= found.mean() <= 0.955
    assert found.min() >= 0.83


@pytest.mark.parametrize("n", [10, 20, 50, 100, 200, 500])
def test_midp_stays_near_its_level(n: int) -> None:
    found = coverage(midp_interval, n, GRID)
    assert 0.950 <= found.mean() <= 0.969
    assert found.min() >= 0.915


@pytest.mark.parametrize("n", [10, 20, 50, 100, 200, 500])
def test_jeffreys_covers_its_level_on_average(n: int) -> None:
    assert 0.9495 <= coverage(jeffreys_interval, n, GRID).mean() <= 0.9535


# n, p, then Wilson, Clopper-Pearson, Jeffreys, mid-P: independent exact sums.
POINTS = [
    (20, 0.02, 0.9401, 0.9929, 0.9401, 0.9929),
    (30, 0.005, 0.8604, 0.9901, 0.9901, 0.9901),
    (50, 0.05, 0.9622, 0.9882, 0.8853, 0.9622),
    (100, 0.01, 0.9206, 0.9816, 0.9816, 0.9816),
    (100, 0.02, 0.9492, 0.9845, 0.9845, 0.9845),
    (200, 0.02, 0.9331, 0.9622, 0.9622, 0.9622),
    (200, 0.10, 0.9561, 0.9669, 0.9409, 0.9409),
    (500, 0.02, 0.9644, 0.9768, 0.9461, 0.9461),
]


@pytest.mark.parametrize("point", POINTS, ids=lambda point: f"{point[0]}-{point[1]}")
def test_coverage_at_chosen_points(point: tuple[float, ...]) -> None:
    n, p, *expected = point
    methods = wilson_interval, exact_interval, jeffreys_interval, midp_interval
    found = [coverage(method, int(n), np.array([p]))[0] for method in methods]
    assert found == pytest.approx(expected, abs=5e-5)


def test_harness_sees_a_bad_interval() -> None:
    """Negative control: the Wald interval covers 63 % at n = 100, p = 0.01."""
    assert coverage(wald_interval, 100, np.array([0.01]))[0] == pytest.approx(0.6334, abs=5e-5)


@pytest.mark.parametrize(("n1", "n2"), [(30, 30), (50, 100), (100, 100), (200, 200)])
def test_newcombe_difference_covers(n1: int, n2: int) -> None:
    """Double sum over both counts; counts too far out to matter are left out."""
    limits = cache(lambda x1, x2: newcombe_difference(x1, n1, x2, n2).ci)
    for p1, p2 in [(0.02, 0.02), (0.05, 0.02), (0.1, 0.1), (0.2, 0.05), (0.5, 0.3)]:
        first, second = binom.pmf(np.arange(n1 + 1), n1, p1), binom.pmf(np.arange(n2 + 1), n2, p2)
        covered = left_out = 0.0
        for x1 in range(n1 + 1):
            for x2 in range(n2 + 1):
                weight = first[x1] * second[x2]
                if weight < 1e-7:
                    left_out += weight
                    continue
                lower, upper = limits(x1, x2)
                covered += weight * (lower - EDGE <= p1 - p2 <= upper + EDGE)
        assert left_out < 5e-4
        assert covered >= 0.948 - left_out, (p1, p2)


class TestPatientsWithSeveralLesions:
    """Beta-binomial patients; without the design effect the interval is far too narrow."""

    REPLICATES = 4000
    # patients, correlation, rate, lesions per patient, their probabilities, naive too low
    DESIGNS = (
        (60, 0.3, 0.20, (1, 2, 3), (0.7, 0.2, 0.1), False),
        (60, 0.3, 0.20, (1, 3, 6), (0.3, 0.4, 0.3), True),
        (200, 0.5, 0.10, (1, 2), (0.9, 0.1), False),
        (30, 0.4, 0.30, (2, 4, 8), (0.3, 0.4, 0.3), True),
        (200, 0.3, 0.05, (1, 3, 6), (0.3, 0.4, 0.3), True),
    )

    def _draw(self, design: tuple[object, ...], replicates: int) -> tuple[FloatArray, FloatArray]:
        patients, rho, rate, sizes, chances, _ = design
        rng = np.random.default_rng(20)
        n = rng.choice(np.array(sizes), p=np.array(chances), size=(replicates, patients))
        spread = (1 - rho) / rho
        own = rng.beta(rate * spread, (1 - rate) * spread, size=n.shape)
        return rng.binomial(n, own).astype(float), n.astype(float)

    @pytest.mark.parametrize("design", DESIGNS, ids=lambda design: f"{design[0]}-{design[1]}-{design[2]}")
    def test_adjusted_interval_covers(self, design: tuple[object, ...]) -> None:
        """2,000 replicates: standard error 0.005; 0.93 to 0.97 is four of them."""
        y, n = self._draw(design, 2000)
        rate = design[2]
        covered = 0
        for row in range(len(y)):
            lower, upper = clustered_wilson_interval(y[row], n[row])
            covered += lower <= rate <= upper
        assert 0.93 <= covered / len(y) <= 0.97

    @pytest.mark.parametrize("design", [d for d in DESIGNS if d[5]], ids=lambda d: f"{d[0]}-{d[1]}-{d[2]}")
    def test_plain_interval_does_not(self, design: tuple[object, ...]) -> None:
        """Negative control."""
        y, n = self._draw(design, self.REPLICATES)
        lower, upper = wilson_interval(y.sum(axis=1), n.sum(axis=1))
        assert ((lower <= design[2]) & (design[2] <= upper)).mean() < 0.86


LOW, HIGH = 0.95 - 3.5 * sqrt(0.95 * 0.05 / 2000), 0.95 + 3.5 * sqrt(0.95 * 0.05 / 2000)


def test_kaplan_meier_limits_cover() -> None:
    """150 women, exponential times to cancer, lost at random; truth exp(-0.12)."""
    rng = np.random.default_rng(8)
    event, lost = rng.exponential(24 / 0.12, (2000, 150)), rng.uniform(6, 60, (2000, 150))
    covered = 0
    for when, out in zip(event, lost, strict=True):
        found = kaplan_meier(np.minimum(when, out), when <= out, [24.0])
        covered += bool(found.lower[0] <= np.exp(-0.12) <= found.upper[0])
    assert LOW <= covered / 2000 <= HIGH


def test_cumulative_incidence_limits_cover() -> None:
    """Two constant hazards: incidence of the first by 24 months is share x (1 - exp(-total))."""
    rng = np.random.default_rng(9)
    first, second = 0.15 / 24, 0.10 / 24
    truth = first / (first + second) * (1 - np.exp(-24 * (first + second)))
    covered = 0
    for _ in range(2000):
        times = rng.exponential(1 / (first + second), 200)
        cause = np.where(rng.random(200) < first / (first + second), 1, 2)
        lost = rng.uniform(6, 60, 200)
        found = cumulative_incidence(np.minimum(times, lost), np.where(times <= lost, cause, 0), [24.0])
        covered += bool(found.lower[0] <= truth <= found.upper[0])
    assert LOW <= covered / 2000 <= HIGH


def test_mean_region_covers_the_systematic_error() -> None:
    """Normal errors of 25 procedures around a bias of (1, -2, 3) mm, axes correlated."""
    rng = np.random.default_rng(10)
    truth = np.array([1.0, -2.0, 3.0])
    covariance = np.array([[4.0, 1.0, 0.5], [1.0, 9.0, 2.0], [0.5, 2.0, 16.0]])
    draws = multivariate_normal(truth, covariance).rvs(size=(2000, 25), random_state=rng)
    covered = 0
    for points in draws:
        region = mean_region(points)
        along = (truth - region.mean) @ region.axes / region.semi_axes
        covered += bool(along @ along <= 1.0)
    assert LOW <= covered / 2000 <= HIGH


@pytest.mark.parametrize("q", [0.5, 0.95])
@pytest.mark.parametrize("n", [72, 100, 333])
def test_order_statistics_cover_whatever_the_distribution(n: int, q: float) -> None:
    """P(lower rank <= number below the quantile < upper rank), an exact binomial sum."""
    lower, upper = order_statistic_ranks(n, q)
    assert lower is not None
    assert upper is not None
    assert binom.cdf(upper - 1, n, q) - binom.cdf(lower - 1, n, q) >= 0.95


def test_empirical_bayes_limits_cover_on_average() -> None:
    """Twenty units of 60 procedures, true rates from Beta(8, 92); 20 replicates, 400 rates.

    Limits that take the fitted beta as known cover 0.86 here. Bounds: 3.5 standard errors.
    """
    rng = np.random.default_rng(11)
    covered = []
    for _ in range(20):
        truth = rng.beta(8, 92, 20)
        found = beta_binomial(rng.binomial(60, truth), np.full(20, 60))
        covered += list((found.lower <= truth) & (truth <= found.upper))
    error = sqrt(0.95 * 0.05 / len(covered))
    assert np.mean(covered) == pytest.approx(0.95, abs=3.5 * error)


@pytest.mark.parametrize("rate", [0.02, 0.04])
def test_run_length_agrees_with_simulated_runs(rate: float) -> None:
    """20,000 seeded runs of the whole-number sum (m = 34, limit 90), within four SE."""
    rng = np.random.default_rng(12)
    runs = 20_000
    height, length, still = np.zeros(runs), np.zeros(runs), np.arange(runs)
    while still.size:
        event = rng.random(still.size) < rate
        height[still] = np.maximum(0.0, height[still] + np.where(event, 33.0, -1.0))
        length[still] += 1
        still = still[height[still] < 90]
    error = length.std() / sqrt(runs)
    assert lattice_cusum_run_length(34, 90, rate).arl == pytest.approx(length.mean(), abs=4 * error)
