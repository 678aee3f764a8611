"""A run chart by month or quarter with exact limits, and how many procedures each held."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from registry.stats.estimators import ESTIMATORS
from registry.stats.monitoring import funnel_limits, p_chart, u_chart
from registry.stats.outlying import smaller_tail
from registry.stats.runs import Runs, runs

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from registry.monitoring.watched import Watched

MONTHS = {"month": 1, "quarter": 3}
OUTER = 0.001
"""Chance on either side beyond the outer limits."""


@dataclass(frozen=True)
class Point:
    """One period.

    ``low`` and ``high`` are the 95 % limits of its own rate, None without
    procedures; ``limits`` the exact 0.1, 2.5, 97.5 and 99.9 % limits around the accepted
    rate for so many procedures, as drawn, None without. ``beyond`` says that the count lies
    outside the outer pair, by its exact chance. ``three_errors`` are the limits of a p-chart, three standard errors from
    the accepted rate, and ``beyond_errors`` says that the rate lies outside those.
    """

    period: str
    first: date
    x: int
    n: int
    low: float | None
    high: float | None
    limits: tuple[float, ...] | None
    beyond: bool
    three_errors: tuple[float, float] | None = None
    beyond_errors: bool = False

    @property
    def rate(self) -> float | None:
        """Share of its procedures with the event."""
        return self.x / self.n if self.n else None


@dataclass(frozen=True)
class Volume:
    """Procedures of one period per 30 days, with limits of three standard errors around the mean pace."""

    period: str
    n: int
    days: int
    per_30_days: float
    lower: float
    upper: float
    beyond: bool


def points(
    watched: Watched, accepted: float, per: str = "quarter", interval: str = "wilson"
) -> tuple[Point, ...]:
    """The watched procedures by period, those without any included.

    Parameters
    ----------
    accepted
        Rate around which the limits lie, between 0 and 1 exclusive.
    per
        month or quarter.
    interval
        Method of each period's own interval, one of :data:`registry.stats.estimators.ESTIMATORS`.
    """
    made = []
    for name, first, last in _spans(watched, per):
        part = watched.during.filter(watched.during.get_column("day").is_between(first, last))
        x, n = int(part.get_column("event").sum()), part.height
        made.append(point(name, first, x, n, accepted, interval))
    return tuple(made)


def point(period: str, first: date, x: int, n: int, accepted: float, interval: str = "wilson") -> Point:
    """One period from its counts, ``x`` of ``n``; the others as :func:`points`."""
    if not n:
        return Point(period, first, 0, 0, None, None, None, False)
    low, high = ESTIMATORS[interval].interval(x, n, 0.95)
    chart = p_chart([x], n, center=accepted)
    return Point(
        period,
        first,
        x,
        n,
        low,
        high,
        tuple(float(one) for one in funnel_limits(n, accepted).limits[:, 0]),
        float(smaller_tail(x, n, accepted)) <= OUTER,
        (float(chart.lcl), float(chart.ucl)),
        bool(chart.beyond),
    )


def about_the_median(found: Sequence[Point], minimum: int = 1) -> Runs:
    """Runs and crossings of the rates of the periods with at least so many procedures."""
    return runs([one.x / one.n for one in found if one.n >= max(1, minimum)])


def volumes(watched: Watched, per: str = "quarter") -> tuple[Volume, ...]:
    """How many procedures each period held, as events per time (a u-chart); empty for fewer than two periods."""
    spans = list(_spans(watched, per))
    if len(spans) < 2:
        return ()
    day = watched.during.get_column("day")
    counts = np.array([int(day.is_between(first, last).sum()) for _, first, last in spans])
    days = np.array([(last - first).days + 1 for _, first, last in spans])
    chart = u_chart(counts, days / 30.0)
    return tuple(
        Volume(
            name,
            int(counts[i]),
            int(days[i]),
            float(counts[i] / days[i] * 30.0),
            float(chart.lcl[i]),
            float(chart.ucl[i]),
            i + 1 in chart.beyond,
        )
        for i, (name, _, _) in enumerate(spans)
    )


def last_quarters(end: date, number: int = 8) -> tuple[tuple[str, date], ...]:
    """Name and first day of the quarter of a day and of those before it, oldest first."""
    last = (end.year * 12 + end.month - 1) // 3
    firsts = (_first(one, 3) for one in range(last - number + 1, last + 1))
    return tuple((f"{first.year}-Q{(first.month + 2) // 3}", first) for first in firsts)


def _spans(watched: Watched, per: str) -> Iterator[tuple[str, date, date]]:
    """Name, first and last day of each period; the first and last are cut to what is watched."""
    if not watched.during.height:
        return
    days = watched.during.get_column("day")
    begin, end, length = watched.watched_from or days[0], days[-1], MONTHS[per]
    number = (begin.year * 12 + begin.month - 1) // length
    while (first := _first(number, length)) <= end:
        name = f"{first.year}-Q{(first.month + 2) // 3}" if per == "quarter" else f"{first:%Y-%m}"
        last = _first(number + 1, length) - timedelta(days=1)
        yield name, max(first, begin), min(last, end)
        number += 1


def _first(number: int, length: int) -> date:
    return date(number * length // 12, number * length % 12 + 1, 1)
