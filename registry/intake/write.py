"""Writing an accepted batch: history, current rows, roots, digests, facts, trail.

All of it happens inside the caller's transaction.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Any

from registry import __version__, audit
from registry.dictionary import KEYS, TABLE_ORDER, Table, stored_columns, tables
from registry.intake.staging import has_rows, same_key

if TYPE_CHECKING:
    from datetime import datetime

    import duckdb

    from registry.store import Registry

#: Columns that every clinical row carries beside its fields.
SYSTEM_COLUMNS = ("recorded_at", "author", "batch_id")


@dataclass(frozen=True)
class Stamp:
    """Who records what when: the same for all rows of a batch."""

    at: datetime
    author: str
    batch_id: int
    reason: str = "import"


def digest_columns(table: Table) -> list[str]:
    """Columns bound into the content digest; root_id is derived and left out."""
    return [*stored_columns(table), *SYSTEM_COLUMNS]


def _digest(columns: list[str], relation: str, where: str = "true") -> str:
    listed = ", ".join(columns)
    return f"SELECT count(*), coalesce(sum(CAST(hash({listed}) AS HUGEINT)), 0) FROM {relation} WHERE {where}"


def table_digest(cursor: duckdb.DuckDBPyConnection, table: Table, schema: str = "main") -> tuple[int, int]:
    """Rows and content digest of a table as it stands: the sum of its row hashes."""
    columns = digest_columns(table)
    if schema == "history":
        columns = [*columns, "superseded_at", "superseded_by", "superseded_reason"]
    count, digest = cursor.execute(_digest(columns, f"{schema}.{table.name}")).fetchall()[0]
    return int(count), int(digest)


def _add_state(cursor: duckdb.DuckDBPyConnection, name: str, rows: int, digest: int) -> None:
    if not cursor.execute("SELECT 1 FROM table_state WHERE table_name = ?", [name]).fetchall():
        cursor.execute("INSERT INTO table_state VALUES (?, 0, 0)", [name])
    cursor.execute(
        "UPDATE table_state SET row_count = row_count + ?, digest = digest + CAST(? AS HUGEINT) WHERE table_name = ?",
        [rows, str(digest), name],
    )


def _values(table: Table) -> str:
    """Fields as they are stored; the age comes from the birth date where one is known."""
    columns = [f"s.{name}" for name in stored_columns(table)]
    if table.name == "procedures":
        place = columns.index("s.age_years")
        columns[place] = "coalesce(date_sub('year', b.birth_date, CAST(s.started_at AS DATE)), s.age_years)"
    return ", ".join(columns)


def _source(table: Table) -> str:
    source = f"staged_{table.name} AS s"
    if table.name == "procedures":
        source += " LEFT JOIN known_findings AS f ON f.finding_id = s.finding_id LEFT JOIN known_birth AS b ON b.patient = f.patient"
    return source


def write_table(
    cursor: duckdb.DuckDBPyConnection, table: Table, stamp: Stamp, *, in_place: bool = False
) -> None:
    """Insert new rows, move replaced ones to history and put the new versions in place.

    Rows that were read ``in_place`` already lie in the table; only its digest is due.
    """
    name = table.name
    if in_place:
        _add_state(cursor, name, *_batch_digest(cursor, table, stamp))
        return
    new, version = cursor.execute(
        f"SELECT count(*) FILTER (WHERE is_new), count(*) FILTER (WHERE is_changed) FROM staged_{name}"
    ).fetchall()[0]
    if version:
        _to_history(
            cursor,
            table,
            f"EXISTS (SELECT 1 FROM staged_{name} AS s WHERE s.is_changed AND {same_key(name, 'm', 's')})",
            stamp,
        )
    if new or version:
        root = ", root_id" if name == "procedures" else ""
        own = ", s.procedure_id" if name == "procedures" else ""
        cursor.execute(
            f"INSERT INTO main.{name} ({', '.join(stored_columns(table))}{root}, {', '.join(SYSTEM_COLUMNS)}) "
            f"SELECT {_values(table)}{own}, ?, ?, ? FROM {_source(table)} WHERE s.is_new OR s.is_changed",
            [stamp.at, stamp.author, stamp.batch_id],
        )
        _add_state(cursor, name, *_batch_digest(cursor, table, stamp))


def _batch_digest(cursor: duckdb.DuckDBPyConnection, table: Table, stamp: Stamp) -> tuple[int, int]:
    count, digest = cursor.execute(
        _digest(digest_columns(table), f"main.{table.name}", f"batch_id = {int(stamp.batch_id)}")
    ).fetchall()[0]
    return int(count), int(digest)


def _to_history(cursor: duckdb.DuckDBPyConnection, table: Table, where: str, stamp: Stamp) -> None:
    """Move the current rows ``m`` that match to history."""
    name = table.name
    root = ", root_id" if name == "procedures" else ""
    columns = f"{', '.join(stored_columns(table))}{root}, {', '.join(SYSTEM_COLUMNS)}"
    rows, digest = cursor.execute(
        _digest([f"m.{c}" for c in digest_columns(table)], f"main.{name} AS m", where)
    ).fetchall()[0]
    moved = [
        *(f"m.{c}" for c in digest_columns(table)),
        "CAST(? AS TIMESTAMP)",
        "CAST(? AS INTEGER)",
        "CAST(? AS VARCHAR)",
    ]
    ending = [stamp.at, stamp.batch_id, stamp.reason]
    moved_rows, moved_digest = cursor.execute(_digest(moved, f"main.{name} AS m", where), ending).fetchall()[
        0
    ]
    cursor.execute(
        f"INSERT INTO history.{name} ({columns}, superseded_at, superseded_by, superseded_reason) "
        f"SELECT {columns}, ?, ?, ? FROM main.{name} AS m WHERE {where}",
        ending,
    )
    cursor.execute(f"DELETE FROM main.{name} AS m WHERE {where}")
    _add_state(cursor, name, -int(rows), -int(digest))
    _add_state(cursor, f"history.{name}", int(moved_rows), int(moved_digest))


def withdraw_row(cursor: duckdb.DuckDBPyConnection, table: Table, key: tuple[Any, ...], stamp: Stamp) -> int:
    """Take one row out of the current record; it stays in history with the reason.

    Returns
    -------
    int
        Rows withdrawn: 1, or 0 where no such row is current.
    """
    names = ["patient" if name == "patient_id" else name for name in KEYS[table.name]]
    tests = " AND ".join(f"coalesce(CAST(m.{name} AS VARCHAR), '') = ?" for name in names)
    values = ["" if part is None else str(part) for part in key]
    found = cursor.execute(f"SELECT m.rowid FROM main.{table.name} AS m WHERE {tests}", values).fetchall()
    for (rowid,) in found:
        withdraw_at(cursor, table, rowid, stamp)
    return len(found)


def withdraw_at(cursor: duckdb.DuckDBPyConnection, table: Table, row_id: int, stamp: Stamp) -> None:
    """The same for the row with a row id."""
    _to_history(cursor, table, f"m.rowid = {int(row_id)}", stamp)


def blank(
    cursor: duckdb.DuckDBPyConnection, table: Table, columns: list[str], where: str, values: Any
) -> int:
    """Empty some columns of the history rows that match; how many rows said something there.

    The digest of the table moves by what the change itself makes out, so that a value
    changed by another tool before stays as findable as it was.
    """
    name = f"history.{table.name}"
    condition = f"{where} AND ({' OR '.join(f'{one} IS NOT NULL' for one in columns)})"
    rows = [
        row for (row,) in cursor.execute(f"SELECT rowid FROM {name} WHERE {condition}", values).fetchall()
    ]
    if not rows:
        return 0
    _, before = table_digest(cursor, table, "history")
    cursor.execute(
        f"UPDATE {name} SET {', '.join(f'{one} = NULL' for one in columns)} WHERE rowid IN (SELECT unnest(?))",
        [rows],
    )
    _, after = table_digest(cursor, table, "history")
    _add_state(cursor, name, 0, after - before)
    return len(rows)


def record_no_rows(
    registry: Registry,
    cursor: duckdb.DuckDBPyConnection,
    stamp: Stamp,
    *,
    format_: str,
    action: str,
    names: list[str],
    details: dict[str, Any],
) -> None:
    """A batch of no rows, so that every version in history names one; and its entry of the trail."""
    counts = dict.fromkeys(("received", "new", "version", "unchanged", "held"), 0)
    cursor.execute(
        "INSERT INTO import_batch (batch_id, started_at, author, format, files, program, received, resubmitted, "
        "accepted_new, accepted_version, unchanged, held, reason) VALUES (?, ?, ?, ?, ?, ?, 0, 0, 0, 0, 0, 0, ?)",
        [stamp.batch_id, stamp.at, stamp.author, format_, json.dumps([]), __version__, stamp.reason],
    )
    for name in names:
        cursor.execute("INSERT INTO batch_rows VALUES (?, ?, 0, 0, 0, 0, 0)", [stamp.batch_id, name])
    states = {
        name: state
        for name, state in table_states(cursor).items()
        if name.removeprefix("history.") in tables()
    }
    told = {**details, "reason": stamp.reason, "rows": counts, "tables": states}
    entry = audit.Entry(stamp.author, action, "batch", str(stamp.batch_id), told)
    audit.append(cursor, registry.key, registry.clock(), entry)


def next_stamp(registry: Registry, cursor: duckdb.DuckDBPyConnection, author: str, reason: str) -> Stamp:
    """The stamp of a batch of no rows."""
    batch_id = cursor.execute("SELECT coalesce(max(batch_id), 0) + 1 FROM import_batch").fetchall()[0][0]
    return Stamp(registry.clock().astimezone(UTC).replace(tzinfo=None), author, int(batch_id), reason.strip())


def update_roots(cursor: duckdb.DuckDBPyConnection) -> None:
    """Give every procedure of a chain the chain's first procedure as its root.

    A parent always starts earlier than its child, so following the links ends.
    """
    if not cursor.execute("SELECT 1 FROM main.procedures WHERE repeat_of IS NOT NULL LIMIT 1").fetchall():
        return
    # The engine says of an update how many rows it changed.
    while cursor.execute(
        "UPDATE main.procedures AS child SET root_id = parent.root_id FROM main.procedures AS parent "
        "WHERE child.repeat_of IS NOT NULL AND child.repeat_of = parent.procedure_id AND child.root_id <> parent.root_id"
    ).fetchall()[0][0]:
        pass


def correct_ages(cursor: duckdb.DuckDBPyConnection, stamp: Stamp) -> int:
    """New versions of stored procedures whose age a corrected birth date changes."""
    stale = (
        "SELECT p.procedure_id, date_sub('year', b.birth_date, CAST(p.started_at AS DATE)) AS age "
        "FROM main.procedures AS p JOIN main.findings AS f ON f.finding_id = p.finding_id "
        "JOIN staged_patients AS s ON s.patient = f.patient AND s.is_changed "
        "JOIN known_birth AS b ON b.patient = f.patient "
        "WHERE p.age_years IS DISTINCT FROM date_sub('year', b.birth_date, CAST(p.started_at AS DATE))"
    )
    found = cursor.execute(stale).fetchall()
    if not found:
        return 0
    table = tables()["procedures"]
    cursor.execute(f"CREATE OR REPLACE TEMP TABLE stale_age AS {stale}")
    columns = [*stored_columns(table), "root_id"]
    cursor.execute(
        f"CREATE OR REPLACE TEMP TABLE aged AS SELECT {', '.join('a.age AS age_years' if c == 'age_years' else f'p.{c}' for c in columns)} "
        "FROM main.procedures AS p JOIN stale_age AS a ON a.procedure_id = p.procedure_id"
    )
    reason = Stamp(stamp.at, stamp.author, stamp.batch_id, "birth date corrected")
    _to_history(cursor, table, "m.procedure_id IN (SELECT procedure_id FROM stale_age)", reason)
    cursor.execute(
        f"INSERT INTO main.procedures ({', '.join(columns)}, {', '.join(SYSTEM_COLUMNS)}) SELECT {', '.join(columns)}, ?, ?, ? FROM aged",
        [stamp.at, stamp.author, stamp.batch_id],
    )
    rows, digest = cursor.execute(
        _digest(
            digest_columns(table), "main.procedures", "procedure_id IN (SELECT procedure_id FROM stale_age)"
        )
    ).fetchall()[0]
    _add_state(cursor, "procedures", int(rows), int(digest))
    return len(found)


def touched_procedures(cursor: duckdb.DuckDBPyConnection, names: list[str], limit: int) -> list[str] | None:
    """Procedures whose facts a batch may change; None where they are more than ``limit``."""
    parts = []
    for name in names:
        changed = f"staged_{name} WHERE is_new OR is_changed"
        if name == "patients":
            parts.append(
                "SELECT p.procedure_id FROM main.procedures AS p JOIN main.findings AS f ON f.finding_id = p.finding_id "
                f"WHERE f.patient IN (SELECT patient FROM {changed})"
            )
        elif name == "findings":
            parts.append(
                f"SELECT procedure_id FROM main.procedures WHERE finding_id IN (SELECT finding_id FROM {changed})"
            )
        elif name in (
            "procedures",
            "targeting",
            "specimens",
            "pathology",
            "reviews",
            "followup",
            "complications",
        ):
            parts.append(f"SELECT procedure_id FROM {changed}")
    if not parts:
        return []
    rows = cursor.execute(
        f"SELECT DISTINCT procedure_id FROM ({' UNION ALL '.join(parts)}) LIMIT {int(limit) + 1}"
    ).fetchall()
    return None if len(rows) > limit else [row[0] for row in rows]


def table_states(cursor: duckdb.DuckDBPyConnection) -> dict[str, dict[str, Any]]:
    """Rows and digest of every table, as the trail binds them."""
    rows = cursor.execute(
        "SELECT table_name, row_count, CAST(digest AS VARCHAR) FROM table_state ORDER BY table_name"
    ).fetchall()
    return {name: {"rows": count, "digest": digest} for name, count, digest in rows}


def is_empty(cursor: duckdb.DuckDBPyConnection) -> bool:
    """Whether no clinical table holds a row."""
    return not any(has_rows(cursor, f"main.{name}") for name in TABLE_ORDER)
