"""Exponentially weighted mean of a quantity with its limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from registry.stats.arguments import FloatArray, numbers, same_length


@dataclass(frozen=True)
class EwmaRun:
    """Weighted mean after each unit, its limits, and the units (from 1) that lie outside.

    The mean is not set back at a signal.
    """

    path: FloatArray
    lower: FloatArray
    upper: FloatArray
    beyond: tuple[int, ...]


def ewma(values: ArrayLike, center: float, sd: float, smoothing: float, width: float) -> EwmaRun:
    """Weighted mean of the values so far, the newest weighing ``smoothing``.

    Parameters
    ----------
    values
        In order of time, shape (n,).
    center, sd
        Mean and standard deviation while all is well, in the unit of the values.
    smoothing
        Weight of the newest value, above 0, at most 1.
    width
        Limits in standard deviations of the weighted mean, above 0.

    Raises
    ------
    ValueError
        sd or width not positive, smoothing outside (0, 1].

    Sources
    -------
    Roberts 1959, Technometrics 1:239-250; limits that widen from the first value on as in
    Montgomery, Introduction to Statistical Quality Control.
    """
    seen = numbers(values, "values")
    size = same_length(values=seen)
    if sd <= 0 or width <= 0 or not 0.0 < smoothing <= 1.0:
        raise ValueError("sd and width must be above 0, smoothing above 0 and not above 1")
    path, mean = np.empty(size), float(center)
    for unit, value in enumerate(seen):
        mean = smoothing * float(value) + (1.0 - smoothing) * mean
        path[unit] = mean
    weight = smoothing / (2.0 - smoothing) * (1.0 - (1.0 - smoothing) ** (2 * np.arange(1, size + 1)))
    half = width * sd * np.sqrt(weight)
    lower, upper = center - half, center + half
    outside = np.flatnonzero((path < lower) | (path > upper)) + 1
    return EwmaRun(path, lower, upper, tuple(int(one) for one in outside))
