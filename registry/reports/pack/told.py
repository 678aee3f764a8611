"""Which counts of a pack to be shared are told, so that no small one follows from the others.

Counts of procedures, by measure or in the yearly table, are compared by who is counted. Counts of other things (fields,
intervals, complications, visits, patients) are compared by their number alone: two that lie
1 to ``upto`` apart might be nested, and are taken to be.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.disclosure.nested import let_through
from registry.measures import NOT_RECORDED, load_measures
from registry.measures.curve import ESTIMATES, READ_AT
from registry.measures.listing import behind
from registry.measures.strata import Question
from registry.monitoring import last_quarters
from registry.quality.yearly import ALL
from registry.quality.yearly import counted as counted_in_a_year
from registry.reports.pack.asked import (
    AMONG,
    AT_RISK,
    BEFORE,
    CELLS,
    COMMITTEE,
    COUNTED,
    QUARTERS,
    TOTALS,
    YEARLY,
    Key,
)
from registry.reports.pack.before import period_before
from registry.units import WAYS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from registry.disclosure.cells import Rule
    from registry.measures.counting import Reader

#: What the numbers of other tables are compared with; those of a unit or a quarter are of few.
_OF_THE_PERIOD = (AMONG, COUNTED, YEARLY, CELLS, TOTALS, AT_RISK)


@dataclass
class Told:
    """What may be shown: ``shown`` by key, and the numbers that stand in the pack already."""

    rule: Rule
    shown: dict[Key, bool] = field(default_factory=dict)
    numbers: set[int] = field(default_factory=set)

    def hides(self, *key: str) -> bool:
        """Whether counts compared by who is counted are hidden."""
        return bool(self.rule.upto) and not self.shown.get(key, False)

    def admits(self, *counts: int) -> bool:
        """Whether counts of other things may stand beside all others; from then on they do.

        Those of one call are shown together and not compared with each other.
        """
        if not self.rule.upto:
            return True
        apart = all(
            not self.rule.is_small(one)
            and not any(self.rule.is_small(abs(one - other)) for other in self.numbers)
            for one in counts
        )
        if apart:
            self.numbers |= {one for one in counts if one}
        return apart


def told(registry: Reader, rule: Rule, start: date, end: date, as_of: date) -> Told:
    """Decide once for the whole pack.

    Shown first is what the committee watches, then the other proportions and quantities,
    then what splits them.
    """
    if not rule.upto:
        return Told(rule)
    question = Question(as_of, None, end)
    rows = {
        one.id: behind(registry, one.id, question)
        for one in load_measures().values()
        if one.kind != "sampling"
    }
    year = counted_in_a_year(registry, until=end, as_of=as_of)
    groups = dict(_groups(rows, year, start, end))
    keys = list(groups)
    found = let_through([groups[key] for key in keys], rule.upto)
    shown = dict(zip(keys, found, strict=True))
    numbers: set[int] = set()
    for key in (one for one, is_shown in shown.items() if is_shown and one[0] in _OF_THE_PERIOD):
        counts = [int(n) for n in groups[key].sum(axis=0)]
        numbers |= {*counts, *([counts[0] - counts[1]] if key[0] == COUNTED else [])}
    return Told(rule, shown, numbers - {0})


def _groups(
    rows: dict[str, pl.DataFrame], year: dict[tuple[str, str, str], list[str]], start: date, end: date
) -> Iterator[tuple[Key, np.ndarray]]:
    """Counts that are shown together, (procedures, counts), the worthiest first."""
    measures = load_measures()
    proportions = [one.id for one in measures.values() if one.kind == "proportion"]
    first = (*COMMITTEE, *(name for name in proportions if name not in COMMITTEE))
    period = pl.col("index_date").is_between(start, end)
    for name in first:
        yield (AMONG, name), _counted(rows[name], [period])[:, :1]
        yield (COUNTED, name), _counted(rows[name], [period])
    for one in measures.values():
        if one.kind == "quantity":
            yield (AMONG, one.id), _counted(rows[one.id], [period])
    # Wholes are worth more than their parts.
    for cell in sorted(year, key=lambda one: (one[1:] != (ALL, ALL), one[2] != ALL)):
        yield (YEARLY, *cell), _matrix(rows[first[0]], [pl.col("procedure_id").is_in(year[cell])])
    yield from _categories(rows["b_category_accuracy"], period)
    yield from _at_risk(rows["cancer_after_benign"], period)
    earlier = pl.col("index_date").is_between(*period_before(start, end))
    days = [day for _, day in last_quarters(end)]
    spans = [
        pl.col("index_date").is_between(day, until - timedelta(days=1))
        for day, until in pairwise([*days, end + timedelta(days=1)])
    ]
    for name in COMMITTEE:
        yield (BEFORE, name), _counted(rows[name], [period, earlier])
    for name in COMMITTEE:
        yield (QUARTERS, name), _counted(rows[name], [pl.col("index_date") < start, *spans])
    for way in WAYS:
        for name in COMMITTEE:
            unit = pl.col(way).fill_null(NOT_RECORDED)
            codes = sorted(rows[name].filter(period).select(unit).to_series().unique())
            yield (way, name), _counted(rows[name], [period & (unit == code) for code in codes])


def _counted(rows: pl.DataFrame, whose: Sequence[pl.Expr]) -> np.ndarray:
    """Denominator, and numerator where there is one, of each stretch of procedures."""
    kept = pl.col("excluded_because").is_null()
    events = [pl.col("in_numerator").fill_null(value=False)] if "in_numerator" in rows.columns else []
    return _matrix(rows, [one & kept & event for one in whose for event in (pl.lit(value=True), *events)])


def _categories(rows: pl.DataFrame, period: pl.Expr) -> Iterator[tuple[Key, np.ndarray]]:
    """Totals of the B categories, and the cells of their table."""
    kept = period & pl.col("excluded_because").is_null()
    names = sorted(rows.get_column("b_category").drop_nulls().unique())
    yield (
        (TOTALS, "b_category_accuracy"),
        _matrix(rows, [kept & (pl.col("b_category") == name) for name in names]),
    )
    cells = [
        kept & (pl.col("b_category") == name) & (pl.col("outcome") == outcome)
        for name in names
        for outcome in ("m", "b", "n")
    ]
    yield (CELLS, "b_category_accuracy"), _matrix(rows, cells)


def _at_risk(rows: pl.DataFrame, period: pl.Expr) -> Iterator[tuple[Key, np.ndarray]]:
    """Those at risk at each day of the curve, and those with cancer by then, by both estimates."""
    kept = period & pl.col("excluded_because").is_null()
    for name in ESTIMATES:
        for day in READ_AT:
            days, status = pl.col(f"{name}_days"), pl.col(f"{name}_status")
            yield (
                (AT_RISK, name, str(day)),
                _matrix(rows, [kept & (days >= day), kept & (status == 1) & (days <= day)]),
            )


def _matrix(rows: pl.DataFrame, whose: Sequence[pl.Expr]) -> np.ndarray:
    """Who is counted (procedures, counts); all measures know the same procedures in the same order."""
    made = rows.select(one.fill_null(value=False).alias(str(i)) for i, one in enumerate(whose))
    return made.to_numpy().astype(np.bool_).reshape(rows.height, len(whose))
