"""Times of a batch: the offset of each day at the site, and the moments that need care.

Most days have one offset. On the days when clocks change each moment is looked up by
itself, and one that occurs twice or never is a problem of its row.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import polars as pl

from registry.intake import zone
from registry.intake.cells import explain, without_offset
from registry.intake.problems import HOLD, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable

    import duckdb

    from registry.dictionary import Table
    from registry.site import Site


def prepare_zone(cursor: duckdb.DuckDBPyConnection, site: Site, columns: Iterable[str]) -> None:
    """Make ``zone_offset`` and ``zone_moment`` for the times of the batch.

    Parameters
    ----------
    columns
        Query texts that yield one text column of times each.
    """
    years: set[int] = set()
    moments: list[tuple[Any, int | None, str | None]] = []
    texts = list(columns)
    for text in texts:
        found = cursor.execute(
            f"SELECT DISTINCT TRY_CAST(substr(moment, 1, 4) AS INTEGER) FROM ({text}) AS q(moment)"
        ).fetchall()
        years.update(year for (year,) in found if year is not None and 1900 <= year <= 2200)
    days = _days(site, range(min(years), max(years) + 1)) if years else []
    changing = [day for day, offset in days if offset is None]
    if changing:
        listed = ", ".join(f"'{day.isoformat()}'" for day in changing)
        for text in texts:
            found = cursor.execute(
                f"SELECT DISTINCT TRY_CAST(moment AS TIMESTAMP) FROM ({text}) AS q(moment) "
                f"WHERE substr(moment, 1, 10) IN ({listed}) AND {without_offset('moment')}"
            ).fetchall()
            moments += [(m, *zone.moment_offset(site.time_zone, m)) for (m,) in found if m is not None]
    _make_zone(cursor, days, moments)


def _make_zone(
    cursor: duckdb.DuckDBPyConnection,
    days: list[tuple[Any, int | None]],
    moments: list[tuple[Any, int | None, str | None]],
) -> None:
    moment_frame = pl.DataFrame(
        sorted(set(moments), key=str),
        schema={"moment": pl.Datetime("us"), "offset_min": pl.Int16, "problem": pl.String},
        orient="row",
    )
    cursor.register("made_zone_moment", moment_frame.to_arrow())
    cursor.execute("CREATE OR REPLACE TEMP TABLE zone_moment AS SELECT * FROM made_zone_moment")
    cursor.unregister("made_zone_moment")
    cursor.execute(f"CREATE OR REPLACE TEMP MACRO zone_offset(day) AS {_spells(days)}")


def _spells(days: list[tuple[Any, int | None]]) -> str:
    """Offset of ``day``: a choice among the spells between changes of the clocks, the latest first.

    No table, as a join would give the rows in another order, and sorting them again costs more
    than reading them; no list by day, as the engine would copy it for every few rows. ``day``
    is put in many times over: it must be a column.
    """
    if not days:
        return "CAST(NULL AS SMALLINT)"
    begins = [days[0], *(now for before, now in pairwise(days) if before[1] != now[1])]
    branches = " ".join(
        f"WHEN day >= DATE '{first.isoformat()}' THEN {'NULL' if offset is None else int(offset)}"
        for first, offset in reversed(begins)
    )
    return f"CAST(CASE WHEN day > DATE '{days[-1][0].isoformat()}' THEN NULL {branches} END AS SMALLINT)"


def _days(site: Site, years: range) -> list[tuple[Any, int | None]]:
    return [row for year in years for row in zone.day_offsets(site.time_zone, year)]


def usual_zone(cursor: duckdb.DuckDBPyConnection, site: Site, last_year: int, years: int = 40) -> None:
    """``zone_offset`` for the years that a file can be expected to hold; no single moments.

    What it does not cover is left open and settled by :func:`settle_times`.
    """
    _make_zone(cursor, _days(site, range(last_year - years, last_year + 2)), [])


def settle_times(cursor: duckdb.DuckDBPyConnection, table: Table, site: Site) -> list[Problem]:
    """Offsets of the moments that were left open in a table read in place.

    Those are times on days when clocks change, and on days outside the usual years.
    """
    problems = []
    for field in table.fields:
        if field.type != "timestamp":
            continue
        column = field.name
        open_rows = f"{column} IS NOT NULL AND {column}_offset_min IS NULL"
        found = cursor.execute(
            f"SELECT DISTINCT {column} FROM main.{table.name} WHERE {open_rows} AND batch_id > 0"
        ).fetchall()
        for (moment,) in found:
            offset, problem = zone.moment_offset(site.time_zone, moment)
            if problem is None:
                cursor.execute(
                    f"UPDATE main.{table.name} SET {column}_offset_min = ? WHERE {open_rows} AND {column} = ?",
                    [offset, moment],
                )
                continue
            rows = cursor.execute(
                f"SELECT row_no FROM staged_{table.name} WHERE {column} = ? AND {column}_offset_min IS NULL",
                [moment],
            ).fetchall()
            rule, message, hint = explain(field, moment.isoformat(timespec="minutes"), site)
            problems += [Problem(table.name, row_no, column, rule, HOLD, message, hint) for (row_no,) in rows]
    return problems
