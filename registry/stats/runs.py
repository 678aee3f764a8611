"""Points of a run chart about their median: the longest run on one side, and how often it is crossed."""

from __future__ import annotations

from dataclasses import dataclass
from math import log2

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr

from registry.stats.arguments import numbers

FEWEST = 10
"""Fewer points off the median than this show nothing (common practice)."""


@dataclass(frozen=True)
class Runs:
    """What the points of a run chart do about ``median``.

    ``used`` counts points that do not lie on it. ``longest`` is unusual above
    ``longest_usual``, ``crossings`` below ``crossings_usual``; both None, with a reason,
    where the points are too few. ``ends`` numbers (from 1) the first and last point of the
    longest run among all points.
    """

    median: float | None
    used: int
    longest: int
    ends: tuple[int, int] | None
    crossings: int
    longest_usual: int | None
    crossings_usual: int | None
    reason: str = ""

    @property
    def is_long(self) -> bool:
        """Whether more points follow one another on one side than chance explains."""
        return self.longest_usual is not None and self.longest > self.longest_usual

    @property
    def is_seldom_crossed(self) -> bool:
        """Whether the median is crossed less often than chance explains."""
        return self.crossings_usual is not None and self.crossings < self.crossings_usual


def runs(values: ArrayLike) -> Runs:
    """Longest run and number of crossings of a run chart.

    Parameters
    ----------
    values
        One number per period in the order of time, shape (k,).

    Returns
    -------
    Runs
        Limits None below 10 points off the median.

    Sources
    -------
    Anhoej and Olesen 2014, PLoS One 9:e113825 (from memory): a run longer than
    log2(used) + 3, rounded, or fewer crossings than the 5 % quantile of a binomial
    distribution with used - 1 trials of one half.
    """
    points = numbers(values, "values").ravel()
    if not points.size:
        return Runs(None, 0, 0, None, 0, None, None, "no points")
    median = float(np.median(points))
    where = np.flatnonzero(points != median)
    side = points[where] > median
    longest, ends, start = 0, None, 0
    for place in range(side.size):
        if place and side[place] != side[place - 1]:
            start = place
        if place - start + 1 > longest:
            longest = place - start + 1
            ends = int(where[start]) + 1, int(where[place]) + 1
    crossings = int(np.count_nonzero(side[1:] != side[:-1]))
    used = int(side.size)
    if used < FEWEST:
        return Runs(median, used, longest, ends, crossings, None, None, f"fewer than {FEWEST} points")
    trials = used - 1
    usual = int(np.searchsorted(bdtr(np.arange(trials + 1), trials, 0.5), 0.05))
    return Runs(median, used, longest, ends, crossings, round(log2(used) + 3), usual)
