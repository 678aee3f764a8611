"""Uptake of the same lesion at planning and on the day: bias and limits of agreement, as ratios (0041)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.people import Action, require
from registry.stats.vectors import bland_altman
from registry.uptake.asking import ask

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader

    Limits = tuple[float | None, float | None]


@dataclass(frozen=True)
class SameLesion:
    """The ratio on the day over that at planning, of ``n`` procedures of ``patients`` patients.

    ``bias`` is the geometric mean of that quotient, ``limits`` enclose 95 % of single ones if
    their logarithms are normal; each with its interval. ``days`` is the median time between. None,
    with a reason, below two pairs. ``zeros`` procedures have a ratio of 0 and no logarithm.
    """

    n: int
    patients: int
    zeros: int
    days: float | None
    bias: float | None
    bias_ci: Limits
    limits: Limits
    lower_ci: Limits
    upper_ci: Limits
    reason: str


def lesion_ratios(
    registry: Reader, *, as_of: date, start: date | None = None, end: date | None = None
) -> pl.DataFrame:
    """Procedures with the lesion's uptake ratio at planning and on the day, by tracer imaging of one kind.

    Parameters
    ----------
    registry, as_of, start, end
        As :func:`registry.uptake.scans`.

    Returns
    -------
    DataFrame
        procedure_id, patient_no, started_on, days_between, planning_ratio, day_ratio.
    """
    require(Action.FIGURES, registry)
    return ask(registry, "lesion_ratios", as_of=as_of, start=start, end=end)


def same_lesion(found: pl.DataFrame, confidence: float = 0.95) -> SameLesion:
    """Limits of agreement of the two ratios.

    Parameters
    ----------
    found
        From :func:`lesion_ratios`.
    confidence
        Two-sided, of the intervals around bias and limits.

    Sources
    -------
    Bland and Altman 1986, Lancet i:307-310; on logarithms, because the difference grows with
    the ratio: Bland and Altman 1999, Stat Methods Med Res 8:135-160.
    """
    used = pairs(found)
    day, planning = (np.log(used.get_column(name).to_numpy()) for name in ("day_ratio", "planning_ratio"))
    made = bland_altman(day, planning, confidence=confidence)
    return SameLesion(
        n=used.height,
        patients=used.get_column("patient_no").n_unique(),
        zeros=found.height - used.height,
        days=used.get_column("days_between").median(),  # type: ignore[arg-type]
        bias=None if made.bias is None else float(np.exp(made.bias)),
        bias_ci=_times(made.ci_bias),
        limits=_times(made.limits),
        lower_ci=_times(made.ci_lower),
        upper_ci=_times(made.ci_upper),
        reason=made.reason,
    )


def pairs(found: pl.DataFrame) -> pl.DataFrame:
    """Those with a logarithm, with ``middle`` (geometric mean) and ``quotient`` (day over planning)."""
    both = found.filter((pl.col("planning_ratio") > 0.0) & (pl.col("day_ratio") > 0.0))
    return both.with_columns(
        (pl.col("planning_ratio") * pl.col("day_ratio")).sqrt().alias("middle"),
        (pl.col("day_ratio") / pl.col("planning_ratio")).alias("quotient"),
    )


def _times(limits: Limits) -> Limits:
    low, high = limits
    return (None if low is None else float(np.exp(low)), None if high is None else float(np.exp(high)))
