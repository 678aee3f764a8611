"""Two proportions of independent groups set side by side.

Paired judgements and tests over more than two groups live in their own modules and
can be had from here as well.
"""

from __future__ import annotations

from math import copysign, exp, inf, log, sqrt
from typing import NamedTuple

import numpy as np

from registry.stats.arguments import events_of_trials, normal_quantile
from registry.stats.group_tests import GroupComparison, homogeneity_test, trend_test
from registry.stats.limits import Difference, Ratio, crossing
from registry.stats.paired import McNemar, mcnemar, newcombe_paired_difference, tango_difference
from registry.stats.proportions import wilson_interval

__all__ = [
    "Difference",
    "GroupComparison",
    "McNemar",
    "Ratio",
    "homogeneity_test",
    "katz_ratio",
    "koopman_ratio",
    "mcnemar",
    "mee_difference",
    "miettinen_nurminen_difference",
    "miettinen_nurminen_ratio",
    "newcombe_difference",
    "newcombe_paired_difference",
    "tango_difference",
    "trend_test",
]

_NO_TRIALS = "no trials in one of the groups"


def newcombe_difference(x1: int, n1: int, x2: int, n2: int, confidence: float = 0.95) -> Difference:
    """Difference of two independent proportions, from their two Wilson intervals.

    Parameters
    ----------
    x1, n1, x2, n2
        Events and trials of the two groups, whole, 0 <= x <= n.
    confidence
        Two-sided confidence, between 0 and 1 exclusive.

    Returns
    -------
    Difference
        x1 / n1 - x2 / n2, in [-1, 1].

    Raises
    ------
    ValueError
        Counts that are negative, fractional or above trials; confidence outside (0, 1).

    Sources
    -------
    Newcombe 1998, Stat Med 17:873-890, method 10 (square and add).
    """
    method = "Newcombe hybrid score"
    counts = _two_groups(x1, n1, x2, n2)
    lower1, upper1 = wilson_interval(x1, n1, confidence)
    lower2, upper2 = wilson_interval(x2, n2, confidence)
    if counts is None:
        return Difference(None, (None, None), method, _NO_TRIALS)
    p1, p2 = x1 / n1, x2 / n2
    below = sqrt((p1 - lower1) ** 2 + (upper2 - p2) ** 2)
    above = sqrt((upper1 - p1) ** 2 + (p2 - lower2) ** 2)
    # a square of a rounding error can step over the end of the scale
    return Difference(p1 - p2, (max(-1.0, p1 - p2 - below), min(1.0, p1 - p2 + above)), method)


def miettinen_nurminen_difference(x1: int, n1: int, x2: int, n2: int, confidence: float = 0.95) -> Difference:
    """Score interval of the difference, variance times N / (N - 1).

    Parameters, Returns, Raises
    ---------------------------
    As :func:`newcombe_difference`.

    Sources
    -------
    Miettinen and Nurminen 1985, Stat Med 4:213-226. Printed tables give the variant
    without the factor under the same name, so the method name states the factor.
    """
    return _score_difference(
        _two_groups(x1, n1, x2, n2), confidence, "Miettinen-Nurminen score, N/(N-1)", corrected=True
    )


def mee_difference(x1: int, n1: int, x2: int, n2: int, confidence: float = 0.95) -> Difference:
    """Score interval of the difference without the factor N / (N - 1).

    Parameters, Returns, Raises
    ---------------------------
    As :func:`newcombe_difference`.

    Sources
    -------
    Mee 1984, Biometrics 40:1175-1176; method 5 of Newcombe 1998, Stat Med 17:873-890.
    """
    return _score_difference(
        _two_groups(x1, n1, x2, n2), confidence, "Mee score, no N/(N-1)", corrected=False
    )


def katz_ratio(x1: int, n1: int, x2: int, n2: int, confidence: float = 0.95) -> Ratio:
    """Ratio of two proportions with a normal interval of its logarithm; a check only.

    Parameters, Raises
    ------------------
    As :func:`newcombe_difference`.

    Returns
    -------
    Ratio
        Limits None where a group has no events: the logarithm does not exist.

    Sources
    -------
    Katz et al. 1978, Biometrics 34:469-474.
    """
    method = "Katz log"
    z = normal_quantile(confidence)
    groups = _two_groups(x1, n1, x2, n2)
    if groups is None:
        return Ratio(None, (None, None), method, _NO_TRIALS)
    ratio, reason = _ratio_estimate(groups)
    if 0 in (x1, x2):
        return Ratio(ratio, (None, None), method, reason or "a group has no events")
    half = z * sqrt(1 / x1 - 1 / n1 + 1 / x2 - 1 / n2)
    centre = log((x1 / n1) / (x2 / n2))
    return Ratio(ratio, (exp(centre - half), exp(centre + half)), method)


def koopman_ratio(x1: int, n1: int, x2: int, n2: int, confidence: float = 0.95) -> Ratio:
    """Score interval of the ratio of two proportions.

    Parameters, Raises
    ------------------
    As :func:`newcombe_difference`.

    Returns
    -------
    Ratio
        Lower limit 0 where x1 is 0, upper limit infinite where x2 is 0.

    Sources
    -------
    Koopman 1984, Biometrics 40:513-517; Gart and Nam 1988, Biometrics 44:323-338.
    """
    return _score_ratio(_two_groups(x1, n1, x2, n2), confidence, "Koopman score, no N/(N-1)", corrected=False)


def miettinen_nurminen_ratio(x1: int, n1: int, x2: int, n2: int, confidence: float = 0.95) -> Ratio:
    """Score interval of the ratio, variance times N / (N - 1).

    Parameters, Returns, Raises
    ---------------------------
    As :func:`koopman_ratio`.

    Sources
    -------
    Miettinen and Nurminen 1985, Stat Med 4:213-226.
    """
    return _score_ratio(
        _two_groups(x1, n1, x2, n2), confidence, "Miettinen-Nurminen score, N/(N-1)", corrected=True
    )


class _Groups(NamedTuple):
    """Events and trials of the two groups."""

    x1: int
    n1: int
    x2: int
    n2: int

    @property
    def swapped(self) -> _Groups:
        return _Groups(self.x2, self.n2, self.x1, self.n1)

    def factor(self, corrected: bool) -> float:
        """N / (N - 1) where the method asks for it."""
        total = self.n1 + self.n2
        return total / (total - 1) if corrected else 1.0


def _two_groups(x1: int, n1: int, x2: int, n2: int) -> _Groups | None:
    """The four counts checked; None where a group has no trials."""
    for x, n in ((x1, n1), (x2, n2)):
        if events_of_trials(x, n)[0].ndim:
            raise ValueError("counts of two groups must be single numbers, not arrays")
    return None if 0 in (n1, n2) else _Groups(int(x1), int(n1), int(x2), int(n2))


def _score_difference(groups: _Groups | None, confidence: float, method: str, corrected: bool) -> Difference:
    z = normal_quantile(confidence)
    if groups is None:
        return Difference(None, (None, None), method, _NO_TRIALS)
    lower = _lower_difference(groups, z, corrected)
    upper = -_lower_difference(groups.swapped, z, corrected)
    return Difference(groups.x1 / groups.n1 - groups.x2 / groups.n2, (lower, upper), method)


def _lower_difference(groups: _Groups, z: float, corrected: bool) -> float:
    x1, n1, x2, n2 = groups
    observed = x1 / n1 - x2 / n2
    factor = groups.factor(corrected)
    if observed <= -1.0:
        return -1.0

    def excess(delta: float) -> float:
        second = _constrained_second(groups, delta)
        first = min(1.0, max(0.0, second + delta))
        variance = first * (1 - first) / n1 + second * (1 - second) / n2
        return observed - delta - z * sqrt(max(0.0, variance * factor))

    # just below the estimate: at the estimate itself 0 against 0 events is a false root
    return crossing(excess, -1.0, observed - 1e-12)


def _constrained_second(groups: _Groups, delta: float) -> float:
    """Likelihood estimate of p2 when p1 - p2 is held at delta: root of a cubic."""
    x1, n1, x2, n2 = groups
    total, events = n1 + n2, x1 + x2
    b = ((n1 + 2 * n2) * delta - total - events) / (3 * total)
    c = ((n2 * delta - total - 2 * x2) * delta + events) / (3 * total)
    d = x2 * delta * (1 - delta) / (2 * total)
    offset = b**3 - 1.5 * b * c + d
    spread = copysign(sqrt(max(0.0, b * b - c)), offset)
    cosine = offset / spread**3 if spread else 0.0
    angle = (np.pi + np.arccos(min(1.0, max(-1.0, cosine)))) / 3
    root = 2 * spread * float(np.cos(angle)) - b
    return min(1.0, 1.0 - delta, max(0.0, -delta, root))


def _ratio_estimate(groups: _Groups) -> tuple[float | None, str]:
    x1, n1, x2, n2 = groups
    if x1 == 0 and x2 == 0:
        return None, "no events in either group"
    return (x1 / n1) / (x2 / n2) if x2 else inf, ""


def _score_ratio(groups: _Groups | None, confidence: float, method: str, corrected: bool) -> Ratio:
    z = normal_quantile(confidence)
    if groups is None:
        return Ratio(None, (None, None), method, _NO_TRIALS)
    ratio, reason = _ratio_estimate(groups)
    if ratio is None:
        return Ratio(None, (None, None), method, reason)
    lower = _lower_ratio(groups, z, corrected)
    inverse = _lower_ratio(groups.swapped, z, corrected)
    return Ratio(ratio, (lower, 1 / inverse if inverse else inf), method)


def _lower_ratio(groups: _Groups, z: float, corrected: bool) -> float:
    x1, n1, x2, n2 = groups
    if x1 == 0:
        return 0.0
    total = n1 + n2
    factor = groups.factor(corrected)

    def excess(log_ratio: float) -> float:
        ratio = exp(log_ratio)
        b = ratio * (n1 + x2) + x1 + n2
        # smaller root of N ratio p^2 - b p + (x1 + x2), written without cancellation
        second = 2 * (x1 + x2) / (b + sqrt(max(0.0, b * b - 4 * total * ratio * (x1 + x2))))
        first = min(1.0, ratio * second)
        second = min(1.0, second)
        variance = first * (1 - first) / n1 + ratio**2 * second * (1 - second) / n2
        return x1 / n1 - ratio * x2 / n2 - z * sqrt(variance * factor)

    high = log((x1 / n1) / (x2 / n2)) - 1e-12 if x2 else 0.0
    while excess(high) > 0:
        high += 1.0
    low = high - 1.0
    while excess(low) <= 0:
        low -= 1.0
    return exp(crossing(excess, low, high))
