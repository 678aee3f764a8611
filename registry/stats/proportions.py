"""Intervals for one binomial proportion.

Every two-sided method here is mirror symmetric: the upper limit of x events is one
minus the lower limit of n - x. Each method is therefore written once, as its lower
limit, which also makes the ends exact: 0 at no events, 1 at all events.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, betaincinv, betaln

from registry.stats.arguments import (
    FloatArray,
    confidence_level,
    events_of_trials,
    normal_quantile,
    numbers,
    whole_counts,
)
from registry.stats.roots import rising_roots

Pair = tuple[Any, Any]
"""(lower, upper): floats or None for scalar counts, arrays for arrays."""


@dataclass(frozen=True)
class MissingBounds:
    """Rate between the assumptions that no missing unit, and every one, had the event.

    ``best`` and ``worst`` are proportions of followed plus missing, ``complete_case``
    of the followed alone; ``ci`` runs from the Wilson lower limit of ``best`` to the
    Wilson upper limit of ``worst``. A field is None where its denominator is 0.
    """

    best: float | None
    complete_case: float | None
    worst: float | None
    ci: tuple[float | None, float | None]


def score_limits(events: ArrayLike, trials: ArrayLike, quantile: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Wilson limits for any positive size, fractional ones included.

    The building block of every method that puts an effective sample size or another
    quantile into the score interval; counts of procedures go to :func:`wilson_interval`.

    Parameters
    ----------
    events, trials
        0 <= events <= trials, trials above 0, fractions allowed.
    quantile
        Positive quantile, 1.96 for a two-sided 95 % normal interval.

    Returns
    -------
    (lower, upper)
        Arrays of the common shape; exactly 0 at events = 0, exactly 1 at events = trials.

    Raises
    ------
    ValueError
        Sizes that are not positive, events outside 0..trials.

    Sources
    -------
    Wilson 1927, J Am Stat Assoc 22:209-212. The smaller root is taken as the product
    of the roots over the larger one, which loses no digits at few events.
    """
    x = numbers(events, "events", minimum=0.0)
    n = numbers(trials, "trials")
    z = numbers(quantile, "quantile", minimum=0.0)
    if (n <= 0).any():
        raise ValueError(f"trials must be above 0; got {n[n <= 0].flat[0]:g}")
    if (x > n).any():
        raise ValueError(f"events must lie in 0..trials; got {x[x > n].flat[0]:g}")
    return _score_lower(x, n, z), 1.0 - _score_lower(n - x, n, z)


def _score_lower(x: FloatArray, n: FloatArray, z: float | FloatArray) -> FloatArray:
    root = z * np.sqrt(x * (n - x) / n + z**2 / 4.0)
    # maximum: at events = 0 and quantile = 0 both root and numerator vanish
    lower: FloatArray = x**2 / np.maximum(n * (x + z**2 / 2.0 + root), np.finfo(float).tiny)
    return lower


def wilson_interval(events: ArrayLike, trials: ArrayLike, confidence: float = 0.95) -> Pair:
    """Wilson score interval for a proportion, without continuity correction.

    An interval of average coverage: at rates far below 1 / trials it may cover as
    little as 84 %, so safety statements use :func:`exact_interval`.

    Parameters
    ----------
    events
        Units in the numerator, whole, 0 <= events <= trials; scalar or array.
    trials
        Units in the denominator, assumed independent; scalar or array.
    confidence
        Two-sided coverage aimed at, between 0 and 1 exclusive.

    Returns
    -------
    (lower, upper)
        Proportions in [0, 1], not per cent: floats for scalars, arrays for arrays.
        Both None (NaN inside arrays) where trials is 0: no denominator, no estimate.

    Raises
    ------
    ValueError
        Counts that are negative, fractional or above trials; confidence outside (0, 1).

    Sources
    -------
    Wilson 1927, J Am Stat Assoc 22:209-212; method 3 of Newcombe 1998, Stat Med
    17:857-872.
    """
    z = normal_quantile(confidence)
    return _both_limits(lambda x, n: _score_lower(x, n, z), events, trials)


def exact_interval(events: ArrayLike, trials: ArrayLike, confidence: float = 0.95) -> Pair:
    """Clopper-Pearson interval: covers at least the stated confidence at every rate.

    Parameters, Returns, Raises
    ---------------------------
    As :func:`wilson_interval`. At no events the upper limit is the one of a two-sided
    interval; :func:`upper_bound_no_events` gives the one-sided bound.

    Sources
    -------
    Clopper and Pearson 1934, Biometrika 26:404-413, through beta quantiles.
    """
    tail = (1.0 - confidence_level(confidence)) / 2.0
    return _both_limits(lambda x, n: _beta_lower(x, n - x + 1.0, tail), events, trials)


def jeffreys_interval(events: ArrayLike, trials: ArrayLike, confidence: float = 0.95) -> Pair:
    """Jeffreys interval: quantiles of Beta(x + 1/2, n - x + 1/2), ends set to 0 and 1.

    Parameters, Returns, Raises
    ---------------------------
    As :func:`wilson_interval`. The lower limit is 0 at no events and the upper limit
    1 at all events, where the plain quantile would exclude the observed rate.

    Sources
    -------
    Brown, Cai and DasGupta 2001, Stat Sci 16:101-133, with their end-point rule.
    """
    tail = (1.0 - confidence_level(confidence)) / 2.0
    return _both_limits(lambda x, n: _beta_lower(x, n - x + 0.5, tail, 0.5), events, trials)


def midp_interval(events: ArrayLike, trials: ArrayLike, confidence: float = 0.95) -> Pair:
    """Mid-P interval: exact tails that count the observed number by half.

    Parameters, Returns, Raises
    ---------------------------
    As :func:`wilson_interval`.

    Sources
    -------
    Newcombe 1998, Stat Med 17:857-872, method 6; solved to machine precision, because
    root finders stopped early are off in the fifth decimal at no events.
    """
    tail = (1.0 - confidence_level(confidence)) / 2.0
    return _both_limits(lambda x, n: _midp_lower(x, n, tail), events, trials)


def upper_bound_no_events(trials: ArrayLike, confidence: float = 0.95) -> Any:
    """One-sided upper bound of the rate where no event was seen.

    Parameters
    ----------
    trials
        Event-free units, whole, scalar or array.
    confidence
        One-sided confidence, between 0 and 1 exclusive.

    Returns
    -------
    float, None or array
        1 - (1 - confidence)^(1 / trials); None (NaN inside arrays) where trials is 0.

    Raises
    ------
    ValueError
        As :func:`wilson_interval`.

    Sources
    -------
    Hanley and Lippman-Hand 1983, JAMA 249:1743-1745 (exact form of the rule of three).
    """
    level = confidence_level(confidence)
    n = whole_counts(trials, "trials")
    kept = np.where(n > 0, n, 1.0)
    bound = np.where(n > 0, -np.expm1(np.log1p(-level) / kept), np.nan)
    return bound if n.ndim else _scalar(bound)


def bounds_with_missing(events: int, followed: int, missing: int, confidence: float = 0.95) -> MissingBounds:
    """Best and worst rate that the units without an outcome allow, with an interval.

    Parameters
    ----------
    events
        Units known to have had the event, 0 <= events <= followed.
    followed
        Units whose outcome is known.
    missing
        Units whose outcome is not known.
    confidence
        Two-sided confidence of the interval around the bounds.

    Returns
    -------
    MissingBounds
        Fields are None where their denominator is 0.

    Raises
    ------
    ValueError
        As :func:`wilson_interval`.
    """
    x, n = (int(value) for value in events_of_trials(events, followed))
    unknown = int(whole_counts(missing, "missing"))
    everyone = n + unknown
    lower, _ = wilson_interval(x, everyone, confidence)
    _, upper = wilson_interval(x + unknown, everyone, confidence)
    return MissingBounds(
        best=x / everyone if everyone else None,
        complete_case=x / n if n else None,
        worst=(x + unknown) / everyone if everyone else None,
        ci=(lower, upper),
    )


def _both_limits(
    lower_limit: Callable[[FloatArray, FloatArray], FloatArray], events: ArrayLike, trials: ArrayLike
) -> Pair:
    """Lower limit, and upper limit by mirror, with the empty denominator set aside."""
    x, n = events_of_trials(events, trials)
    kept = np.where(n > 0, n, 1.0)
    lower = np.where(n > 0, lower_limit(x, kept), np.nan)
    upper = np.where(n > 0, 1.0 - lower_limit(np.where(n > 0, n - x, 0.0), kept), np.nan)
    if x.ndim:
        return lower, upper
    return _scalar(lower), _scalar(upper)


def _scalar(value: FloatArray) -> float | None:
    number = float(value)
    return None if np.isnan(number) else number


def _beta_lower(x: FloatArray, b: FloatArray, tail: float, shift: float = 0.0) -> FloatArray:
    # a = 1 only keeps the quantile defined at no events, where the limit is 0
    a = np.where(x > 0, x + shift, 1.0)
    lower: FloatArray = np.where(x > 0, betaincinv(a, b, tail), 0.0)
    return lower


def _midp_lower(x: FloatArray, n: FloatArray, tail: float) -> FloatArray:
    """Root in p of P(X > x) + P(X = x) / 2 = tail, once per distinct pair."""
    pairs, place = np.unique(np.stack([x.ravel(), n.ravel()]), axis=1, return_inverse=True)
    events, trials = pairs
    lower = np.zeros(events.size, dtype=np.float64)
    every = events == trials
    lower[every] = (2.0 * tail) ** (1.0 / trials[every])
    inner = (events > 0) & ~every
    if inner.any():
        k, m = events[inner], trials[inner]
        # half the sum of two tails lies between them, so their own roots bracket it
        lower[inner] = rising_roots(
            lambda p: (betainc(k, m - k + 1.0, p) + betainc(k + 1.0, m - k, p)) / 2.0 - tail,
            lambda p: (_beta_density(k, m - k + 1.0, p) + _beta_density(k + 1.0, m - k, p)) / 2.0,
            betaincinv(k, m - k + 1.0, tail),
            betaincinv(k + 1.0, m - k, tail),
        )
    return lower[place.ravel()].reshape(x.shape)


def _beta_density(a: FloatArray, b: FloatArray, p: FloatArray) -> FloatArray:
    density: FloatArray = np.exp((a - 1.0) * np.log(p) + (b - 1.0) * np.log1p(-p) - betaln(a, b))
    return density
