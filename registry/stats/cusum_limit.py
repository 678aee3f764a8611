"""The limit of a running sum, chosen by how seldom it may signal while all is well."""

from __future__ import annotations

import numpy as np

from registry.stats.run_length import Chain

HIGHEST = 5000
"""Largest whole limit that is tried; solving the chain grows with it."""


def lowest_limit(m: int, p0: float, wanted: float) -> int:
    """Smallest limit of a lattice sum whose mean run length at the accepted rate is long enough.

    Parameters
    ----------
    m
        Step of :func:`registry.stats.cusum.lattice_step`, 2 or more.
    p0
        Accepted rate, between 0 and 1 exclusive.
    wanted
        Mean number of units between false signals, above 0.

    Returns
    -------
    int
        Whole limit, 1 or more.

    Raises
    ------
    ValueError
        No limit up to 5000 is enough, or ``wanted`` is not positive.
    """
    if wanted <= 0:
        raise ValueError(f"wanted must be above 0; got {wanted}")
    high = m
    while _mean(m, high, p0) < wanted:
        if high >= HIGHEST:
            raise ValueError(f"no limit up to {HIGHEST} makes false signals as rare as one in {wanted:g}")
        high = min(HIGHEST, 2 * high)
    low = 0
    # the mean run length grows with the limit
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _mean(m, middle, p0) < wanted else (low, middle)
    return high


def _mean(m: int, limit: int, p0: float) -> float:
    """Mean run length alone: the median of :class:`RunLength` costs as many steps as it is long."""
    state = np.arange(limit)
    chain = Chain(limit)
    chain.add(state, state + m - 1, p0)
    chain.add(state, np.maximum(state - 1, 0), 1.0 - p0)
    return chain.mean()
