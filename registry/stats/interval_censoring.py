"""Survival where the event is known only to lie between two looks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from registry.stats.arguments import FloatArray, numbers, same_length, whole_counts

NO_MASS = 1e-6
"""An innermost interval with less probability than this is dropped."""


@dataclass(frozen=True)
class IntervalCensored:
    """Nonparametric estimate from intervals that hold the event.

    ``innermost`` are the intervals (left, right] that carry probability, ``mass`` what
    each carries, ``S_after`` the survival after each of them but the
    last (after the last it is 0, or unknown where that interval has no end). Between
    them the estimate is flat; inside them it is not determined: draw steps.
    """

    innermost: tuple[tuple[float, float], ...]
    mass: FloatArray
    S_after: FloatArray
    n: int


@dataclass(frozen=True)
class CurrentStatus:
    """Share with the event by each look, where every unit was looked at once.

    ``time`` holds the distinct looks in order, ``share`` the estimate at each, ``n`` the
    units. Between two looks the estimate is not determined.
    """

    time: FloatArray
    share: FloatArray
    n: int


def current_status(time: ArrayLike, event: ArrayLike) -> CurrentStatus:
    """Share with the event by time, from one look at each unit: it has come, or it has not.

    Parameters
    ----------
    time
        Time, or amount, at which the unit was looked at, 0 or more; shape (n,).
    event
        1 where the event had come by then, 0 where it had not.

    Returns
    -------
    CurrentStatus
        The nonparametric estimate, never falling; the one that :func:`turnbull` comes to
        slowly. Without units, no looks.

    Raises
    ------
    ValueError
        Unequal lengths, negative or missing times, event other than 0 or 1.

    Sources
    -------
    Ayer et al. 1955, Ann Math Stat 26:641-647 (pooling of adjacent violators). From memory.
    """
    looks, seen = numbers(time, "time", minimum=0.0), whole_counts(event, "event")
    count = same_length(time=looks, event=seen)
    if (seen > 1).any():
        raise ValueError(f"event must be 0 or 1; got {seen[seen > 1].flat[0]:g}")
    if not count:
        return CurrentStatus(looks, seen, 0)
    from scipy.optimize import isotonic_regression

    distinct, place = np.unique(looks, return_inverse=True)
    units = np.bincount(place).astype(np.float64)
    came = np.bincount(place, weights=seen)
    pooled = isotonic_regression(came / units, weights=units)
    return CurrentStatus(distinct, np.asarray(pooled.x, dtype=np.float64), count)


def turnbull(left: ArrayLike, right: ArrayLike, tolerance: float = 1e-10) -> IntervalCensored:
    """Survival from events known only to lie between two looks.

    Parameters
    ----------
    left
        Last look without the event, 0 or more; shape (n,).
    right
        First look with the event, in the same unit; infinite where it never came.
        Each unit has its event in (left, right], or at the time itself where both
        are equal.
    tolerance
        Largest change of a mass at which the iteration stops.

    Returns
    -------
    IntervalCensored
        Without units, no intervals.

    Raises
    ------
    ValueError
        Unequal lengths, missing values, right before left, no finite left.

    Sources
    -------
    Turnbull 1976, J R Stat Soc B 38:290-295 (self-consistency). From memory.
    """
    starts = numbers(left, "left", minimum=0.0)
    ends = np.asarray(right, dtype=np.float64)
    count = same_length(left=starts, right=ends)
    if np.isnan(ends).any():
        raise ValueError("right must be a number or infinite; got a missing value")
    if (ends < starts).any():
        where = int(np.argmax(ends < starts))
        raise ValueError(f"right must not lie before left; got {starts[where]:g} to {ends[where]:g}")
    pairs, repeats = np.unique(np.stack([starts, ends], axis=1), axis=0, return_counts=True)
    inner = _innermost(pairs)
    holds = (pairs[:, :1] <= inner[:, 0]) & (inner[:, 1] <= pairs[:, 1:])
    # an exact time at the open left end of an interval lies outside it
    exact, point = pairs[:, :1] == pairs[:, 1:], inner[:, 0] == inner[:, 1]
    holds &= exact | ~point | (pairs[:, :1] < inner[:, 0])
    shares = holds.astype(np.float64)
    weight = repeats.astype(np.float64) / max(count, 1)
    # masses on their way to 0 get there very slowly; without them the rest settles
    kept = _self_consistent(shares, weight, tolerance) > NO_MASS
    inner = inner[kept]
    mass = _self_consistent(shares[:, kept], weight, tolerance)
    return IntervalCensored(
        innermost=tuple((float(low), float(high)) for low, high in inner),
        mass=mass,
        S_after=np.maximum(1.0 - np.cumsum(mass)[:-1], 0.0),
        n=count,
    )


def _innermost(pairs: FloatArray) -> FloatArray:
    """Intervals whose left end is directly followed by a right end.

    At equal values the order is: exact time opens, right ends close, left ends open,
    because intervals are open on the left and closed on the right.
    """
    exact = pairs[:, 0] == pairs[:, 1]
    values = np.concatenate([pairs[:, 0], pairs[:, 1]])
    rank = np.concatenate([np.where(exact, 0, 2), np.ones(len(pairs), dtype=int)])
    order = np.lexsort((rank, values))
    closes = rank[order] == 1
    turn = np.flatnonzero(~closes[:-1] & closes[1:])
    return np.stack([values[order][turn], values[order][turn + 1]], axis=1)


def _self_consistent(holds: FloatArray, weight: FloatArray, tolerance: float) -> FloatArray:
    """Masses that reproduce themselves when each unit is shared out over its intervals."""
    cells = holds.shape[1]
    mass = np.full(cells, 1.0 / max(cells, 1))
    for _ in range(200_000):
        share = holds * mass
        renewed: FloatArray = weight @ (share / share.sum(axis=1, keepdims=True))
        if cells == 0 or np.max(np.abs(renewed - mass)) < tolerance:
            return renewed
        mass = renewed
    return mass
