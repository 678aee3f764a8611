"""After damage: what can be opened, what is missing, and going on without it if a person says so.

Nothing is deleted. The look is taken on a copy; the files as they were found are set aside
before a mended copy takes their place.
"""

from __future__ import annotations

import os
import re
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import duckdb

from registry import audit
from registry.engine import STORAGE_VERSION, first_line
from registry.errors import IntegrityProblem, UsageProblem
from registry.owner import Ownership
from registry.people import Action, require
from registry.store import ANCHOR, DATABASE, IDENTITY, SITE, Registry

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_POSITION = re.compile(r"byte position (\d+)")
_TRIES = 8
#: Bytes of length and checksum before each entry of the log.
_HEADER = 16


@dataclass(frozen=True)
class Look:
    """What was found.

    ``missing`` are the first and last number of the anchored entries of the trail that
    the databases do not hold, ``since`` the time of the last one that they do; ``mended``
    names the databases whose log was cut behind its last whole commit.
    """

    head: int
    missing: tuple[int, int] | None
    since: str
    mended: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Whether there is nothing to recover."""
        return self.missing is None and not self.mended

    def lines(self) -> list[str]:
        """The findings as sentences."""
        if self.sound:
            return [
                f"Everything opens, and the trail reaches its anchor (entry {self.head}). Nothing to recover."
            ]
        told = [f"{name}: the end of its log is damaged; without that end it opens." for name in self.mended]
        if self.missing is None:
            told.append(f"No saved change is missing: the trail reaches its anchor (entry {self.head}).")
        else:
            first, last = self.missing
            told.append(
                f"Missing: entries {first} to {last} of the trail and what was saved with them, after {self.since}. "
                "Look for them in the newest backup, in the files under raw/ and with those who entered them."
            )
        return told


def look(folder: Path, *, now: datetime) -> Look:
    """Look at a copy of the databases and say what opens and what is missing.

    Raises
    ------
    UsageProblem
        Not a registry folder.
    RegistryBusy
        Another process owns it.
    IntegrityProblem
        The main file itself is damaged: only a backup helps.
    """
    require(Action.KEEP)
    with _Scratch(folder, now) as scratch:
        found, _ = _mend(folder, scratch.place)
        return found


def recover(folder: Path, *, reason: str, author: str, clock: Callable[[], datetime]) -> tuple[Look, Path]:
    """Go on with what opens; the files as they were found are kept in a folder of their own.

    Parameters
    ----------
    reason
        Why the loss is accepted; written to the trail with what is missing.

    Returns
    -------
    tuple
        What was found, and the folder that now holds the files as they were.

    Raises
    ------
    UsageProblem
        There is nothing to recover, or no reason was given.
    """
    author = require(Action.KEEP).author(author)
    if not reason.strip():
        raise UsageProblem("Say why the loss is accepted: --reason TEXT. It is written to the trail.")
    now = clock()
    with _Scratch(folder, now) as scratch:
        found, mended = _mend(folder, scratch.place)
        if found.sound:
            raise UsageProblem(f"{folder}: {found.lines()[0]}")
        aside = folder / f"recovered-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}"
        aside.mkdir(mode=0o700)
        for name in (DATABASE, IDENTITY, ANCHOR):
            for path in (folder / name, folder / f"{name}.wal"):
                if path.exists() and (name != ANCHOR or found.missing):
                    shutil.copy2(path, aside / path.name)
        for name in mended:
            (scratch.place / name).replace(folder / name)
            (folder / f"{name}.wal").unlink(missing_ok=True)
        if found.missing:
            (folder / ANCHOR).unlink()
    with Registry.open(folder, write=True, clock=clock) as registry:
        details = {
            "reason": reason,
            "missing": list(found.missing or ()),
            "mended": list(found.mended),
            "set_aside": aside.name,
        }
        registry.record(audit.Entry(author, "recover", "registry", folder.name, details))
    return found, aside


class _Scratch:
    """A private place beside the databases, while nobody else may open them."""

    def __init__(self, folder: Path, now: datetime) -> None:
        if not (folder / SITE).is_file() or not (folder / DATABASE).is_file():
            raise UsageProblem(f"{folder}: is not a registry folder.")
        self._ownership = Ownership(folder, now, 10.0)
        self.place = folder / "tmp" / "recover"

    def __enter__(self) -> _Scratch:
        shutil.rmtree(self.place, ignore_errors=True)
        self.place.mkdir(parents=True, mode=0o700)
        return self

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self.place, ignore_errors=True)
        self._ownership.release()


def _mend(folder: Path, scratch: Path) -> tuple[Look, list[str]]:
    """Copies that open, and what their trail lacks."""
    names = [name for name in (DATABASE, IDENTITY) if (folder / name).exists()]
    cut = [name for name in names if _opens(folder, scratch, name)]
    connection = duckdb.connect(str(scratch / DATABASE), read_only=True)
    with connection:
        head = audit.head(connection.cursor())
    anchors = audit.read_anchors(folder / ANCHOR)
    newest = max((seq for seq, _, _ in anchors), default=0)
    since = next((time for seq, _, time in reversed(anchors) if seq <= head.seq), "the beginning")
    missing = (head.seq + 1, newest) if newest > head.seq else None
    return Look(head.seq, missing, since, tuple(cut)), names


def _opens(folder: Path, scratch: Path, name: str) -> bool:
    """Copy one database and let it read its log; true where the log had to be cut."""
    log, length = folder / f"{name}.wal", None
    for _ in range(_TRIES):
        # From the files as they were each time: an attempt to open may leave others behind.
        for path in scratch.glob(f"{name}*"):
            path.unlink()
        shutil.copy2(folder / name, scratch / name)
        if log.exists():
            shutil.copy2(log, scratch / log.name)
            if length is not None:
                os.truncate(scratch / log.name, length)
        try:
            with duckdb.connect(
                str(scratch / name), config={"storage_compatibility_version": STORAGE_VERSION}
            ) as connection:
                connection.execute("CHECKPOINT")
            return length is not None
        except duckdb.Error as problem:
            place = _POSITION.search(str(problem))
            before = length if length is not None else (log.stat().st_size if log.exists() else 0)
            if place is None or before <= _HEADER:
                raise IntegrityProblem(
                    f"{name}: cannot be opened, and it is not the end of its log that is damaged: "
                    f"{first_line(problem)}. Restore the newest backup to a new name."
                ) from None
            # The place is the entry's own, or in some versions the one behind its header.
            length = min(int(place[1]), before - _HEADER)
    raise IntegrityProblem(
        f"{name}: its log is damaged in many places. Restore the newest backup to a new name."
    )
