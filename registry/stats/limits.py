"""Results of comparing two proportions, and the root that an interval ends at."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

Limits = tuple[float | None, float | None]


@dataclass(frozen=True)
class Difference:
    """Difference of two proportions; unpacks as (lower, upper).

    ``diff`` and both limits are None, with a ``reason``, where a group has no trials.
    """

    diff: float | None
    ci: Limits
    method: str
    reason: str = ""

    def __iter__(self) -> Iterator[float | None]:
        return iter(self.ci)


@dataclass(frozen=True)
class Ratio:
    """Ratio of two proportions; unpacks as (lower, upper).

    Infinite upper limit where the second group has no events. None, with a
    ``reason``, where neither group has events, or a group has no trials.
    """

    ratio: float | None
    ci: Limits
    method: str
    reason: str = ""

    def __iter__(self) -> Iterator[float | None]:
        return iter(self.ci)


def crossing(excess: Callable[[float], float], low: float, high: float) -> float:
    """Argument at which a continuous function changes sign.

    Parameters
    ----------
    excess
        Function of one number.
    low, high
        Arguments at which its signs differ.

    Returns
    -------
    float
        The root, solved close to machine precision.

    Raises
    ------
    ValueError
        The signs do not differ.
    """
    from scipy.optimize import brentq

    return float(brentq(excess, low, high, xtol=1e-15, rtol=1e-14, maxiter=500))
