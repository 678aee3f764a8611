"""A proportion over several operators or sites: crude, of the middle one, and of a further one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from typing import TYPE_CHECKING

from registry.stats.pooling import FEW_CENTRES, pooled_proportion
from registry.stats.proportions import wilson_interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.stats.pooling import PooledProportion


@dataclass(frozen=True)
class Pool:
    """One proportion over ``units`` with procedures, by two ways.

    ``crude`` is ``x`` of ``n`` with Wilson limits, as if all were one unit. ``middle`` is the
    proportion of the middle unit by a random-intercept logistic model, with its limits;
    ``further_lower`` and ``further_upper`` enclose the true rate of a further unit (None below
    five units). ``between`` is the standard deviation of the units on the logit scale.
    All of the model is None, with a reason, where it cannot be fitted.
    """

    units: int
    x: int
    n: int
    crude: float | None
    crude_lower: float | None
    crude_upper: float | None
    middle: float | None
    lower: float | None
    upper: float | None
    further_lower: float | None
    further_upper: float | None
    between: float | None
    confidence: float
    reason: str = ""

    @property
    def why_no_prediction(self) -> str:
        """Why no rate of a further unit is predicted; empty where one is, or where there is no model."""
        if self.middle is None or self.further_lower is not None:
            return ""
        return f"fewer than {FEW_CENTRES} units"


def pool(counts: Sequence[tuple[int, int]], confidence: float = 0.95) -> Pool:
    """Bring units together.

    Parameters
    ----------
    counts
        (x, n) of each unit; those without procedures do not count.
    confidence
        Two-sided, of all intervals.

    Sources
    -------
    Stijnen, Hamza and Ozdemir 2010, Stat Med 29:3046-3067; prediction interval by t with
    units - 2 degrees of freedom.
    """
    used = [(x, n) for x, n in counts if n]
    x, n = sum(one[0] for one in used), sum(one[1] for one in used)
    low, high = wilson_interval(x, n, confidence) if n else (None, None)
    model = _fitted(tuple(used), confidence)
    return Pool(
        len(used),
        x,
        n,
        x / n if n else None,
        low,
        high,
        model.pooled,
        *model.ci,
        *model.pi,
        None if model.tau2 is None else sqrt(model.tau2),
        confidence,
        model.reason,
    )


@lru_cache(maxsize=256)
def _fitted(used: tuple[tuple[int, int], ...], confidence: float) -> PooledProportion:
    """The model, which takes a second, once for the same counts."""
    return pooled_proportion([one[0] for one in used], [one[1] for one in used], confidence)
