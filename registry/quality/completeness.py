"""Which expected fields are filled, by site and month, and whether that is getting better."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import polars as pl

from registry import facts, store
from registry.people import Action, require
from registry.quality.lists import FIRST_DAY, files
from registry.quality.twelve_months import first_day
from registry.record.missing import expected_fields
from registry.stats.comparison import newcombe_difference
from registry.stats.proportions import wilson_interval

if TYPE_CHECKING:
    from registry.measures.counting import Reader

#: Records that are due as a whole: words, when, column that says whether there is one.
_RECORDS = (
    ("targeting", "targeting record", "scan_guided", "has_targeting"),
    ("specimens", "specimen record", "sampled", "has_specimens"),
    ("pathology", "pathology report", "report_due", "has_pathology"),
    ("reviews", "joint review", "review_due", "has_review"),
)
#: Table -> column that says whether it has a row at all: a field is not asked of a record that is not there.
_HAS = {"targeting": "has_targeting", "specimens": "has_specimens", "pathology": "has_pathology"}

_WHERE_FILLED = {
    "findings": "EXISTS (SELECT 1 FROM main.findings AS r WHERE r.finding_id = u.finding_id AND r.{field} IS NOT NULL)",
    "procedures": "EXISTS (SELECT 1 FROM main.procedures AS r WHERE r.procedure_id = u.procedure_id AND r.{field} IS NOT NULL)",
    "targeting": "EXISTS (SELECT 1 FROM last_placement AS r WHERE r.procedure_id = u.procedure_id AND r.{field} IS NOT NULL)",
    "specimens": "EXISTS (SELECT 1 FROM main.specimens AS r WHERE r.procedure_id = u.procedure_id AND r.{field} IS NOT NULL)",
    "pathology": "EXISTS (SELECT 1 FROM current_report AS r WHERE r.procedure_id = u.procedure_id AND r.{field} IS NOT NULL)",
}
_BESIDE = """
last_placement AS (
    SELECT * FROM main.targeting
    QUALIFY row_number() OVER (PARTITION BY procedure_id ORDER BY attempt DESC) = 1
),
current_report AS (
    SELECT * FROM main.pathology
    WHERE status <> 'preliminary' AND reported_on <= CAST($as_of AS DATE)
    QUALIFY row_number() OVER (PARTITION BY report_id, procedure_id, specimen_id ORDER BY version DESC) = 1
        AND status <> 'retracted'
)
"""


@dataclass(frozen=True)
class FieldFilled:
    """One field or record: filled in ``x`` of ``n`` procedures of which it is expected.

    Wilson limits. ``recent`` and ``before`` are (x, n) of the last twelve months up to the
    as-of date and of the twelve before; ``difference`` is recent minus before with Newcombe's
    limits. All None where there is nothing to divide by or n is below the minimum.
    """

    table: str
    words: str
    x: int
    n: int
    proportion: float | None
    lower: float | None
    upper: float | None
    recent: tuple[int, int]
    before: tuple[int, int]
    difference: float | None
    difference_lower: float | None
    difference_upper: float | None


def completeness(
    registry: Reader, *, as_of: date, start: date | None = None, end: date | None = None
) -> pl.DataFrame:
    """Expected and filled fields by site and month of the procedure.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Nothing dated after this day counts; what is due is due on it.
    start, end
        First and last day on which a procedure started, both included.

    Returns
    -------
    DataFrame
        table, words, site, month (its first day), expected, filled: counts of procedures.
        Fields in the order of the list of expected fields, whole records first.
    """
    require(Action.FIGURES, registry)
    lines = [(table, words, when, has) for table, words, when, has in _RECORDS]
    for one in expected_fields():
        table = one["table"]
        when = f'"{one["when"]}" AND {_HAS[table]}' if table in _HAS else f'"{one["when"]}"'
        lines.append((table, one["words"], when, _WHERE_FILLED[table].format(field=one["field"])))
    parts = [
        f"SELECT {place} AS place, site, month, count(*) FILTER (WHERE {when}) AS expected, "
        f"count(*) FILTER (WHERE ({when}) AND {filled}) AS filled FROM unit AS u GROUP BY site, month"
        for place, (_, _, when, filled) in enumerate(lines)
    ]
    sql = (
        f"WITH unit AS (\n{files()['completeness'].sql}\n),{_BESIDE}\n"
        f"SELECT * FROM ({' UNION ALL '.join(parts)}) AS counted ORDER BY place, site, month"
    )
    bounds = {"as_of": as_of, "start": start or FIRST_DAY, "end": min(end or as_of, as_of)}
    with facts.at(registry, as_of) as cursor:
        rows = store.frame(cursor, sql, bounds)
    place = pl.col("place").cast(pl.Int64)
    return rows.with_columns(
        place.replace_strict({i: one[0] for i, one in enumerate(lines)}, return_dtype=pl.String).alias(
            "table"
        ),
        place.replace_strict({i: one[1] for i, one in enumerate(lines)}, return_dtype=pl.String).alias(
            "words"
        ),
    ).select("table", "words", "site", "month", "expected", "filled")


def by_field(
    counted: pl.DataFrame,
    *,
    as_of: date,
    site: str | None = None,
    minimum: int = 10,
    confidence: float = 0.95,
) -> tuple[FieldFilled, ...]:
    """Each field over all months, and the last twelve months against the twelve before.

    Parameters
    ----------
    counted
        As :func:`completeness` gives it.
    as_of
        Last day of the last twelve months; months are whole, by their first day.
    site
        Only this site; None for all.
    minimum
        Smallest number of procedures for which a proportion is given.
    confidence
        Two-sided, of both intervals.
    """
    rows = counted if site is None else counted.filter(pl.col("site") == site)
    recent = first_day(as_of).replace(day=1) if first_day(as_of).day == 1 else _next_month(first_day(as_of))
    before = recent.replace(year=recent.year - 1)
    month = pl.col("month")
    made = []
    for (table, words), own in rows.group_by(["table", "words"], maintain_order=True):
        x, n = _sum(own)
        now = _sum(own.filter(month >= recent))
        then = _sum(own.filter((month >= before) & (month < recent)))
        lower, upper = wilson_interval(x, n, confidence) if n >= minimum else (None, None)
        apart: tuple[float | None, float | None, float | None] = (None, None, None)
        if min(now[1], then[1]) >= minimum:
            found = newcombe_difference(*now, *then, confidence)
            apart = (found.diff, *found)
        made.append(
            FieldFilled(
                str(table), str(words), x, n, x / n if n >= minimum else None, lower, upper, now, then, *apart
            )
        )
    return tuple(made)


def by_month(counted: pl.DataFrame, *, site: str | None = None, months: int = 24) -> pl.DataFrame:
    """Each field by month, the last so many months that have procedures.

    Parameters
    ----------
    counted
        As :func:`completeness` gives it.
    site
        Only this site; None for all.
    months
        How many months, 1 or more.

    Returns
    -------
    DataFrame
        words, month (YYYY-MM), expected, filled, missing: share not filled, null where
        nothing is expected.
    """
    rows = counted if site is None else counted.filter(pl.col("site") == site)
    kept = rows.get_column("month").unique().sort().tail(months).to_list()
    return (
        rows.filter(pl.col("month").is_in(kept))
        .group_by("words", "month", maintain_order=True)
        .agg(pl.col("expected").sum(), pl.col("filled").sum())
        .with_columns(
            pl.col("month").dt.strftime("%Y-%m"),
            pl.when(pl.col("expected") > 0).then(1 - pl.col("filled") / pl.col("expected")).alias("missing"),
        )
    )


def _next_month(day: date) -> date:
    return date(day.year + day.month // 12, day.month % 12 + 1, 1)


def _sum(rows: pl.DataFrame) -> tuple[int, int]:
    return int(rows.get_column("filled").sum()), int(rows.get_column("expected").sum())
