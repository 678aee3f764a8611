"""Where values lie: median with its interval, quartiles and extremes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from registry.stats.arguments import numbers
from registry.stats.vectors import order_statistic_ranks

_QUANTILES = (0.5, 0.25, 0.75, 0.05, 0.95)


@dataclass(frozen=True)
class Spread:
    """Quantiles of ``n`` values, in their unit; all None without values.

    ``lower`` and ``upper`` are order statistics that enclose the median, None where no
    value is extreme enough.
    """

    n: int
    median: float | None
    q1: float | None
    q3: float | None
    p5: float | None
    p95: float | None
    lower: float | None
    upper: float | None


def spread(values: ArrayLike, confidence: float = 0.95) -> Spread:
    """Median with its interval, quartiles, 5th and 95th percentile.

    Parameters
    ----------
    values
        Any order, shape (n,), n may be 0; none missing.
    confidence
        Two-sided confidence of the interval of the median.

    Returns
    -------
    Spread
        Quantiles by linear interpolation between order statistics.

    Raises
    ------
    ValueError
        A value is missing or infinite; confidence outside (0, 1).

    Sources
    -------
    Interval as :func:`registry.stats.vectors.order_statistic_ranks`.
    """
    array = numbers(values, "values")
    ranks = order_statistic_ranks(array.size, 0.5, confidence)
    if not array.size:
        return Spread(0, None, None, None, None, None, None, None)
    # Two values in their places, and not all in order, which takes twice as long.
    placed = np.partition(array, [rank - 1 for rank in ranks if rank is not None] or [0])
    lower, upper = (None if rank is None else float(placed[rank - 1]) for rank in ranks)
    median, q1, q3, p5, p95 = (float(one) for one in np.quantile(placed, _QUANTILES))
    return Spread(int(array.size), median, q1, q3, p5, p95, lower, upper)
