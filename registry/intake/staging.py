"""Staging: received text becomes typed temporary tables, joined with what is stored.

For each table of a batch there is ``staged_<table>``: one row per received row, its
fields typed, empty fields filled from the stored row of the same key ("an empty cell
says nothing"), and the flags ``is_new`` and ``is_changed``. Rows that are held are
deleted from it, so what is left at the end is what will be written.
``identified_patients`` and ``identified_procedures`` are the same rows with birth date, accession
number and stated age, which the clinical tables do not hold or hold otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from registry.dictionary import KEYS, TABLE_ORDER, Table, stored_columns, tables
from registry.intake.cells import (
    ERASE,
    Cell,
    cell,
    day_offset,
    explain,
    in_steps,
    moment_of,
    sql_type,
    without_offset,
)
from registry.intake.problems import HOLD, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable

    import duckdb

    from registry.site import Site


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


def _joins(cells: list[Cell], present: set[str]) -> str:
    parts = []
    for one in cells:
        if one.extra is None or one.name not in present:
            continue
        column = f'r."{one.name}"'
        parts.append(
            f"LEFT JOIN zone_moment AS moment_{one.name} ON moment_{one.name}.moment = {moment_of(column)} "
            f"AND {day_offset(column)} IS NULL AND {without_offset(column)}"
        )
    return " ".join(parts)


def _cells(table: Table, present: set[str], site: Site, moments: bool) -> list[Cell]:
    return [
        cell(field, f'r."{field.name}"', site, moments=moments)
        for field in table.fields
        if field.name in present and field.name != "patient_id"
    ]


def take_erased(table: Table, frame: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, list[int]]]:
    """Frame without the erase word, and the rows in which it stood, by field."""
    erased: dict[str, list[int]] = {}
    for field in table.fields:
        if field.name in frame.columns and field.name not in table.key:
            found = frame.filter(pl.col(field.name) == ERASE)["_row"]
            if len(found):
                erased[field.name] = found.to_list()
                frame = frame.with_columns(
                    pl.when(pl.col(field.name) == ERASE)
                    .then(None)
                    .otherwise(pl.col(field.name))
                    .alias(field.name)
                )
    return frame, erased


@dataclass(frozen=True)
class Typed:
    """A query over received text: its columns in staging order, and when a row is bad."""

    cells: list[Cell]
    columns: dict[str, str]
    bad: str
    joins: str

    def source(self, rows: str) -> str:
        """What the query reads: the text of ``rows`` as ``r``, and what is joined with it."""
        return f"{in_steps(rows, self.cells)} AS r {self.joins}"


def typed_columns(table: Table, present: set[str], site: Site, *, joined: bool = True) -> Typed:
    """The typed columns of a table whose text stands in the relation ``r``.

    With ``joined`` the pseudonyms of patients and the moments of days when clocks change are
    looked up in relations beside it; without, ``r._patient`` holds the pseudonym and such
    moments are left open.
    """
    cells = _cells(table, present, site, joined)
    by_name = {one.name: one for one in cells}
    columns, joins = {}, _joins(cells, present) if joined else ""
    patient = "k.patient" if joined else "r._patient"
    for field in table.fields:
        made = by_name.get(field.name)
        if field.name == "patient_id":
            columns["patient"] = patient if "patient_id" in present else "CAST(NULL AS VARCHAR)"
            continue
        columns[field.name] = made.typed if made else f"CAST(NULL AS {sql_type(field)})"
        if field.type == "timestamp":
            offset = made.extra[1] if made and made.extra else "NULL"
            columns[f"{field.name}_offset_min"] = f"CAST({offset} AS SMALLINT)"
    if joined and "patient_id" in present:
        joins = f'LEFT JOIN patient_key AS k ON k.patient_id = r."patient_id" {joins}'
    bad = " OR ".join(one.fails for one in cells) or "false"
    return Typed(cells, columns, bad, joins)


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
    typed = typed_columns(table, present, site)
    columns = dict(typed.columns)
    if table.name == "procedures":
        # The age that a row states is compared with the birth date; one filled in from
        # the stored row is not.
        columns["is_stated_age"] = f"({columns['age_years']}) IS NOT NULL"
    listed = ", ".join(f"{value} AS {name}" for name, value in columns.items())
    select = (
        f"SELECT CAST(r._row AS INTEGER) AS row_no, {listed}, ({typed.bad}) AS bad "
        f"FROM {typed.source(f'received_{table.name}')}"
    )
    if has_rows(cursor, f"main.{table.name}"):
        _merge(cursor, table, select, erased or {})
    else:
        cursor.execute(
            f"CREATE OR REPLACE TEMP TABLE staged_{table.name} AS "
            f"SELECT *, true AS is_new, false AS is_changed FROM ({select})"
        )
    if table.name in ("patients", "procedures"):
        cursor.execute(
            f"CREATE OR REPLACE TEMP VIEW identified_{table.name} AS SELECT * FROM staged_{table.name}"
        )
    return _cell_problems(cursor, table, typed.cells, site)


def _apart_joins(table: Table) -> dict[str, tuple[str, str]]:
    """Identifiers kept apart: column -> (join with what identity.duckdb holds, value)."""
    if table.name == "patients":
        return {"birth_date": ("LEFT JOIN stored_birth AS b ON b.patient = c.patient", "b.birth_date")}
    if table.name == "procedures":
        return {
            "accession": ("LEFT JOIN stored_accession AS b ON b.procedure_id = c.procedure_id", "b.accession")
        }
    return {}


def _merge(
    cursor: duckdb.DuckDBPyConnection, table: Table, select: str, erased: dict[str, list[int]]
) -> None:
    """Fill what the batch does not state from the stored rows; flag new and changed ones."""
    name, columns, apart = table.name, stored_columns(table), _apart_joins(table)
    values, changes = [], []
    for column in columns:
        base = column.removesuffix("_offset_min")
        if column.endswith("_offset_min") and base in table.names:
            merged = f"CASE WHEN c.{base} IS NULL THEN s.{column} ELSE c.{column} END"
        else:
            merged = f"coalesce(c.{column}, s.{column})"
        merged = _unless_erased(merged, erased.get(base))
        values.append(f"{merged} AS {column}")
        changes.append(f"({merged}) IS DISTINCT FROM s.{column}")
    for column, (_, stored) in apart.items():
        merged = _unless_erased(f"coalesce(c.{column}, {stored})", erased.get(column))
        values.append(f"{merged} AS {column}")
        changes.append(f"({merged}) IS DISTINCT FROM {stored}")
    if name == "procedures":
        values.append("c.is_stated_age")
    joins = " ".join(join for join, _ in apart.values())
    known = f"s.{columns[0]} IS NOT NULL"
    cursor.execute(
        f"CREATE OR REPLACE TEMP TABLE staged_{name} AS SELECT c.row_no, {', '.join(values)}, c.bad, "
        f"NOT ({known}) AS is_new, {known} AND ({' OR '.join(changes)}) AS is_changed "
        f"FROM ({select}) AS c LEFT JOIN main.{name} AS s ON {same_key(name, 'c', 's')} {joins}"
    )


def _unless_erased(merged: str, rows: list[int] | None) -> str:
    if not rows:
        return merged
    return f"CASE WHEN c.row_no IN ({', '.join(str(int(row)) for row in rows)}) THEN NULL ELSE {merged} END"


def explain_rows(
    cursor: duckdb.DuckDBPyConnection, table: Table, present: set[str], site: Site
) -> list[Problem]:
    """Problems of the cells of ``received_<table>``, staged on the side for that."""
    typed = typed_columns(table, present, site)
    listed = ", ".join(f"{value} AS {name}" for name, value in typed.columns.items())
    cursor.execute(
        f"CREATE OR REPLACE TEMP TABLE explained AS SELECT CAST(r._row AS INTEGER) AS row_no, {listed}, ({typed.bad}) AS bad "
        f"FROM {typed.source(f'received_{table.name}')}"
    )
    found = _cell_problems(cursor, table, typed.cells, site, "explained")
    cursor.execute("DROP TABLE explained")
    return found


def _cell_problems(
    cursor: duckdb.DuckDBPyConnection, table: Table, cells: list[Cell], site: Site, relation: str = ""
) -> list[Problem]:
    """Every failed cell of the rows that failed, and required fields left empty."""
    name, problems = table.name, []
    staged = relation or f"staged_{name}"
    if cells and cursor.execute(f"SELECT 1 FROM {staged} WHERE bad LIMIT 1").fetchall():
        tests = ", ".join(f'CASE WHEN {one.fails} THEN r."{one.name}" END' for one in cells)
        rows = cursor.execute(
            f"SELECT r._row, {tests} FROM {in_steps(f'received_{name}', cells)} AS r {_joins(cells, {one.name for one in cells})} "
            f"WHERE r._row IN (SELECT row_no FROM {staged} WHERE bad) ORDER BY r._row"
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
            empty = cursor.execute(f"SELECT row_no FROM {staged} WHERE {column} IS NULL").fetchall()
            problems += [
                Problem(
                    name,
                    row_no,
                    field.name,
                    "required",
                    HOLD,
                    f"{field.name} is empty and is required.",
                    "Fill it in.",
                )
                for (row_no,) in empty
                if (row_no, field.name) not in failed
            ]
    return problems


def tables_of_batch(names: Iterable[str]) -> list[Table]:
    """The batch's tables, parents before children."""
    wanted = set(names)
    return [tables()[name] for name in TABLE_ORDER if name in wanted]
