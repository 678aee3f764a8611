"""Staging: received text becomes typed temporary tables, joined with what is stored.

For each table of a batch there is ``staged_<table>``: one row per received row, its
fields typed, empty fields filled from the stored row of the same key ("an empty cell
says nothing"), and the flags ``is_new`` and ``is_changed``. Rows that are held are
deleted from it, so what is left at the end is what will be written.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from registry.dictionary import IDENTIFYING, KEYS, TABLE_ORDER, Table, tables
from registry.intake import zone
from registry.intake.cells import ERASE, Cell, cell, explain, sql_type
from registry.intake.problems import HOLD, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable

    import duckdb

    from registry.site import Site


def stored_columns(table: Table) -> list[str]:
    """Columns of a clinical table that a row states, in dictionary order, offsets included."""
    columns = []
    for field in table.fields:
        if field.name == "patient_id":
            columns.append("patient")
        elif (table.name, field.name) not in IDENTIFYING:
            columns.append(field.name)
            if field.type == "timestamp":
                columns.append(f"{field.name}_offset_min")
    return columns


def staged_columns(table: Table) -> list[str]:
    """Columns of the staging table: the stored ones and the identifiers sent apart."""
    apart = [f.name for f in table.fields if (table.name, f.name) in IDENTIFYING and f.name != "patient_id"]
    return stored_columns(table) + apart


def key_columns(table: str) -> tuple[str, ...]:
    """Key columns as stored: the pseudonym in place of the patient identifier."""
    return tuple("patient" if name == "patient_id" else name for name in KEYS[table])


def same_key(table: str, left: str, right: str) -> str:
    """Join condition on the key; the container of a report may be empty on both sides."""
    tests = []
    for name in key_columns(table):
        if name == "specimen_id" and table == "pathology":
            tests.append(f"coalesce({left}.{name}, '') = coalesce({right}.{name}, '')")
        else:
            tests.append(f"{left}.{name} = {right}.{name}")
    return " AND ".join(tests)


def has_rows(cursor: duckdb.DuckDBPyConnection, relation: str) -> bool:
    """Whether a table holds anything; relation names come from the program."""
    return bool(cursor.execute(f"SELECT 1 FROM {relation} LIMIT 1").fetchall())


def prepare_zone(cursor: duckdb.DuckDBPyConnection, site: Site, columns: Iterable[str]) -> None:
    """Make ``zone_day`` and ``zone_moment`` for the times of the batch.

    Parameters
    ----------
    columns
        Query texts that yield one text column of times each.
    """
    years: set[int] = set()
    moments: list[tuple[Any, int | None, str | None]] = []
    texts = list(columns)
    for text in texts:
        found = cursor.execute(f"SELECT DISTINCT TRY_CAST(substr(moment, 1, 4) AS INTEGER) FROM ({text}) AS q(moment)").fetchall()
        years.update(year for (year,) in found if year is not None and 1900 <= year <= 2200)
    days = [row for year in sorted(years) for row in zone.day_offsets(site.time_zone, year)]
    changing = [day for day, offset in days if offset is None]
    if changing:
        listed = ", ".join(f"'{day.isoformat()}'" for day in changing)
        for text in texts:
            found = cursor.execute(
                f"SELECT DISTINCT TRY_CAST(moment AS TIMESTAMP) FROM ({text}) AS q(moment) "
                f"WHERE substr(moment, 1, 10) IN ({listed}) AND strlen(moment) <= 19"
            ).fetchall()
            moments += [(m, *zone.moment_offset(site.time_zone, m)) for (m,) in found if m is not None]
    day_frame = pl.DataFrame(
        {"day": [d for d, _ in days], "offset_min": [o for _, o in days]},
        schema={"day": pl.Date, "offset_min": pl.Int16},
    ).drop_nulls()
    moment_frame = pl.DataFrame(
        sorted(set(moments), key=str), schema={"moment": pl.Datetime("us"), "offset_min": pl.Int16, "problem": pl.String}, orient="row"
    )
    for name, made in (("zone_day", day_frame), ("zone_moment", moment_frame)):
        cursor.register(f"made_{name}", made.to_arrow())
        cursor.execute(f"CREATE OR REPLACE TEMP TABLE {name} AS SELECT * FROM made_{name}")
        cursor.unregister(f"made_{name}")


def _joins(cells: list[Cell], present: set[str]) -> str:
    parts = []
    for one in cells:
        if one.extra is None or one.name not in present:
            continue
        column = f'r."{one.name}"'
        parts.append(
            f"LEFT JOIN zone_day AS day_{one.name} ON day_{one.name}.day = TRY_CAST(substr({column}, 1, 10) AS DATE) "
            f"LEFT JOIN zone_moment AS moment_{one.name} ON moment_{one.name}.moment = TRY_CAST({column} AS TIMESTAMP) "
            f"AND day_{one.name}.day IS NULL"
        )
    return " ".join(parts)


def _cells(table: Table, present: set[str], site: Site) -> list[Cell]:
    return [cell(field, f'r."{field.name}"', site) for field in table.fields if field.name in present and field.name != "patient_id"]


def take_erased(table: Table, frame: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, list[int]]]:
    """Frame without the erase word, and the rows in which it stood, by field."""
    erased: dict[str, list[int]] = {}
    for field in table.fields:
        if field.name in frame.columns and field.name not in table.key:
            found = frame.filter(pl.col(field.name) == ERASE)["_row"]
            if len(found):
                erased[field.name] = found.to_list()
                frame = frame.with_columns(
                    pl.when(pl.col(field.name) == ERASE).then(None).otherwise(pl.col(field.name)).alias(field.name)
                )
    return frame, erased


def stage(
    cursor: duckdb.DuckDBPyConnection,
    table: Table,
    present: set[str],
    site: Site,
    erased: dict[str, list[int]] | None = None,
) -> list[Problem]:
    """Make ``staged_<table>`` and return the problems of its cells.

    ``received_<table>`` must be registered with the text columns ``present`` and
    ``_row``; ``patient_key`` (patient_id, patient) must exist for patients and
    findings. ``erased`` names the rows in which a field is to be emptied.
    """
    cells = _cells(table, present, site)
    by_name = {one.name: one for one in cells}
    typed, offsets = [], []
    for field in table.fields:
        if field.name == "patient_id":
            typed.append("k.patient AS patient" if "patient_id" in present else "CAST(NULL AS VARCHAR) AS patient")
            continue
        made = by_name.get(field.name)
        typed.append(f"{made.typed if made else f'CAST(NULL AS {sql_type(field)})'} AS {field.name}")
        if field.type == "timestamp":
            value = made.extra[1] if made and made.extra else "NULL"
            offsets.append(f"CAST({value} AS SMALLINT) AS {field.name}_offset_min")
    bad = " OR ".join(one.fails for one in cells) or "false"
    keys = ' LEFT JOIN patient_key AS k ON k.patient_id = r."patient_id"' if "patient_id" in present else ""
    if table.name == "procedures":
        # The age that a row states is compared with the birth date; one filled in from
        # the stored row is not.
        offsets.append(f"{by_name['age_years'].typed if 'age_years' in by_name else 'NULL'} IS NOT NULL AS is_stated_age")
    select = (
        f"SELECT CAST(r._row AS INTEGER) AS row_no, {', '.join(typed + offsets)}, ({bad}) AS bad "
        f"FROM received_{table.name} AS r{keys} {_joins(cells, present)}"
    )
    if has_rows(cursor, f"main.{table.name}"):
        _merge(cursor, table, select, erased or {})
    else:
        cursor.execute(
            f"CREATE OR REPLACE TEMP TABLE staged_{table.name} AS "
            f"SELECT *, true AS is_new, false AS is_changed FROM ({select})"
        )
    return _cell_problems(cursor, table, cells, site)


def _apart_joins(table: Table) -> dict[str, tuple[str, str]]:
    """Identifiers kept apart: column -> (join with what identity.duckdb holds, value)."""
    if table.name == "patients":
        return {"birth_date": ("LEFT JOIN stored_birth AS b ON b.patient = c.patient", "b.birth_date")}
    if table.name == "procedures":
        return {"accession": ("LEFT JOIN stored_accession AS b ON b.procedure_id = c.procedure_id", "b.accession")}
    return {}


def _merge(cursor: duckdb.DuckDBPyConnection, table: Table, select: str, erased: dict[str, list[int]]) -> None:
    """Fill what the batch does not state from the stored rows; flag new and changed ones."""
    name, columns, apart = table.name, stored_columns(table), _apart_joins(table)
    values, changes = [], []
    for column in columns:
        base = column.removesuffix("_offset_min")
        if column.endswith("_offset_min") and base in table.names:
            merged = f"CASE WHEN c.{base} IS NULL THEN s.{column} ELSE c.{column} END"
        else:
            merged = f"coalesce(c.{column}, s.{column})"
        if base in erased:
            rows = ", ".join(str(int(row)) for row in erased[base])
            merged = f"CASE WHEN c.row_no IN ({rows}) THEN NULL ELSE {merged} END"
        values.append(f"{merged} AS {column}")
        changes.append(f"({merged}) IS DISTINCT FROM s.{column}")
    for column, (_, stored) in apart.items():
        values.append(f"coalesce(c.{column}, {stored}) AS {column}")
        changes.append(f"(c.{column} IS NOT NULL AND c.{column} IS DISTINCT FROM {stored})")
    if name == "procedures":
        values.append("c.is_stated_age")
    joins = " ".join(join for join, _ in apart.values())
    known = f"s.{columns[0]} IS NOT NULL"
    cursor.execute(
        f"CREATE OR REPLACE TEMP TABLE staged_{name} AS SELECT c.row_no, {', '.join(values)}, c.bad, "
        f"NOT ({known}) AS is_new, {known} AND ({' OR '.join(changes)}) AS is_changed "
        f"FROM ({select}) AS c LEFT JOIN main.{name} AS s ON {same_key(name, 'c', 's')} {joins}"
    )


def _cell_problems(cursor: duckdb.DuckDBPyConnection, table: Table, cells: list[Cell], site: Site) -> list[Problem]:
    """Every failed cell of the rows that failed, and required fields left empty."""
    name, problems = table.name, []
    if cells and cursor.execute(f"SELECT 1 FROM staged_{name} WHERE bad LIMIT 1").fetchall():
        tests = ", ".join(f'CASE WHEN {one.fails} THEN r."{one.name}" END' for one in cells)
        rows = cursor.execute(
            f"SELECT r._row, {tests} FROM received_{name} AS r {_joins(cells, {one.name for one in cells})} "
            f"WHERE r._row IN (SELECT row_no FROM staged_{name} WHERE bad) ORDER BY r._row"
        ).fetchall()
        for row_no, *texts in rows:
            for one, text in zip(cells, texts, strict=True):
                if text is not None:
                    rule, message, hint = explain(table[one.name], text, site)
                    problems.append(Problem(name, row_no, one.name, rule, HOLD, message, hint))
    failed = {(problem.row_no, problem.column) for problem in problems}
    for field in table.fields:
        if field.always_required:
            column = "patient" if field.name == "patient_id" else field.name
            empty = cursor.execute(f"SELECT row_no FROM staged_{name} WHERE {column} IS NULL").fetchall()
            problems += [
                Problem(name, row_no, field.name, "required", HOLD, f"{field.name} is empty and is required.", "Fill it in.")
                for (row_no,) in empty
                if (row_no, field.name) not in failed
            ]
    return problems


def tables_of_batch(names: Iterable[str]) -> list[Table]:
    """The batch's tables, parents before children."""
    wanted = set(names)
    return [tables()[name] for name in TABLE_ORDER if name in wanted]
