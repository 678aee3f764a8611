"""The record as it was known at a moment: last year's figures, printed again.

``as_of`` asks what had happened by a day; ``known_at`` asks what had been recorded by a
moment. Here the second: current rows and history are put together again in a scratch
database, so that a later correction does not reach into an earlier report.
"""

from __future__ import annotations

from contextlib import contextmanager
from datetime import UTC
from typing import TYPE_CHECKING, Any

import duckdb

from registry import facts, migrations, store
from registry.dictionary import Table, stored_columns, tables
from registry.earlier_days import EarlierDays
from registry.engine import engine_settings, lock_down
from registry.errors import UsageProblem
from registry.intake.write import SYSTEM_COLUMNS, update_roots

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    import polars as pl

    from registry.site import Site
    from registry.store import Parameters, Registry

#: Local limits are taken as they stand now: their earlier values are not kept, only the
#: digest of each change, in the trail.
_SETTINGS = ("site_setting", "uptake_window", "site_frame", "tracer_half_life", "code_rank")


class KnownRegistry:
    """Reads like an open :class:`registry.store.Registry`, from the rebuilt tables.

    ``known_at`` is the moment (UTC), ``site`` the local protocol as it is today.
    """

    def __init__(self, source: Registry, connection: duckdb.DuckDBPyConnection, moment: datetime) -> None:
        self.folder = source.folder
        self.site: Site = source.site
        self.known_at = moment
        self.earlier_days = EarlierDays()
        self._connection = connection
        self._revision = source.revision()
        self._stamp = source.stamp()

    @contextmanager
    def cursor(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A cursor of its own on the rebuilt tables."""
        cursor = self._connection.cursor()
        try:
            yield cursor
        finally:
            cursor.close()

    def frame(self, sql: str, parameters: Parameters = None) -> pl.DataFrame:
        """Rows of one query as a polars frame."""
        with self.cursor() as cursor:
            return store.frame(cursor, sql, parameters)

    def rows(self, sql: str, parameters: Parameters = None) -> list[tuple[Any, ...]]:
        """Rows of one query as tuples."""
        with self.cursor() as cursor:
            found: list[tuple[Any, ...]] = cursor.execute(sql, parameters).fetchall()
            return found

    def revision(self) -> int:
        """Revision of the registry from which the record was rebuilt."""
        return self._revision

    def stamp(self) -> str:
        """Version stamp of that registry, with the moment."""
        return f"{self._stamp}, as known at {self.known_at.isoformat(timespec='seconds')}"


@contextmanager
def as_known(registry: Registry, moment: datetime) -> Iterator[KnownRegistry]:
    """The registry as it was known at a moment, for as long as the block lasts.

    Parameters
    ----------
    registry
        Open for reading or writing; it is not changed.
    moment
        With a time zone. What was recorded at this very moment is known.

    Raises
    ------
    UsageProblem
        The moment has no time zone.
    """
    if moment.tzinfo is None:
        raise UsageProblem("The moment of known_at has no time zone. Write it as 2026-06-30T12:00:00+00:00.")
    at = moment.astimezone(UTC)
    # Spilled rows go beside the registry, never into the working folder.
    connection = duckdb.connect(":memory:", config=engine_settings(registry.folder, registry.site))
    try:
        lock_down(connection, registry.folder)
        cursor = connection.cursor()
        migrations.apply(cursor, "migrations", registry.clock())
        cursor.execute("BEGIN")
        _copy(registry, cursor, at)
        update_roots(cursor)
        facts.rebuild(cursor)
        cursor.execute("COMMIT")
        cursor.close()
        yield KnownRegistry(registry, connection, at)
    finally:
        connection.close()


def _copy(registry: Registry, scratch: duckdb.DuckDBPyConnection, at: datetime) -> None:
    """Bring settings and the rows known then over, all of them from one state of the registry."""
    naive = at.replace(tzinfo=None)
    with registry.cursor() as source:
        source.execute("BEGIN")
        try:
            for name in _SETTINGS:
                scratch.execute(f"DELETE FROM {name}")
                _insert(scratch, name, "*", store.frame(source, f"SELECT * FROM {name}"))
            for table in tables().values():
                columns = ", ".join([*stored_columns(table), *SYSTEM_COLUMNS])
                found = store.frame(source, _known_rows(table, columns), {"at": naive})
                _insert(scratch, f"main.{table.name}", columns, found, root=table.name == "procedures")
            # Notes on signals are never changed: what had been written by then was known.
            notes = store.frame(source, "SELECT * FROM signal_note WHERE recorded_at <= $at", {"at": naive})
            _insert(scratch, "signal_note", "*", notes)
        finally:
            source.execute("ROLLBACK")


def _known_rows(table: Table, columns: str) -> str:
    return (
        f"SELECT {columns} FROM main.{table.name} WHERE recorded_at <= $at UNION ALL "
        f"SELECT {columns} FROM history.{table.name} WHERE recorded_at <= $at AND superseded_at > $at"
    )


def _insert(
    scratch: duckdb.DuckDBPyConnection, name: str, columns: str, rows: pl.DataFrame, *, root: bool = False
) -> None:
    scratch.register("known_rows", rows.to_arrow())
    into = "" if columns == "*" else f" ({columns}{', root_id' if root else ''})"
    scratch.execute(
        f"INSERT INTO {name}{into} SELECT {columns}{', procedure_id' if root else ''} FROM known_rows"
    )
    scratch.unregister("known_rows")
