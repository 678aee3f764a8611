"""Is there anything above background? Net count rates and what they can show."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt

from scipy.special import bdtrc, gammaincinv, ndtr, ndtri

from registry.stats.arguments import confidence_level, whole_counts
from registry.stats.rates import exact_rate_interval

FEW_COUNTS = 20
"""Below this many gross or background counts the normal form is not trusted (project default)."""


@dataclass(frozen=True)
class NetRate:
    """Count rate of a specimen above background, per second.

    ``detected`` says whether the counts show tracer at all: the net rate lies above
    ``decision_threshold`` (for few counts: reaches it). ``p`` is the chance of as many
    counts from background alone. A true rate of ``detection_limit`` is missed with
    probability beta. Not detected does not mean that there is none.
    """

    net_rate: float
    standard_uncertainty: float
    decision_threshold: float
    detection_limit: float
    p: float
    detected: bool
    ci: tuple[float, float]
    method: str


def net_rate(
    counts: int,
    seconds: float,
    background_counts: int,
    background_seconds: float | None = None,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    confidence: float = 0.95,
) -> NetRate:
    """Net count rate with decision threshold and detection limit.

    Parameters
    ----------
    counts
        Gross counts in the specimen region, whole.
    seconds
        Duration of the gross count, above 0.
    background_counts
        Counts in an equal region without the specimen, whole.
    background_seconds
        Its duration; the same as the gross count where not given.
    alpha
        Chance of finding tracer where there is none.
    beta
        Chance of missing a rate at the detection limit.
    confidence
        Two-sided confidence of the interval, which starts at 0.

    Returns
    -------
    NetRate
        With fewer than 20 gross or background counts everything is exact: the
        decision is the conditional test, the detection limit that of its count at the
        background seen, the interval combines exact Poisson limits.

    Raises
    ------
    ValueError
        Counts or durations out of range, probabilities outside (0, 1).

    Sources
    -------
    ISO 11929 (2010; 2019), net count rate with known durations; exact test of two
    Poisson counts by Przyborowski and Wilenski 1940, Biometrika 31:313-323; interval
    of a difference from the limits of its parts by Zou and Donner 2008, Stat Med
    27:1693-1702. From memory.
    """
    gross, empty = (
        int(whole_counts(counts, "counts")),
        int(whole_counts(background_counts, "background_counts")),
    )
    time = _duration(seconds, "seconds")
    empty_time = time if background_seconds is None else _duration(background_seconds, "background_seconds")
    k_alpha, k_beta = _upper_quantile(alpha, "alpha"), _upper_quantile(beta, "beta")
    level = confidence_level(confidence)
    empty_rate = empty / empty_time
    net = gross / time - empty_rate
    u = sqrt(gross / time**2 + empty / empty_time**2)
    share = time / (time + empty_time)
    p = float(bdtrc(gross - 1, gross + empty, share)) if gross else 1.0
    if min(gross, empty) < FEW_COUNTS:
        needed = _counts_needed(empty, share, alpha)
        threshold = needed / time - empty_rate
        limit = max(0.0, float(gammaincinv(needed, 1.0 - beta)) / time - empty_rate)
        ci = _few_counts_interval((gross, time), (empty, empty_time), level)
        return NetRate(net, u, threshold, limit, p, gross >= needed, ci, "exact Poisson")
    empty_variance = empty_rate * (1.0 / time + 1.0 / empty_time)
    threshold = k_alpha * sqrt(empty_variance)
    limit = _detection_limit(threshold, k_beta, time, empty_variance)
    return NetRate(
        net, u, threshold, limit, p, net > threshold, _coverage_interval(net, u, level), "ISO 11929"
    )


def _duration(seconds: float, name: str) -> float:
    if not 0.0 < seconds < inf:
        raise ValueError(f"{name} must be above 0; got {seconds}")
    return float(seconds)


def _upper_quantile(error: float, name: str) -> float:
    if not 0.0 < error < 1.0:
        raise ValueError(f"{name} must lie between 0 and 1, both ends excluded; got {error}")
    return float(ndtri(1.0 - error))


def _detection_limit(threshold: float, k_beta: float, time: float, empty_variance: float) -> float:
    """Smallest true rate found with the wanted power: root of y = y* + k u(y)."""
    half = threshold + k_beta**2 / (2.0 * time)
    return half + sqrt(max(0.0, half**2 - threshold**2 + k_beta**2 * empty_variance))


def _coverage_interval(net: float, u: float, level: float) -> tuple[float, float]:
    """Normal interval cut at 0 and scaled so that the rest holds the full probability."""
    above_zero = float(ndtr(net / u))
    tail = (1.0 - level) / 2.0
    low = net + u * float(ndtri(1.0 - above_zero * (1.0 - tail)))
    high = net + u * float(ndtri(1.0 - above_zero * tail))
    return max(0.0, low), max(0.0, high)


def _few_counts_interval(
    filled: tuple[int, float], blank: tuple[int, float], level: float
) -> tuple[float, float]:
    (gross, time), (empty, empty_time) = filled, blank
    low, high = exact_rate_interval(gross, time, level)
    empty_low, empty_high = exact_rate_interval(empty, empty_time, level)
    rate, empty_rate = gross / time, empty / empty_time
    below = sqrt((rate - low) ** 2 + (empty_high - empty_rate) ** 2)
    above = sqrt((high - rate) ** 2 + (empty_rate - empty_low) ** 2)
    return max(0.0, rate - empty_rate - below), max(0.0, rate - empty_rate + above)


def _counts_needed(empty: int, share: float, alpha: float) -> int:
    """Fewest gross counts that background alone would reach with at most alpha."""
    needed = 1
    while bdtrc(needed - 1, needed + empty, share) > alpha:
        needed += 1
    return needed
