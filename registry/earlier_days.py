"""Facts as of days before the newest one on record, kept in memory for the next question.

A page asks some twenty questions as of one day, and deriving the facts reads the whole
record. The days asked for last stay in a database in memory beside the record's own, until
the record changes; the engine moves them to disk where it needs their memory.
"""

from __future__ import annotations

import itertools
import threading
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

import duckdb

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import date

    Key = tuple[int, date]

DATABASE = "earlier_days"
#: Days kept when nobody is asking: the one looked at, and the one it is compared with.
KEPT = 2
_NUMBERS = itertools.count(1)


@dataclass
class _Day:
    table: str
    lent: int = 0


class EarlierDays:
    """The days kept beside one open database."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._is_attached = False
        # In the order in which they were asked for.
        self._days: dict[Key, _Day] = {}

    @contextmanager
    def lay(
        self, cursor: duckdb.DuckDBPyConnection, key: Key, derive: Callable[[str], None]
    ) -> Iterator[None]:
        """Within the block ``procedure_facts`` is, for this cursor, what had happened by a day.

        Parameters
        ----------
        key
            Revision of the record and day.
        derive
            Makes the table of the name given and fills it; called where the day is not kept.
        """
        day = self._borrow(cursor, key, derive)
        try:
            cursor.execute(f"CREATE TEMP VIEW procedure_facts AS FROM {day.table}")
            try:
                yield
            finally:
                cursor.execute("DROP VIEW temp.procedure_facts")
        finally:
            self._give_back(cursor, day)

    def _borrow(self, cursor: duckdb.DuckDBPyConnection, key: Key, derive: Callable[[str], None]) -> _Day:
        # One at a time: who asks about a day that is being derived waits for it.
        with self._lock:
            day = self._days.pop(key, None) or self._derived(cursor, derive)
            self._days[key] = day
            day.lent += 1
            self._clear(cursor, key[0])
            return day

    def _derived(self, cursor: duckdb.DuckDBPyConnection, derive: Callable[[str], None]) -> _Day:
        if not self._is_attached:
            # Two who read one file in one process share its engine.
            cursor.execute(f"ATTACH IF NOT EXISTS ':memory:' AS {DATABASE} (READ_WRITE)")
            cursor.execute(f"CREATE SCHEMA IF NOT EXISTS {DATABASE}.kept")
            self._is_attached = True
        table = f"{DATABASE}.kept.facts_{next(_NUMBERS)}"
        try:
            derive(table)
        except BaseException:
            with suppress(duckdb.Error):
                cursor.execute(f"DROP TABLE IF EXISTS {table}")
            raise
        return _Day(table)

    def _give_back(self, cursor: duckdb.DuckDBPyConnection, day: _Day) -> None:
        with self._lock:
            day.lent -= 1
            newest = max((revision for revision, _ in self._days), default=0)
            # What went wrong in the block is what the caller should hear of.
            with suppress(duckdb.Error):
                self._clear(cursor, newest)

    def _clear(self, cursor: duckdb.DuckDBPyConnection, revision: int) -> None:
        """Drop what is out of date or was asked for too long ago, unless somebody reads it."""
        current = [key for key in self._days if key[0] == revision]
        for key in [one for one in self._days if one not in current[-KEPT:]]:
            if self._days[key].lent == 0:
                cursor.execute(f"DROP TABLE {self._days.pop(key).table}")
