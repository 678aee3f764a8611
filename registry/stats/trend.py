"""A slope that single far-out values do not turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from registry.stats.arguments import confidence_level, numbers, same_length

FEWEST = 10
"""Fewer points than this get no slope (project default)."""


@dataclass(frozen=True)
class Slope:
    """Median of the slopes between all pairs of points, with limits; all None, with a reason, for too few."""

    slope: float | None
    lower: float | None
    upper: float | None
    n: int
    reason: str = ""


def median_slope(at: ArrayLike, values: ArrayLike, confidence: float = 0.95, fewest: int = FEWEST) -> Slope:
    """Slope of values over time.

    Parameters
    ----------
    at
        Times in any unit, shape (k,).
    values
        Values, of the same length.
    confidence
        Two-sided confidence of the limits.
    fewest
        Least number of points, 2 or more.

    Returns
    -------
    Slope
        In units of ``values`` per unit of ``at``.

    Raises
    ------
    ValueError
        Lengths that differ.

    Sources
    -------
    Sen 1968, J Am Stat Assoc 63:1379-1389.
    """
    times, seen = numbers(at, "at").ravel(), numbers(values, "values").ravel()
    n = same_length(at=times, values=seen)
    level = confidence_level(confidence)
    if n < max(2, fewest) or np.unique(times).size < 2:
        return Slope(None, None, None, n, f"fewer than {max(2, fewest)} checks on different days")
    from scipy.stats import theilslopes

    found = theilslopes(seen, times, level)
    return Slope(float(found[0]), float(found[2]), float(found[3]), n)
