"""The copy that the owner of a folder publishes, so that others can read while it runs.

A database that one process writes to can be opened by no other, not even for reading.
The copy is whole: it is written under another name and then takes the place of the last.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from registry import audit
from registry.engine import copy_apart
from registry.errors import NotSaved
from registry.people import Action, require
from registry.store import DATABASE, SNAPSHOT
from registry.whole_file import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    import duckdb

    from registry.store import Registry

_NOTE = "snapshot/snapshot.json"
#: Looking at a record is an entry in the trail and changes no figure: the copy, which is of
#: the whole database, may lag behind those by so much.
TRAIL_LAG = timedelta(minutes=5)


@dataclass(frozen=True)
class Snapshot:
    """When the copy was made (UTC), of which revision of the registry, and with how long a trail."""

    made_at: datetime
    revision: int
    trail: int

    def line(self) -> str:
        """For those who read from it."""
        return (
            "The registry is in use; these figures are from the copy of "
            f"{self.made_at:%Y-%m-%d %H:%M:%S} UTC (revision {self.revision})."
        )


def published(folder: Path) -> Snapshot | None:
    """What is known of the copy that lies there, or None."""
    try:
        note = json.loads((folder / _NOTE).read_text(encoding="utf-8"))
        return Snapshot(datetime.fromisoformat(note["made_at"]), int(note["revision"]), int(note["trail"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def publish(registry: Registry) -> Snapshot | None:
    """Copy the database for readers, unless the copy there says the same.

    A new revision is copied at once; where only the trail has grown, after ``TRAIL_LAG``.

    Returns
    -------
    Snapshot or None
        None where no copy was due.

    Raises
    ------
    NotSaved
        There is no space for the copy; the last one stays.
    """
    require(Action.KEEP, registry)
    if not _is_due(registry, published(registry.folder)):
        return None
    target = registry.folder / SNAPSHOT
    fresh = target.with_suffix(".new")
    before = os.umask(0o077)
    try:
        target.parent.mkdir(mode=0o700, exist_ok=True)
        with registry.standing_still() as cursor:
            state = _state(cursor)
            copy_apart(registry.folder / DATABASE, fresh)
        made = Snapshot(registry.clock().astimezone(UTC), *state)
        fresh.replace(target)
        note = {"made_at": made.made_at.isoformat(), "revision": made.revision, "trail": made.trail}
        write_whole(registry.folder / _NOTE, json.dumps(note) + "\n")
    except OSError as problem:
        fresh.unlink(missing_ok=True)
        raise NotSaved(
            f"The copy for readers could not be made ({problem.strerror}); they see the one before. Free some space."
        ) from None
    finally:
        os.umask(before)
    return made


def _is_due(registry: Registry, last: Snapshot | None) -> bool:
    if last is None:
        return True
    with registry.cursor() as cursor:
        revision, trail = _state(cursor)
    if last.revision != revision:
        return True
    return last.trail != trail and registry.clock() - last.made_at >= TRAIL_LAG


def _state(cursor: duckdb.DuckDBPyConnection) -> tuple[int, int]:
    """Revision, and number of the newest entry of the trail."""
    revision = cursor.execute("SELECT revision FROM facts_state").fetchall()[0][0]
    return int(revision), audit.head(cursor).seq
