"""Targeting errors as vectors, their length, and agreement of two readings."""

from __future__ import annotations

from scipy.special import bdtr, bdtrc

from registry.stats.arguments import confidence_level


def order_statistic_ranks(n: int, q: float, confidence: float = 0.95) -> tuple[int | None, int | None]:
    """Ranks of the sorted values that enclose a quantile, whatever the distribution.

    Parameters
    ----------
    n
        Number of values, whole, 0 or more.
    q
        Quantile, between 0 and 1 exclusive: 0.5 for the median.
    confidence
        Two-sided confidence; each side keeps at least half of the rest.

    Returns
    -------
    (lower, upper)
        Ranks from 1 to n. None where no value is extreme enough to serve as the limit:
        the smallest or largest value must not stand in for it. The 95th percentile has
        no upper limit below 72 values.

    Raises
    ------
    ValueError
        n negative or fractional, q or confidence outside (0, 1).

    Sources
    -------
    Conover, Practical Nonparametric Statistics, section on confidence intervals for
    quantiles (binomial counts below the quantile). From memory.
    """
    size = int(n)
    if size != n or size < 0:
        raise ValueError(f"n must be a whole number of 0 or more; got {n}")
    if not 0.0 < q < 1.0:
        raise ValueError(f"q must lie between 0 and 1, both ends excluded; got {q}")
    tail = (1.0 - confidence_level(confidence)) / 2.0
    if size == 0:
        return None, None
    # lower: largest r with P(B <= r - 1) <= tail; upper: smallest s with P(B >= s) <= tail
    low, high = 0, size
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if bdtr(middle - 1, size, q) <= tail else (low, middle - 1)
    lower = low or None
    low, high = 1, size + 1
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if bdtrc(middle - 1, size, q) <= tail else (middle + 1, high)
    upper = low if low <= size else None
    return lower, upper
