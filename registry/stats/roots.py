"""Roots of many rising functions at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from registry.stats.arguments import FloatArray

STEPS = 100
"""Most steps taken: halving alone needs about 50 to reach the last digit."""

CLOSE = 1e-13
"""Relative change at which a root counts as found; after a Newton step it is far closer."""


def rising_roots(
    excess: Callable[[FloatArray], FloatArray],
    slope: Callable[[FloatArray], FloatArray],
    low: FloatArray,
    high: FloatArray,
) -> FloatArray:
    """Arguments at which each of many rising functions crosses 0.

    Parameters
    ----------
    excess
        Values of all functions at one argument each.
    slope
        Their derivatives there.
    low, high
        Arguments that enclose the roots, one pair per function.

    Returns
    -------
    array
        By Newton steps; a step that would leave the enclosure halves it instead.
    """
    x = (low + high) / 2.0
    # each root stops on its own, so that one asked alone gives the same digits
    found = np.zeros(x.shape, dtype=bool)
    for _ in range(STEPS):
        y = excess(x)
        low, high = np.where(y <= 0.0, x, low), np.where(y <= 0.0, high, x)
        steep = slope(x)
        with np.errstate(over="ignore"):  # a step beyond all numbers leaves the enclosure, and is halved
            step = np.divide(y, steep, out=np.full_like(x, np.inf), where=steep > 0.0)
        newton = x - step
        renewed = np.where((newton >= low) & (newton <= high), newton, (low + high) / 2.0)
        small = (y == 0.0) | (np.abs(renewed - x) <= CLOSE * np.abs(x))
        x = np.where(found | (y == 0.0), x, renewed)
        found |= small
        if found.all():
            break
    return x
