"""First attempt against last: lengths of the same errors before and after the needle was moved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from registry.stats.arguments import numbers, same_length
from registry.stats.proportions import wilson_interval
from registry.stats.vectors import Limits, RadiusQuantile, order_statistic_ranks, radius_quantile


@dataclass(frozen=True)
class PairedLengths:
    """Medians of the first and the last length, and of what lies between them.

    ``change`` is the median of last minus first, with order-statistic limits: below 0 =
    nearer. ``nearer``, ``unchanged`` and ``further`` count pairs; ``nearer_share`` is
    nearer among all, with Wilson's ``nearer_limits``. None without pairs, limits None where there are too few.
    """

    first: RadiusQuantile
    last: RadiusQuantile
    change: float | None
    change_limits: Limits
    nearer: int
    unchanged: int
    further: int
    nearer_share: float | None
    nearer_limits: Limits
    n: int


def compare_lengths(first: ArrayLike, last: ArrayLike, confidence: float = 0.95) -> PairedLengths:
    """Compare two lengths of the same procedures.

    Parameters
    ----------
    first, last
        Paired lengths of errors, mm, 0 or more, shape (n,).
    confidence
        Two-sided confidence of all limits.

    Returns
    -------
    PairedLengths
        It describes the pairs given. Where only needles that lay far off are moved, the last
        attempt would look better by chance alone.

    Raises
    ------
    ValueError
        Unequal numbers, values missing or negative, confidence outside (0, 1).

    Sources
    -------
    Limits of the median change: as :func:`registry.stats.vectors.order_statistic_ranks`;
    they invert the sign test.
    """
    before, after = numbers(first, "first", minimum=0.0), numbers(last, "last", minimum=0.0)
    n = same_length(first=before, last=after)
    # Rounded far below any reading, so that equal lengths from other coordinates are equal.
    change = np.sort(np.round(after - before, 9))
    ranks = order_statistic_ranks(n, 0.5, confidence)
    low, high = (None if rank is None else float(change[rank - 1]) for rank in ranks)
    nearer, further = int((change < 0).sum()), int((change > 0).sum())
    return PairedLengths(
        first=radius_quantile(before, 0.5, confidence),
        last=radius_quantile(after, 0.5, confidence),
        change=float(np.median(change)) if n else None,
        change_limits=(low, high),
        nearer=nearer,
        unchanged=n - nearer - further,
        further=further,
        nearer_share=nearer / n if n else None,
        nearer_limits=wilson_interval(nearer, n, confidence),
        n=n,
    )
