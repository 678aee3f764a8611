"""How many procedures a month enter the denominator of a measure at this site."""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import TYPE_CHECKING

import polars as pl

from registry.measures.listing import behind
from registry.measures.strata import Question
from registry.people import Action, require

if TYPE_CHECKING:
    from registry.measures.counting import Reader

MONTHS = 12
"""Complete months over which the volume is counted."""

_YEARS_BACK = 5
"""Procedures older than this say nothing about today's volume, whatever the window."""

_UNFINISHED = "window not complete"
_RECENT = re.compile(r"fewer than (\d+) days before")


@dataclass(frozen=True)
class Volume:
    """Procedures that entered the denominator in complete calendar months.

    ``start`` and ``end`` are the first and last day, both included; ``months`` is fewer
    than twelve where the record began later, and 0 where no month is complete.
    """

    procedures: int
    months: int
    start: date | None
    end: date | None

    @property
    def per_month(self) -> float | None:
        """Procedures a month; None where there were none, or no complete month."""
        return self.procedures / self.months if self.months and self.procedures else None

    @property
    def per_year(self) -> int:
        """Procedures in twelve months at this pace, rounded."""
        return round(12 * (self.per_month or 0.0))

    def months_for(self, number: int | None) -> int | None:
        """Whole months that so many procedures take; None where the pace is not known."""
        pace = self.per_month
        return None if pace is None or number is None else ceil(number / pace - 1e-9)


def volume_of(registry: Reader, measure_id: str, as_of: date) -> Volume:
    """Procedures in the denominator in the last twelve complete months whose windows have passed.

    Parameters
    ----------
    registry
        An open registry.
    measure_id
        A measure.
    as_of
        The months end on or before this day.
    """
    require(Action.FIGURES, registry)
    back = date(as_of.year - _YEARS_BACK, as_of.month, 1)
    rows = behind(registry, measure_id, Question(as_of, back, as_of, None))
    if not rows.height:
        return Volume(0, 0, None, None)
    end = _month_end_before(_first_unfinished(rows, as_of))
    first = rows.get_column("index_date").min()
    assert isinstance(first, date)
    start = max(_months_earlier(end), _month_start_from(first))
    months = (end.year - start.year) * 12 + end.month - start.month + 1
    if months < 1:
        return Volume(0, 0, None, None)
    kept = pl.col("excluded_because").is_null() & pl.col("index_date").is_between(start, end)
    return Volume(rows.filter(kept).height, months, start, end)


def _first_unfinished(rows: pl.DataFrame, as_of: date) -> date:
    """First day on which a procedure started whose window has not passed; the day after as_of where none."""
    days = [as_of + timedelta(days=1)]
    for reason in rows.get_column("excluded_because").drop_nulls().unique():
        recent = _RECENT.search(reason)
        if recent:
            days.append(as_of + timedelta(days=1 - int(recent[1])))
        elif _UNFINISHED in reason:
            first = rows.filter(pl.col("excluded_because") == reason).get_column("index_date").min()
            assert isinstance(first, date)
            days.append(first)
    return min(days)


def _month_end_before(day: date) -> date:
    return day.replace(day=1) - timedelta(days=1)


def _month_start_from(day: date) -> date:
    """The first day of the first month that is complete when the record begins on a day."""
    if day.day == 1:
        return day
    return day.replace(day=monthrange(day.year, day.month)[1]) + timedelta(days=1)


def _months_earlier(end: date) -> date:
    """First day of the twelve months that end with this last day of a month."""
    number = end.year * 12 + end.month - MONTHS
    return date(number // 12, number % 12 + 1, 1)
