"""The same units judged twice: before and after, or by two readers."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from numpy.typing import ArrayLike
from scipy.special import bdtr

from registry.stats.arguments import normal_quantile, whole_counts
from registry.stats.limits import Difference, crossing
from registry.stats.proportions import wilson_interval

_NO_PAIRS = "no pairs"


@dataclass(frozen=True)
class McNemar:
    """Test that the two judgements have the same rate.

    ``p`` is the mid-P value, ``p_exact`` the exact one; both are 1 where no pair is
    discordant.
    """

    p: float
    p_exact: float
    b: int
    c: int
    n: int
    reason: str = ""


def mcnemar(table: ArrayLike) -> McNemar:
    """Mid-P test of two paired proportions, with the exact test beside it.

    Parameters
    ----------
    table
        2 x 2 whole counts, rows the first judgement (yes, no), columns the second.

    Returns
    -------
    McNemar
        Two-sided.

    Raises
    ------
    ValueError
        Not 2 x 2, or counts that are negative or fractional.

    Sources
    -------
    McNemar 1947, Psychometrika 12:153-157; mid-P form of Fagerland, Lydersen and Laake
    2013, BMC Med Res Methodol 13:91. From memory.
    """
    counts = whole_counts(table, "table")
    if counts.shape != (2, 2):
        raise ValueError(f"table must be 2 x 2; got {' x '.join(map(str, counts.shape))}")
    b, c = int(counts[0, 1]), int(counts[1, 0])
    n = int(counts.sum())
    if b + c == 0:
        return McNemar(1.0, 1.0, b, c, n, "no discordant pairs")
    fewer = min(b, c)
    tail = float(bdtr(fewer, b + c, 0.5))
    point = tail - (float(bdtr(fewer - 1, b + c, 0.5)) if fewer else 0.0)
    return McNemar(min(1.0, 2 * tail - point), min(1.0, 2 * tail), b, c, n)


def tango_difference(a: int, b: int, c: int, d: int, confidence: float = 0.95) -> Difference:
    """Score interval of the difference of two paired proportions.

    Parameters
    ----------
    a, b, c, d
        Pairs: yes and yes, yes and no, no and yes, no and no.
    confidence
        Two-sided confidence, between 0 and 1 exclusive.

    Returns
    -------
    Difference
        (b - c) / n. Without discordant pairs the estimate is 0 and the interval is
        still wider than a point. None without pairs.

    Raises
    ------
    ValueError
        Counts that are negative or fractional; confidence outside (0, 1).

    Sources
    -------
    Tango 1998, Stat Med 17:891-908.
    """
    method = "Tango score"
    z = normal_quantile(confidence)
    n = _pairs(a, b, c, d)
    if n == 0:
        return Difference(None, (None, None), method, _NO_PAIRS)
    lower = _lower_paired(b, c, n, z)
    upper = -_lower_paired(c, b, n, z)
    return Difference((b - c) / n, (lower, upper), method)


def newcombe_paired_difference(a: int, b: int, c: int, d: int, confidence: float = 0.95) -> Difference:
    """Difference of two paired proportions, from their Wilson intervals and correlation.

    Parameters, Returns, Raises
    ---------------------------
    As :func:`tango_difference`.

    Sources
    -------
    Newcombe 1998, Stat Med 17:2635-2650, method 10 (continuity-corrected phi).
    """
    method = "Newcombe hybrid score, paired"
    n = _pairs(a, b, c, d)
    if n == 0:
        return Difference(None, (None, None), method, _NO_PAIRS)
    p1, p2 = (a + b) / n, (a + c) / n
    lower1, upper1 = wilson_interval(a + b, n, confidence)
    lower2, upper2 = wilson_interval(a + c, n, confidence)
    phi = _corrected_phi(a, b, c, d, n)
    below = _hypotenuse(p1 - lower1, upper2 - p2, phi)
    above = _hypotenuse(upper1 - p1, p2 - lower2, phi)
    diff = (b - c) / n
    return Difference(diff, (max(-1.0, diff - below), min(1.0, diff + above)), method)


def _pairs(a: int, b: int, c: int, d: int) -> int:
    counts = whole_counts([a, b, c, d], "pairs")
    return int(counts.sum())


def _hypotenuse(first: float, second: float, phi: float) -> float:
    return sqrt(max(0.0, first**2 - 2 * phi * first * second + second**2))


def _corrected_phi(a: int, b: int, c: int, d: int, n: int) -> float:
    margins = (a + b) * (c + d) * (a + c) * (b + d)
    if margins == 0:
        return 0.0
    excess = float(a * d - b * c)
    if excess > 0:
        excess = max(0.0, excess - n / 2)
    return excess / sqrt(margins)


def _lower_paired(b: int, c: int, n: int, z: float) -> float:
    observed = (b - c) / n
    if observed <= -1.0:
        return -1.0

    def excess(delta: float) -> float:
        linear = (2 * n - b + c) * delta - b - c
        constant = -c * delta * (1 - delta)
        second = (sqrt(max(0.0, linear**2 - 8 * n * constant)) - linear) / (4 * n)
        variance = (2 * second + delta * (1 - delta)) / n
        return observed - delta - z * sqrt(max(0.0, variance))

    # just below the estimate: at the estimate itself no discordant pair is a false root
    return crossing(excess, -1.0, observed - 1e-12)
