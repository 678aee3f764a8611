"""The copy that the owner of a folder publishes, so that others can read while it runs.

A database that one process writes to can be opened by no other, not even for reading.
The copy is whole: it is written under another name and then takes the place of the last.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from registry.engine import copy_apart
from registry.errors import NotSaved
from registry.people import Action, require
from registry.store import DATABASE, SNAPSHOT
from registry.whole_file import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from registry.store import Registry

_NOTE = "snapshot/snapshot.json"


@dataclass(frozen=True)
class Snapshot:
    """When the copy was made (UTC), and of which revision of the registry."""

    made_at: datetime
    revision: int

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
        return Snapshot(datetime.fromisoformat(note["made_at"]), int(note["revision"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def publish(registry: Registry) -> Snapshot | None:
    """Copy the database for readers, unless the copy there is of this revision already.

    Returns
    -------
    Snapshot or None
        None where nothing had changed.

    Raises
    ------
    NotSaved
        There is no space for the copy; the last one stays.
    """
    require(Action.KEEP, registry)
    last = published(registry.folder)
    if last is not None and last.revision == registry.revision():
        return None
    target = registry.folder / SNAPSHOT
    fresh = target.with_suffix(".new")
    before = os.umask(0o077)
    try:
        target.parent.mkdir(mode=0o700, exist_ok=True)
        with registry.standing_still() as cursor:
            revision = cursor.execute("SELECT revision FROM facts_state").fetchall()[0][0]
            copy_apart(registry.folder / DATABASE, fresh)
        made = Snapshot(registry.clock().astimezone(UTC), int(revision))
        fresh.replace(target)
        note = {"made_at": made.made_at.isoformat(), "revision": made.revision}
        write_whole(registry.folder / _NOTE, json.dumps(note) + "\n")
    except OSError as problem:
        fresh.unlink(missing_ok=True)
        raise NotSaved(
            f"The copy for readers could not be made ({problem.strerror}); they see the one before. Free some space."
        ) from None
    finally:
        os.umask(before)
    return made
