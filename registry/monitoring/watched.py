"""The procedures of a measure in the order of time, and the rate that is accepted for them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import polars as pl

from registry.errors import UsageProblem
from registry.measures import load_measures, procedures
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from registry.measures import Measure
    from registry.measures.counting import Reader

DAYS_A_YEAR = 365.25


def watched_title(measure: Measure, *, watches_rest: bool) -> str:
    """What is watched of a measure: the event, or what falls short of it."""
    return f"{measure.title}: what falls short" if watches_rest else measure.title


@dataclass(frozen=True)
class Watched:
    """Procedures in the denominator of a measure: those before the watch, and those watched.

    The frames have procedure_id, day and ``event`` (0 or 1; what falls short where more
    is better, ``watches_rest``) or, for a quantity, ``value``; in the order of day and
    key. ``watched_from`` is None where everything is watched.
    """

    measure: Measure
    watches_rest: bool
    before: pl.DataFrame
    during: pl.DataFrame
    watched_from: date | None
    within: Mapping[str, str]
    as_of: date
    registry: str

    @property
    def per_year(self) -> float | None:
        """Watched procedures a year at the pace of the watched period; None for fewer than two days."""
        if self.during.height < 2:
            return None
        first, last = self.during.get_column("day")[0], self.during.get_column("day")[-1]
        days: float = (last - (self.watched_from or first)) / timedelta(days=1) + 1.0
        return self.during.height * DAYS_A_YEAR / days

    @property
    def title(self) -> str:
        """What is watched, as :func:`watched_title` says it."""
        return watched_title(self.measure, watches_rest=self.watches_rest)

    @property
    def stratum(self) -> str:
        """Which procedures: all, or name=value."""
        return ", ".join(f"{name}={value}" for name, value in self.within.items()) or "all"


def watch(
    registry: Reader,
    measure_id: str,
    *,
    kind: str,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    watched_from: date | None = None,
    within: Mapping[str, str] | None = None,
) -> Watched:
    """The procedures of a measure, parted at the day from which they are watched.

    Parameters
    ----------
    registry
        An open registry.
    measure_id
        A measure.
    kind
        The kind that it must have: proportion or quantity.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.
    watched_from
        First watched day; what lies before it shows what is usual.
    within
        Stratum -> the one value that is kept.

    Raises
    ------
    UsageProblem
        No such measure, or one of another kind.
    """
    require(Action.PROCEDURES, registry)
    measure = known(measure_id, kind)
    rest = measure.direction == "higher" and kind == "proportion"
    rows = procedures(registry, measure_id, as_of=as_of, start=start, end=end, within=within)
    said = (
        (pl.col("in_numerator") != rest).cast(pl.Int64).alias("event")
        if kind == "proportion"
        else pl.col("measured").cast(pl.Float64).alias("value")
    )
    kept = rows.filter(pl.col("excluded_because").is_null()).select(
        "procedure_id", pl.col("index_date").alias("day"), said
    )
    is_before = pl.lit(False) if watched_from is None else pl.col("day") < watched_from
    return Watched(
        measure,
        rest,
        kept.filter(is_before),
        kept.filter(~is_before),
        watched_from,
        dict(within or {}),
        as_of,
        registry.stamp(),
    )


def known(measure_id: str, kind: str) -> Measure:
    """A measure of one kind.

    Raises
    ------
    UsageProblem
        No such measure, or one of another kind.
    """
    measure = load_measures().get(measure_id)
    if measure is None:
        raise UsageProblem(f"{measure_id}: there is no such measure. See: biopsy-outcomes measures")
    if measure.kind != kind:
        others = {"proportion": "proportions", "quantity": "quantities"}[kind]
        raise UsageProblem(f"{measure_id}: is no {kind}; this is for {others} only.")
    return measure


def apart(first: tuple[date, date], second: tuple[date, date]) -> None:
    """Stop where two periods share a day.

    Raises
    ------
    UsageProblem
        They overlap.
    """
    if max(first[0], second[0]) <= min(first[1], second[1]):
        raise UsageProblem(
            f"The periods {first[0]} to {first[1]} and {second[0]} to {second[1]} overlap: "
            "a procedure would stand on both sides. Let one end before the other begins."
        )
