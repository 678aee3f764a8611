"""Standardised differences: how far two groups lie apart in one characteristic, in standard deviations."""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import ArrayLike

from registry.stats.arguments import numbers, whole_counts


def difference_of_means(first: ArrayLike, second: ArrayLike) -> float | None:
    """Standardised difference of the means of two groups.

    Parameters
    ----------
    first, second
        Values of each group, none missing; shape (n,).

    Returns
    -------
    float
        Absolute difference over the root of the mean of the two variances (divisor n - 1).
        None where a group has fewer than two values; 0 where all values are equal, None
        where each group has one value only and these differ.

    Sources
    -------
    Austin 2009, Stat Med 28:3083-3107, section 2.
    """
    one, two = numbers(first, "first"), numbers(second, "second")
    if one.size < 2 or two.size < 2:
        return None
    apart = abs(float(one.mean() - two.mean()))
    spread = sqrt(float(one.var(ddof=1) + two.var(ddof=1)) / 2)
    if spread == 0:
        return 0.0 if apart == 0 else None
    return apart / spread


def difference_of_shares(first: ArrayLike, second: ArrayLike) -> float | None:
    """Standardised difference of how two groups are spread over categories.

    Parameters
    ----------
    first, second
        How many of each group fall in each category, in the same order; shape (k,).

    Returns
    -------
    float
        For two categories the absolute difference of the shares over the root of the mean
        of p(1 - p); for several the Mahalanobis distance between the shares, without the
        first category. None where a group is empty or the groups lie in categories of their
        own without spread; 0 for fewer than two categories.

    Sources
    -------
    Austin 2009 for two categories; Yang and Dalton 2012, SAS Global Forum, paper 335-2012,
    for several. With two categories they are the same number.
    """
    one, two = whole_counts(first, "first"), whole_counts(second, "second")
    if one.size != two.size:
        raise ValueError("both groups need a count for each category")
    if one.sum() == 0 or two.sum() == 0:
        return None
    met = (one + two) > 0
    shares = [group[met] / group.sum() for group in (one, two)]
    if met.sum() < 2:
        return 0.0
    apart = (shares[0] - shares[1])[1:]
    spread = sum((np.diag(p[1:]) - np.outer(p[1:], p[1:])) / 2 for p in shares)
    if not np.any(apart):
        return 0.0
    if np.linalg.matrix_rank(spread) < apart.size:
        return None
    return sqrt(float(apart @ np.linalg.solve(spread, apart)))
