"""Identifiers of a batch into identity.duckdb, before the clinical rows are written.

The identity database has its own transaction. If the clinical one then fails, the
identifiers stay behind without effect: the next import finds them under the same
pseudonym.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from registry.store import frame

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import duckdb

    from registry.intake.write import Stamp

_TABLES = {
    "patient_identity": ("patient", ("patient_id", "birth_date")),
    "procedure_accession": ("procedure_id", ("accession", "patient")),
}


def _upsert(identity: duckdb.DuckDBPyConnection, table: str, rows: pl.DataFrame, stamp: Stamp) -> None:
    """Insert new identifiers, keep replaced ones in the table's history.

    ``erased`` marks rows whose birth date or accession number is taken away.
    """
    key, columns = _TABLES[table]
    identity.register("incoming", rows.to_arrow())
    names = ", ".join((key, *columns))
    changed = " OR ".join(f"(i.{c} IS NOT NULL AND i.{c} IS DISTINCT FROM t.{c})" for c in columns)
    emptied = "birth_date" if table == "patient_identity" else "accession"
    changed += f" OR (i.erased AND t.{emptied} IS NOT NULL)"
    stale = f"SELECT t.{key} FROM {table} AS t JOIN incoming AS i ON i.{key} = t.{key} WHERE {changed}"
    if identity.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchall():
        identity.execute(f"CREATE OR REPLACE TEMP TABLE stale AS {stale}")
        merged = ", ".join(
            f"CASE WHEN i.erased AND '{c}' = '{emptied}' THEN NULL ELSE coalesce(i.{c}, t.{c}) END AS {c}"
            for c in columns
        )
        identity.execute(
            f"CREATE OR REPLACE TEMP TABLE merged AS SELECT t.{key}, {merged} FROM {table} AS t "
            f"JOIN incoming AS i ON i.{key} = t.{key} WHERE t.{key} IN (SELECT {key} FROM stale)"
        )
        identity.execute(
            f"INSERT INTO {table}_history SELECT {names}, recorded_at, author, batch_id, ? FROM {table} WHERE {key} IN (SELECT {key} FROM stale)",
            [stamp.at],
        )
        identity.execute(f"DELETE FROM {table} WHERE {key} IN (SELECT {key} FROM stale)")
        # Without its accession number a procedure has no row here.
        identity.execute(
            f"INSERT INTO {table} SELECT {names}, ?, ?, ? FROM merged WHERE {columns[0]} IS NOT NULL",
            [stamp.at, stamp.author, stamp.batch_id],
        )
    identity.execute(
        f"INSERT INTO {table} SELECT {names}, ?, ?, ? FROM incoming AS i "
        f"WHERE {columns[0]} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {table} AS t WHERE t.{key} = i.{key})",
        [stamp.at, stamp.author, stamp.batch_id],
    )
    identity.unregister("incoming")


def _is_erased(erased: Mapping[str, Mapping[str, Sequence[int]]], table: str, field: str) -> str:
    """Condition that a staged row ``s`` empties an identifier."""
    rows = erased.get(table, {}).get(field, ())
    return f"s.row_no IN ({', '.join(str(int(row)) for row in rows)})" if rows else "false"


def write(
    cursor: duckdb.DuckDBPyConnection,
    identity: duckdb.DuckDBPyConnection,
    names: set[str],
    held: pl.DataFrame,
    stamp: Stamp,
    erased: Mapping[str, Mapping[str, Sequence[int]]],
) -> None:
    """Store the identifiers of the accepted rows and the cells of the held ones.

    Parameters
    ----------
    cursor
        The registry's cursor, with the staging tables of the batch.
    identity
        A cursor on identity.duckdb.
    names
        Tables of the batch.
    held
        Held rows: quarantine_id and cells (JSON).
    erased
        Rows in which a field is to be emptied, by table and field.
    """
    identity.execute("BEGIN")
    try:
        if "patients" in names:
            rows = frame(
                cursor,
                f"SELECT s.patient, k.patient_id, s.birth_date, {_is_erased(erased, 'patients', 'birth_date')} AS erased "
                "FROM identified_patients AS s JOIN patient_key AS k ON k.patient = s.patient",
            )
            _upsert(identity, "patient_identity", rows, stamp)
        if "procedures" in names:
            is_erased = _is_erased(erased, "procedures", "accession")
            rows = frame(
                cursor,
                f"SELECT s.procedure_id, s.accession, f.patient, {is_erased} AS erased FROM identified_procedures AS s "
                f"JOIN known_findings AS f ON f.finding_id = s.finding_id WHERE s.accession IS NOT NULL OR {is_erased}",
            )
            if rows.height:
                _upsert(identity, "procedure_accession", rows, stamp)
        if held.height:
            identity.register("incoming_held", held.to_arrow())
            identity.execute("INSERT INTO held_row SELECT quarantine_id, cells FROM incoming_held")
            identity.unregister("incoming_held")
        identity.execute("COMMIT")
    except BaseException:
        identity.execute("ROLLBACK")
        raise
