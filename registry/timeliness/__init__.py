"""How long the steps take from a finding to the action that follows, against the local limits."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import facts, store
from registry.errors import UsageProblem
from registry.people import Action, require
from registry.sqlfiles import queries
from registry.stats.proportions import wilson_interval
from registry.stats.quantiles import spread

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.measures.counting import Reader

__all__ = ["INTERVALS", "WAYS", "Interval", "faults", "timeliness"]

#: Interval -> its words, in the order of the work; limits stand under these names in site.toml.
INTERVALS: Mapping[str, str] = MappingProxyType(
    {
        "finding_to_advice": "Finding to advice of biopsy",
        "advice_to_biopsy": "Advice to biopsy",
        "biopsy_to_report": "Biopsy to first report",
        "report_to_review": "First report to joint review",
        "report_to_told": "First report to patient told",
        "review_to_action": "Decision to tissue that it asked for",
    }
)
#: What the intervals can be split by.
WAYS = ("site", "year", "quarter")
ALL = "all"


@dataclass(frozen=True)
class Interval:
    """One interval in one stratum, in days.

    ``n`` procedures have both dates in order, ``missing`` lack the second, ``negative`` have
    it before the first and are left out. Median with its order-statistic limits, quartiles and
    90th percentile by linear interpolation; None where there is nothing. Where the site states
    a ``limit``, ``within`` of n keep it, with Wilson limits.
    """

    interval: str
    words: str
    stratum: str
    n: int
    missing: int
    negative: int
    median: float | None
    lower: float | None
    upper: float | None
    q1: float | None
    q3: float | None
    p90: float | None
    limit: float | None
    within: int | None
    share: float | None
    share_lower: float | None
    share_upper: float | None

    def to_dict(self) -> dict[str, Any]:
        """JSON-able."""
        return asdict(self)


def timeliness(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    by: str | None = None,
    confidence: float = 0.95,
) -> tuple[Interval, ...]:
    """Every interval, in the order of the work, by stratum.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.
    by
        site, year or quarter of the procedure; None for all together.
    confidence
        Two-sided.

    Raises
    ------
    UsageProblem
        The intervals are not split by that.
    """
    require(Action.FIGURES, registry)
    if by is not None and by not in WAYS:
        raise UsageProblem(f"{by}: intervals are not split by it. Known: {', '.join(WAYS)}.")
    rows = _rows(registry, as_of, start, end).with_columns(_stratum(by).alias("stratum"))
    limits = registry.site.timeliness
    made = []
    for name in INTERVALS:
        own = rows.filter(pl.col("interval") == name)
        for stratum in own["stratum"].unique().sort().to_list() or ([ALL] if by is None else []):
            made.append(
                _interval(
                    name, stratum, own.filter(pl.col("stratum") == stratum), limits.get(name), confidence
                )
            )
    return tuple(made)


def faults(
    registry: Reader, *, as_of: date, start: date | None = None, end: date | None = None
) -> pl.DataFrame:
    """Intervals that end before they begin: interval, procedure_id, site, from_on, to_on, days.

    Parameters
    ----------
    registry, as_of, start, end
        As :func:`timeliness`.
    """
    require(Action.PROCEDURES, registry)
    return (
        _rows(registry, as_of, start, end)
        .filter(pl.col("days") < 0)
        .select("interval", "procedure_id", "site", "from_on", "to_on", "days")
    )


def _rows(registry: Reader, as_of: date, start: date | None, end: date | None) -> pl.DataFrame:
    if start and end and start > end:
        raise UsageProblem(
            f"The period runs from {start} to {end}: the first day is after the last. Swap them."
        )
    given = {"as_of": as_of, "start": start or date.min, "end": min(end or as_of, as_of)}
    with facts.at(registry, as_of) as cursor:
        return store.frame(cursor, queries("timeliness")["intervals"].sql, given)


def _stratum(by: str | None) -> pl.Expr:
    day = pl.col("started_on")
    if by == "site":
        return pl.col("site")
    if by == "year":
        return day.dt.year().cast(pl.String)
    if by == "quarter":
        return pl.format("{}-Q{}", day.dt.year(), day.dt.quarter())
    return pl.lit(ALL)


def _interval(
    name: str, stratum: str, rows: pl.DataFrame, limit: float | None, confidence: float
) -> Interval:
    days = rows["days"].drop_nulls()
    kept = days.filter(days >= 0)
    lies = spread(kept.to_numpy().astype(float), confidence)
    n = len(kept)
    within = int((kept <= limit).sum()) if limit is not None else None
    share: tuple[float | None, float | None, float | None] = (None, None, None)
    if within is not None and n:
        low, high = wilson_interval(within, n, confidence)
        share = (within / n, float(low), float(high))
    return Interval(
        interval=name,
        words=INTERVALS[name],
        stratum=stratum,
        n=n,
        missing=rows.height - len(days),
        negative=len(days) - n,
        median=lies.median,
        lower=lies.lower,
        upper=lies.upper,
        q1=lies.q1,
        q3=lies.q3,
        p90=_quantile(kept, 0.9),
        limit=limit,
        within=within,
        share=share[0],
        share_lower=share[1],
        share_upper=share[2],
    )


def _quantile(days: pl.Series, at: float) -> float | None:
    found = days.quantile(at, interpolation="linear") if len(days) else None
    return None if found is None else float(found)
