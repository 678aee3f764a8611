"""The trail as lines of JSON in a file of its own, for a log collector; written after the commit.

A line that cannot be written is written with the next entry; saving never waits for it.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from typing import TYPE_CHECKING

from registry import audit

if TYPE_CHECKING:
    from pathlib import Path

    import duckdb

_TAIL = 65_536
_SQL = f"SELECT {audit.COLUMNS} FROM audit_event WHERE seq > ? ORDER BY seq"


class Feed:
    """Appends what the trail gained to a file; ``problem`` says why the last time failed."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.problem: str | None = None

    def follow(self, cursor: duckdb.DuckDBPyConnection) -> None:
        """Write every entry that the file does not hold yet."""
        try:
            last = self._last()
            # Where there was none the feed begins with the newest entry, not with years of them.
            since = audit.head(cursor).seq - 1 if last is None else last
            text = "".join(f"{line(row)}\n" for row in cursor.execute(_SQL, [since]).fetchall())
            descriptor = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
            try:
                os.write(descriptor, text.encode())
            finally:
                os.close(descriptor)
            self.problem = None
        except OSError as problem:
            self.problem = f"{self._path}: not written ({problem.strerror})."

    def _last(self) -> int | None:
        """Number of the last whole line, None for a file that has none."""
        if not self._path.exists():
            return None
        with self._path.open("rb") as handle:
            handle.seek(0, os.SEEK_END)
            handle.seek(max(0, handle.tell() - _TAIL))
            for found in reversed(handle.read().splitlines()):
                with suppress(ValueError, KeyError, TypeError):
                    return int(json.loads(found)["seq"])
        return None


def line(row: tuple[object, ...]) -> str:
    """One entry, columns as :data:`registry.audit.COLUMNS`, as one line of JSON without its links."""
    made = dict(zip(audit.COLUMNS.split(", "), row, strict=True))
    made["happened_at"] = f"{made['happened_at'].isoformat(timespec='microseconds')}Z"  # type: ignore[attr-defined]
    made["details"] = json.loads(str(made["details"]))
    return json.dumps({key: value for key, value in made.items() if key != "prev"}, ensure_ascii=True)
