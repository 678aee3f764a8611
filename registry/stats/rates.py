"""Events per follow-up time, and observed against expected events."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincc, gammainccinv, gammaincinv, gammaln

from registry.stats.arguments import FloatArray, confidence_level, normal_quantile, numbers, whole_counts
from registry.stats.proportions import Pair, exact_interval
from registry.stats.roots import rising_roots

FEW_EXPECTED = 1.0
"""Below this many expected events a ratio is shown as counts only (project default)."""


@dataclass(frozen=True)
class RateRatio:
    """First rate over second; None, with a reason, where neither group has events."""

    ratio: float | None
    ci: tuple[float | None, float | None]
    p: float | None
    reason: str = ""


@dataclass(frozen=True)
class ObservedExpected:
    """Observed over expected events with exact Poisson limits.

    ``p_upper`` is the probability of as many events or more if the expectation holds.
    ``few_expected`` asks the reader of the result to show the counts only.
    """

    oe: float | None
    ci: tuple[float | None, float | None]
    observed: int
    E: float
    p_upper: float
    few_expected: bool
    reason: str = ""


def exact_rate_interval(count: ArrayLike, time: ArrayLike = 1.0, confidence: float = 0.95) -> Pair:
    """Exact interval for an event rate (Garwood), never below the stated coverage.

    Parameters
    ----------
    count
        Events, whole, scalar or array.
    time
        Follow-up time in any unit, 0 or more; the limits are per that unit.
    confidence
        Two-sided confidence, between 0 and 1 exclusive.

    Returns
    -------
    (lower, upper)
        Lower limit 0 at no events. None (NaN inside arrays) where time is 0.

    Raises
    ------
    ValueError
        Counts negative or fractional, time negative, confidence outside (0, 1).

    Sources
    -------
    Garwood 1936, Biometrika 28:437-442.
    """
    tail = (1.0 - confidence_level(confidence)) / 2.0
    return _per_time(lambda x: _garwood(x, tail), count, time)


def midp_rate_interval(count: ArrayLike, time: ArrayLike = 1.0, confidence: float = 0.95) -> Pair:
    """Mid-P interval for an event rate: the observed count enters its tails by half.

    Parameters, Returns, Raises
    ---------------------------
    As :func:`exact_rate_interval`.

    Sources
    -------
    Cohen and Yang 1994, Stat Med 13:2189-2203, from memory; solved to machine precision.
    """
    tail = (1.0 - confidence_level(confidence)) / 2.0
    return _per_time(lambda x: _midp(x, tail), count, time)


def byar_interval(count: int, confidence: float = 0.95) -> tuple[float, float]:
    """Byar's approximation to the exact limits of a count; printed only as a check.

    Parameters
    ----------
    count
        Events, whole, 0 or more.
    confidence
        Two-sided confidence.

    Returns
    -------
    (lower, upper)
        Lower limit 0 at no events.

    Raises
    ------
    ValueError
        As :func:`exact_rate_interval`.

    Sources
    -------
    Breslow and Day 1987, Statistical Methods in Cancer Research, volume II.
    """
    x = float(whole_counts(count, "count"))
    z = normal_quantile(confidence)
    lower = x * (1 - 1 / (9 * x) - z / (3 * sqrt(x))) ** 3 if x else 0.0
    more = x + 1
    return lower, more * (1 - 1 / (9 * more) + z / (3 * sqrt(more))) ** 3


def rate_ratio(x: ArrayLike, time: ArrayLike, confidence: float = 0.95) -> RateRatio:
    """Ratio of two event rates, exact given the total number of events.

    Parameters
    ----------
    x
        Events of the two groups, whole, shape (2,).
    time
        Follow-up time of the two groups, above 0, shape (2,).
    confidence
        Two-sided confidence.

    Returns
    -------
    RateRatio
        Upper limit infinite where the second group has no events.

    Raises
    ------
    ValueError
        Not two groups, counts out of range, time not positive.

    Sources
    -------
    Conditional binomial argument of Przyborowski and Wilenski 1940, Biometrika
    31:313-323, from memory, with Clopper-Pearson limits.
    """
    counts, follow_up = whole_counts(x, "x"), numbers(time, "time")
    if counts.shape != (2,) or follow_up.shape != (2,):
        raise ValueError("x and time must hold two groups each")
    if (follow_up <= 0).any():
        raise ValueError(f"time must be above 0; got {follow_up.min():g}")
    confidence_level(confidence)
    first, total = int(counts[0]), int(counts.sum())
    if total == 0:
        return RateRatio(None, (None, None), None, "no events in either group")
    from scipy.stats import binomtest

    scale = float(follow_up[1] / follow_up[0])
    share = exact_interval(first, total, confidence)
    lower, upper, ratio = (
        scale * part / (1.0 - part) if part < 1.0 else inf for part in (*share, first / total)
    )
    p = binomtest(first, total, float(follow_up[0] / follow_up.sum())).pvalue
    return RateRatio(ratio, (lower, upper), float(p))


def observed_expected(observed: int, expected: float, confidence: float = 0.95) -> ObservedExpected:
    """Observed over expected events, expectation taken as known.

    Parameters
    ----------
    observed
        Events seen, whole, 0 or more.
    expected
        Events expected, 0 or more.
    confidence
        Two-sided confidence of the limits.

    Returns
    -------
    ObservedExpected
        Ratio and limits None where nothing is expected.

    Raises
    ------
    ValueError
        Count negative or fractional, expectation negative or not a number.

    Sources
    -------
    Exact Poisson limits (Garwood 1936) over the expectation.
    """
    x = int(whole_counts(observed, "observed"))
    mean = float(numbers(expected, "expected", minimum=0.0))
    p_upper = float(gammainc(x, mean)) if x else 1.0
    return _ratio_to(x, mean, p_upper, confidence)


def observed_expected_from_risks(
    observed: int, risks: ArrayLike, confidence: float = 0.95
) -> ObservedExpected:
    """Observed against the events expected from each unit's own risk.

    Parameters
    ----------
    observed
        Events seen among the units, whole.
    risks
        Predicted probability of each unit, 0 to 1, shape (n,).
    confidence
        Two-sided confidence of the limits.

    Returns
    -------
    ObservedExpected
        ``p_upper`` from the exact distribution of a sum of unequal yes/no outcomes.

    Raises
    ------
    ValueError
        Risks outside 0..1, more events than units.

    Sources
    -------
    Poisson-binomial distribution by convolution; Poisson limits, which are wide for
    large risks.
    """
    x = int(whole_counts(observed, "observed"))
    chances = np.atleast_1d(numbers(risks, "risks", minimum=0.0))
    if (chances > 1).any():
        raise ValueError(f"risks must lie in 0..1; got {chances[chances > 1].flat[0]:g}")
    if x > chances.size:
        raise ValueError(f"observed must not exceed the number of risks; got {x} of {chances.size}")
    p_upper = float(min(1.0, poisson_binomial(chances)[x:].sum()))
    return _ratio_to(x, float(chances.sum()), p_upper, confidence)


def poisson_binomial(risks: ArrayLike) -> FloatArray:
    """Probability of each number of events among units with unequal risks.

    Parameters
    ----------
    risks
        Probabilities in 0..1, shape (n,).

    Returns
    -------
    array
        Shape (n + 1,), summing to 1; [1.0] without units.

    Raises
    ------
    ValueError
        Risks that are not numbers.
    """
    chances = numbers(risks, "risks", minimum=0.0)
    probability = np.zeros(chances.size + 1)
    probability[0] = 1.0
    for used, risk in enumerate(chances, start=1):
        probability[1 : used + 1] = probability[1 : used + 1] * (1.0 - risk) + probability[:used] * risk
        probability[0] *= 1.0 - risk
    return probability


def _ratio_to(x: int, mean: float, p_upper: float, confidence: float) -> ObservedExpected:
    lower, upper = exact_rate_interval(x, 1.0, confidence)
    if mean == 0.0:
        return ObservedExpected(None, (None, None), x, mean, p_upper, True, "nothing expected")
    return ObservedExpected(x / mean, (lower / mean, upper / mean), x, mean, p_upper, mean < FEW_EXPECTED)


def _per_time(
    limits: Callable[[FloatArray], tuple[FloatArray, FloatArray]], count: ArrayLike, time: ArrayLike
) -> Pair:
    counts, follow_up = whole_counts(count, "count"), numbers(time, "time", minimum=0.0)
    try:
        x, t = np.broadcast_arrays(counts, follow_up)
    except ValueError as problem:
        raise ValueError(f"count and time must fit; got {counts.shape}, {follow_up.shape}") from problem
    usable = np.where(t > 0, t, 1.0)
    lower, upper = (np.where(t > 0, limit / usable, np.nan) for limit in limits(x))
    if x.ndim:
        return lower, upper
    return _scalar(lower), _scalar(upper)


def _scalar(value: Any) -> float | None:
    return None if np.isnan(value) else float(value)


def _garwood(x: FloatArray, tail: float) -> tuple[FloatArray, FloatArray]:
    lower = np.where(x > 0, gammaincinv(np.maximum(x, 1.0), tail), 0.0)
    return lower, np.asarray(gammainccinv(x + 1.0, tail), dtype=np.float64)


def _midp(x: FloatArray, tail: float) -> tuple[FloatArray, FloatArray]:
    """Roots in the mean, once per distinct count; neighbouring exact limits bracket them."""
    distinct, place = np.unique(x.ravel(), return_inverse=True)
    lower, upper = np.zeros(distinct.size), np.full(distinct.size, -np.log(2.0 * tail))
    some = distinct > 0
    if some.any():
        k = distinct[some]
        lower[some] = rising_roots(
            lambda mean: (gammainc(k, mean) + gammainc(k + 1.0, mean)) / 2.0 - tail,
            lambda mean: _both_densities(k, mean),
            np.asarray(gammaincinv(k, tail), dtype=np.float64),
            np.asarray(gammaincinv(k + 1.0, tail), dtype=np.float64),
        )
        upper[some] = rising_roots(
            lambda mean: tail - (gammaincc(k, mean) + gammaincc(k + 1.0, mean)) / 2.0,
            lambda mean: _both_densities(k, mean),
            np.asarray(gammainccinv(k, tail), dtype=np.float64),
            np.asarray(gammainccinv(k + 1.0, tail), dtype=np.float64),
        )
    return lower[place].reshape(x.shape), upper[place].reshape(x.shape)


def _both_densities(k: FloatArray, mean: FloatArray) -> FloatArray:
    """Mean of the gamma densities of shape k and k + 1."""
    density: FloatArray = np.exp((k - 1.0) * np.log(mean) - mean - gammaln(k)) * (1.0 + mean / k) / 2.0
    return density
