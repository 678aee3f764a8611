"""Watching a rate over time and over operators, without crying wolf.

Charts over periods and units stand here; running sums and their run lengths live in
modules of their own and can be had from here as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr

from registry.stats.arguments import FloatArray, events_of_trials, numbers, same_length, whole_counts
from registry.stats.cusum import (
    CusumRun,
    LatticeStep,
    bernoulli_cusum,
    bernoulli_cusum_arl,
    bernoulli_cusum_run_length,
    lattice_cusum,
    lattice_cusum_run_length,
    lattice_step,
    risk_adjusted_scores,
)
from registry.stats.run_length import (
    RunLength,
    binomial_cusum_arl,
    ewma_arl,
    normal_cusum_arl,
    poisson_cusum_arl,
)

__all__ = [
    "ControlChart",
    "CusumRun",
    "FunnelLimits",
    "LatticeStep",
    "Overdispersion",
    "RunLength",
    "adjust_pvalues",
    "bernoulli_cusum",
    "bernoulli_cusum_arl",
    "bernoulli_cusum_run_length",
    "binomial_cusum_arl",
    "ewma_arl",
    "funnel_limits",
    "lattice_cusum",
    "lattice_cusum_run_length",
    "lattice_step",
    "normal_cusum_arl",
    "overdispersion",
    "p_chart",
    "poisson_cusum_arl",
    "risk_adjusted_scores",
    "u_chart",
]

FUNNEL_LEVELS = (0.001, 0.025, 0.975, 0.999)
"""Tail probabilities of the two usual pairs of funnel limits, 95 % and 99.8 %."""

WINSORISED = 0.1
"""Share of units pulled in at each end before over-dispersion is judged."""

MIN_UNITS = 10
"""Fewer units than this do not show over-dispersion well enough to adjust for it."""


@dataclass(frozen=True)
class ControlChart:
    """Centre line and limits; ``beyond`` numbers the points outside, from 1.

    Limits are floats where all points have one size, else arrays along the points.
    ``center`` is None, and limits with it, without anything to centre on.
    """

    center: float | None
    lcl: Any
    ucl: Any
    beyond: tuple[int, ...]
    reason: str = ""


@dataclass(frozen=True)
class FunnelLimits:
    """Limits around a target rate, one row per level, one column per size in ``n``."""

    n: FloatArray
    levels: tuple[float, ...]
    limits: FloatArray


@dataclass(frozen=True)
class Overdispersion:
    """Spread of units beyond chance, and each unit's deviation before and after it.

    ``z`` is the deviation if chance were all, ``z_adj`` after adding ``tau2`` (on the
    arcsine scale) to each variance; ``phi`` the mean squared winsorised deviation.
    """

    theta0: float | None
    phi: float | None
    tau2: float | None
    z: FloatArray
    z_adj: FloatArray
    reason: str = ""


def p_chart(x: ArrayLike, n: ArrayLike, sigmas: float = 3.0, center: float | None = None) -> ControlChart:
    """Chart of proportions with limits of so many standard errors.

    Not for rates below about 5 % or small n: the limits are then far from exact.

    Parameters
    ----------
    x
        Events of each period, whole, shape (k,).
    n
        Trials of each period: one number for all, or shape (k,).
    sigmas
        Distance of the limits in standard errors.
    center
        Accepted rate, from 0 to 1; where not given, that of all periods together.

    Returns
    -------
    ControlChart
        Limits cut at 0 and 1.

    Raises
    ------
    ValueError
        Counts out of range, a period without trials, lengths that differ.

    Sources
    -------
    Montgomery, Introduction to Statistical Quality Control, fraction nonconforming.
    """
    events, trials = events_of_trials(x, n)
    same_length(x=events)
    if (trials == 0).any():
        raise ValueError("every period of a chart needs trials; got one with 0")
    if events.size == 0:
        return ControlChart(None, None, None, (), "no periods")
    if center is None:
        center = float(events.sum() / trials.sum())
    if not 0.0 <= center <= 1.0:
        raise ValueError(f"center must lie between 0 and 1; got {center:g}")
    half = sigmas * np.sqrt(center * (1.0 - center) / trials)
    lower, upper = np.maximum(center - half, 0.0), np.minimum(center + half, 1.0)
    return _chart(center, lower, upper, events / trials, np.ndim(n) == 0)


def u_chart(x: ArrayLike, n: ArrayLike, sigmas: float = 3.0) -> ControlChart:
    """Chart of events per unit of exposure with limits of so many standard errors.

    Parameters
    ----------
    x
        Events of each period, whole, shape (k,).
    n
        Exposure of each period, above 0: one number for all, or shape (k,).
    sigmas
        Distance of the limits in standard errors.

    Returns
    -------
    ControlChart
        Lower limit cut at 0.

    Raises
    ------
    ValueError
        Counts negative or fractional, exposure not positive, lengths that differ.

    Sources
    -------
    Montgomery, Introduction to Statistical Quality Control, nonconformities per unit.
    """
    events, exposure = whole_counts(x, "x"), numbers(n, "n")
    same_length(x=events)
    if exposure.ndim:
        same_length(x=events, n=exposure)
    exposure = np.broadcast_to(exposure, events.shape)
    if (exposure <= 0).any():
        raise ValueError(f"exposure must be above 0; got {exposure.min():g}")
    if events.size == 0:
        return ControlChart(None, None, None, (), "no periods")
    center = float(events.sum() / exposure.sum())
    half = sigmas * np.sqrt(center / exposure)
    return _chart(center, np.maximum(center - half, 0.0), center + half, events / exposure, np.ndim(n) == 0)


def funnel_limits(n: ArrayLike, p0: float, levels: ArrayLike = FUNNEL_LEVELS) -> FunnelLimits:
    """Exact limits around a target rate for each number of trials, interpolated.

    Parameters
    ----------
    n
        Trials, whole, above 0; shape (k,) or one number.
    p0
        Target rate, between 0 and 1 exclusive.
    levels
        Tail probabilities: below 0.5 for lower, above for upper limits.

    Returns
    -------
    FunnelLimits
        Proportions, cut at 0 and 1.

    Raises
    ------
    ValueError
        Trials below 1, rate or levels outside (0, 1).

    Sources
    -------
    Spiegelhalter 2005, Stat Med 24:1185-1202, appendix (from memory): (r - a) / n with
    r the binomial quantile and a the overshoot over the probability of r.
    """
    sizes = np.atleast_1d(whole_counts(n, "n"))
    tails = np.atleast_1d(numbers(levels, "levels"))
    if (sizes < 1).any():
        raise ValueError("n must be at least 1; got 0")
    if not 0.0 < p0 < 1.0:
        raise ValueError(f"p0 must lie between 0 and 1, both ends excluded; got {p0}")
    if (tails <= 0).any() or (tails >= 1).any():
        raise ValueError("levels must lie between 0 and 1, both ends excluded")
    from scipy.stats import binom

    at = tails[:, None]
    quantile = binom.ppf(at, sizes, p0)
    over = bdtr(quantile, sizes.astype(np.int64), p0) - at
    limits = (quantile - over / binom.pmf(quantile, sizes, p0)) / sizes
    return FunnelLimits(sizes, tuple(float(level) for level in tails), np.clip(limits, 0.0, 1.0))


def overdispersion(x: ArrayLike, n: ArrayLike) -> Overdispersion:
    """Deviation of each unit from the common rate, allowing for spread between units.

    Parameters
    ----------
    x, n
        Events and trials of each unit, whole, trials above 0, shape (k,).

    Returns
    -------
    Overdispersion
        With fewer than 10 units, ``z`` alone and a reason: too few to adjust.

    Raises
    ------
    ValueError
        Counts out of range, a unit without trials, lengths that differ.

    Sources
    -------
    Spiegelhalter 2005, Qual Saf Health Care 14:347-351 (from memory): arcsine scale,
    10 % winsorised at each end, additive variance by the method of moments.
    """
    events, trials = events_of_trials(x, n)
    units = same_length(x=events, n=trials)
    if (trials == 0).any():
        raise ValueError("every unit needs trials; got one with 0")
    nothing = np.full(units, np.nan)
    if units == 0:
        return Overdispersion(None, None, None, nothing, nothing, "no units")
    theta0 = float(events.sum() / trials.sum())
    angle = np.arcsin(np.sqrt(events / trials)) - np.arcsin(np.sqrt(theta0))
    variance = 1.0 / (4.0 * trials)
    z = angle / np.sqrt(variance)
    if units < MIN_UNITS:
        reason = f"fewer than {MIN_UNITS} units do not show spread well enough to adjust for it"
        return Overdispersion(theta0, None, None, z, nothing, reason)
    low, high = np.quantile(z, [WINSORISED, 1.0 - WINSORISED])
    phi = float(np.mean(np.clip(z, low, high) ** 2))
    weight = 1.0 / variance
    room = weight.sum() - (weight**2).sum() / weight.sum()
    tau2 = max(0.0, float((units * phi - (units - 1)) / room))
    return Overdispersion(theta0, phi, tau2, z, angle / np.sqrt(variance + tau2))


def adjust_pvalues(p: ArrayLike, method: str = "bh") -> FloatArray:
    """P values adjusted for having looked at several.

    Parameters
    ----------
    p
        P values in 0..1, shape (k,), any order.
    method
        "bh" (share of false flags among the flags) or "holm" (any false flag at all).

    Returns
    -------
    array
        Adjusted values in the order given; empty for none.

    Raises
    ------
    ValueError
        Values outside 0..1, unknown method.

    Sources
    -------
    Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300; Holm 1979, Scand J Stat
    6:65-70.
    """
    values = numbers(p, "p", minimum=0.0)
    count = same_length(p=values)
    if (values > 1).any():
        raise ValueError(f"p values must lie in 0..1; got {values[values > 1].flat[0]:g}")
    order = np.argsort(values, kind="stable")
    place = np.arange(1, count + 1)
    if method == "bh":
        raised = np.minimum.accumulate((values[order] * count / place)[::-1])[::-1]
    elif method == "holm":
        raised = np.maximum.accumulate(values[order] * (count + 1 - place))
    else:
        raise ValueError(f"method must be 'bh' or 'holm'; got {method!r}")
    adjusted = np.empty(count)
    adjusted[order] = np.minimum(raised, 1.0)
    return adjusted


def _chart(
    center: float, lower: FloatArray, upper: FloatArray, points: FloatArray, one: bool
) -> ControlChart:
    outside = np.flatnonzero((points < lower) | (points > upper)) + 1
    beyond = tuple(int(point) for point in outside)
    if one:
        return ControlChart(center, float(lower[0]), float(upper[0]), beyond)
    return ControlChart(center, lower, upper, beyond)
