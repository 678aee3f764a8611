"""How many procedures a question needs, asked before they are done."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
from scipy.special import bdtrc, ndtri

from registry.stats.arguments import confidence_level, normal_quantile, whole_counts
from registry.stats.proportions import score_limits, upper_bound_no_events

SEARCH = 100_000
"""Largest number of procedures that is searched."""


@dataclass(frozen=True)
class SampleSize:
    """Procedures needed: whole (``n``) and before rounding up, where there is a formula."""

    n: int
    n_exact: float


@dataclass(frozen=True)
class DetectionSize:
    """Procedures for an exact one-sided test.

    ``n`` is the first number that reaches the power, ``critical`` the events from
    which the test then rejects. Power is saw-toothed: ``n_stays`` is the number from
    which it does not fall below again.
    """

    n: int
    critical: int
    power: float
    n_stays: int


@dataclass(frozen=True)
class DetectionPower:
    """What an exact one-sided test shows with a given number of procedures.

    ``critical`` is the number of events from which the test rejects, ``power`` the
    probability that it does. ``shown`` is the smallest raised rate that it would show
    with the power asked for; None where not even certainty would do.
    """

    n: int
    critical: int
    power: float
    shown: float | None


@dataclass(frozen=True)
class GroupSize:
    """Procedures per group: before rounding (``n``) and whole (``per_group``)."""

    n: float
    per_group: int


@dataclass(frozen=True)
class RuleOfThree:
    """Upper bound of a rate after n procedures without the event; None for none."""

    exact: float | None
    approx: float | None
    n: int


def trials_for_half_width(
    p: float, half_width: float, confidence: float = 0.95, method: str = "wald"
) -> SampleSize:
    """Procedures for an interval of a given half width around an expected rate.

    Parameters
    ----------
    p
        Expected rate, between 0 and 1 exclusive.
    half_width
        Half the width of the interval, a proportion, between 0 and 0.5.
    confidence
        Two-sided confidence.
    method
        "wald" (textbook formula, for planning only) or "wilson".

    Returns
    -------
    SampleSize
        With "wilson", ``n`` is the smallest whole number whose interval at exactly
        that rate is narrow enough.

    Raises
    ------
    ValueError
        Rate or half width out of range, unknown method.
    """
    z = normal_quantile(confidence)
    _inside(p, "p")
    if not 0.0 < half_width < 0.5:
        raise ValueError(f"half_width must lie between 0 and 0.5; got {half_width}")
    wald = z**2 * p * (1.0 - p) / half_width**2
    if method == "wald":
        return SampleSize(ceil(wald), wald)
    if method != "wilson":
        raise ValueError(f"method must be 'wald' or 'wilson'; got {method!r}")
    from scipy.optimize import brentq

    def excess(n: float) -> float:
        lower, upper = score_limits(p * n, n, z)
        return float(upper - lower) / 2.0 - half_width

    high = max(10.0, 4.0 * wald)
    while excess(high) > 0.0:
        high *= 2.0
    exact = float(brentq(excess, 1e-9, high, xtol=1e-9))
    return SampleSize(ceil(exact - 1e-7), exact)


def trials_to_detect(p0: float, p1: float, power: float = 0.8, alpha: float = 0.05) -> DetectionSize:
    """Procedures to show, by an exact one-sided test, that a rate has risen.

    Parameters
    ----------
    p0, p1
        Accepted and raised rate, 0 < p0 < p1 < 1.
    power
        Probability of showing it, between 0 and 1 exclusive.
    alpha
        One-sided error, between 0 and 1 exclusive.

    Returns
    -------
    DetectionSize
        The power in it is the one at ``n``.

    Raises
    ------
    ValueError
        Rates out of order or out of range; more than 100,000 procedures needed.

    Sources
    -------
    Exact binomial test; saw-toothed power after Chernick and Liu 2002, Am Stat
    56:149-155, from memory.
    """
    _test_input(p0, p1, power, alpha)
    from scipy.stats import binom

    size = 200
    while size <= SEARCH:
        n = np.arange(1, size + 1)
        critical = np.asarray(binom.ppf(1.0 - alpha, n, p0)).astype(int) + 1
        reached = np.where(critical <= n, bdtrc(critical - 1, n, p1), 0.0)
        enough = reached >= power
        # the last tooth below must lie well inside, or a later one could be missed
        short = np.flatnonzero(~enough)
        last = int(n[short[-1]]) if short.size else 0
        if enough.any() and last < 0.7 * size:
            first = int(np.argmax(enough))
            return DetectionSize(int(n[first]), int(critical[first]), float(reached[first]), last + 1)
        size *= 2
    raise ValueError(f"more than {SEARCH} procedures would be needed; choose a larger difference")


def half_width_at(p: float, n: int, confidence: float = 0.95) -> float | None:
    """Half width of the Wilson interval of n procedures around an expected rate.

    Parameters
    ----------
    p
        Expected rate, between 0 and 1 exclusive.
    n
        Procedures, whole, 0 or more.
    confidence
        Two-sided confidence.

    Returns
    -------
    float or None
        A proportion; None for no procedure. Events are taken at exactly p n, a whole
        number or not.

    Raises
    ------
    ValueError
        Rate out of range, n negative or fractional.
    """
    _inside(p, "p")
    size = int(whole_counts(n, "n"))
    if size == 0:
        return None
    lower, upper = score_limits(p * size, size, normal_quantile(confidence))
    return float(upper - lower) / 2.0


def power_at(n: int, p0: float, p1: float, power: float = 0.8, alpha: float = 0.05) -> DetectionPower | None:
    """What n procedures show, by the exact one-sided test, when a rate has risen.

    Parameters
    ----------
    n
        Procedures, whole, 0 or more.
    p0, p1
        Accepted and raised rate, 0 < p0 < p1 < 1.
    power
        Probability at which a rise counts as shown, for ``shown``; between 0 and 1
        exclusive.
    alpha
        One-sided error, between 0 and 1 exclusive.

    Returns
    -------
    DetectionPower or None
        None for no procedure. Where even all events would not be enough to reject,
        the power is 0 and ``shown`` None.

    Raises
    ------
    ValueError
        Rates out of order or out of range, n negative or fractional.

    Sources
    -------
    Exact binomial test, as :func:`trials_to_detect`.
    """
    size = int(whole_counts(n, "n"))
    _test_input(p0, p1, power, alpha)
    if size == 0:
        return None
    from scipy.special import bdtri
    from scipy.stats import binom

    critical = int(binom.ppf(1.0 - alpha, size, p0)) + 1
    if critical > size:
        return DetectionPower(size, critical, 0.0, None)
    # bdtri solves P(events <= critical - 1) = 1 - power for the rate
    shown = float(bdtri(critical - 1, size, 1.0 - power))
    return DetectionPower(size, critical, float(bdtrc(critical - 1, size, p1)), shown)


def two_group_trials(p1: float, p2: float, power: float = 0.8, alpha: float = 0.05) -> GroupSize:
    """Procedures per group to show a difference of two rates, two-sided.

    Parameters
    ----------
    p1, p2
        Rates of the two groups, different, between 0 and 1 exclusive.
    power
        Probability of showing the difference.
    alpha
        Two-sided error.

    Returns
    -------
    GroupSize
        By the normal approximation with the pooled variance under no difference.

    Raises
    ------
    ValueError
        Rates equal or out of range.

    Sources
    -------
    Fleiss, Statistical Methods for Rates and Proportions, without continuity
    correction; from memory.
    """
    for value, name in ((p1, "p1"), (p2, "p2"), (power, "power"), (alpha, "alpha")):
        _inside(value, name)
    if p1 == p2:
        raise ValueError(f"p1 and p2 must differ; got {p1} twice")
    middle = (p1 + p2) / 2.0
    under_none = normal_quantile(1.0 - alpha) * sqrt(2.0 * middle * (1.0 - middle))
    under_some = float(ndtri(power)) * sqrt(p1 * (1.0 - p1) + p2 * (1.0 - p2))
    n = ((under_none + under_some) / (p1 - p2)) ** 2
    return GroupSize(n, ceil(n))


def rule_of_three(n: int, confidence: float = 0.95) -> RuleOfThree:
    """Upper bound after n procedures without the event: exact, and as three over n.

    Parameters
    ----------
    n
        Event-free procedures, whole.
    confidence
        One-sided confidence of the exact bound; 3 / n goes with 0.95 only and is None
        otherwise.

    Returns
    -------
    RuleOfThree
        None for no procedure.

    Raises
    ------
    ValueError
        n negative or fractional.

    Sources
    -------
    Hanley and Lippman-Hand 1983, JAMA 249:1743-1745.
    """
    size = int(whole_counts(n, "n"))
    level = confidence_level(confidence)
    approx = min(1.0, 3.0 / size) if size and level == 0.95 else None
    return RuleOfThree(upper_bound_no_events(size, confidence), approx, size)


def _test_input(p0: float, p1: float, power: float, alpha: float) -> None:
    for value, name in ((p0, "p0"), (p1, "p1"), (power, "power"), (alpha, "alpha")):
        _inside(value, name)
    if p0 >= p1:
        raise ValueError(f"p1 must be above p0; got {p0} and {p1}")


def _inside(value: float, name: str) -> None:
    if not 0.0 < value < 1.0:
        raise ValueError(f"{name} must lie between 0 and 1, both ends excluded; got {value}")
