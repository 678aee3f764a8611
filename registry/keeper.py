"""What the process that owns a folder does by itself: inbox, backups, the copy for readers, old files.

One step at a time and never twice at once; what fails is told to the trail and to whoever
asks, and tried again at the next step.
"""

from __future__ import annotations

import shutil
import threading
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from registry import audit, backup, received_files, snapshot
from registry.errors import RegistryError
from registry.people import Actor, Role, acting
from registry.people.acting import MACHINE

if TYPE_CHECKING:
    from collections.abc import Callable

    from registry.store import Registry

#: Seconds between two looks into the inbox and at the revision.
STEP_SECONDS = 5.0
#: Received files are looked at no more often than this.
OLD_FILES_EVERY = timedelta(hours=1)
AUTHOR = "owner process"
OWNER = Actor(AUTHOR, frozenset({Role.COORDINATOR, Role.ADMINISTRATOR}), via=MACHINE)


@dataclass
class Keeper:
    """Keeps one folder while its owner runs.

    ``take_in`` imports what lies in the inbox and returns one line per file, ``sweep`` ends
    sessions that nobody uses any more; ``problems``
    holds, by duty, the sentence of the last failure until that duty succeeds again.
    """

    registry: Registry
    take_in: Callable[[Registry], list[str]] | None = None
    sweep: Callable[[], None] | None = None
    problems: dict[str, str] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._old_files_at: datetime | None = None

    def start(self) -> None:
        """Begin, in a thread that ends with the process."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="keeper", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """End after the step that is running."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def _run(self) -> None:
        while not self._stop.is_set():
            self.step()
            self._stop.wait(STEP_SECONDS)

    def step(self) -> None:
        """Whatever is due now, on nobody's behalf but the service's own."""
        with acting(OWNER):
            self._step()

    def _step(self) -> None:
        for duty, work in (
            ("inbox", self._inbox),
            ("backup", self._backup),
            ("copy for readers", self._publish),
            ("received files", self._remove_old_files),
            ("sessions", self._sweep),
        ):
            try:
                work()
            except RegistryError as problem:
                self._failed(duty, str(problem))
            except Exception as problem:  # the thread must go on, whatever a duty meets
                self._failed(duty, f"{type(problem).__name__}: it will be tried again.")
            else:
                self.problems.pop(duty, None)

    def _failed(self, duty: str, said: str) -> None:
        if self.problems.get(duty) == said:
            return  # told already
        self.problems[duty] = said
        try:
            self.registry.record(audit.Entry(AUTHOR, duty, "registry", "", {"said": said}, "failed"))
        except RegistryError:
            return  # a full disk takes no entry either; ``problems`` still says it

    def _inbox(self) -> None:
        """Import what arrived; ``lines`` says how the last look that found something ended."""
        if self.take_in is not None and (told := self.take_in(self.registry)):
            self.lines = told

    def _sweep(self) -> None:
        if self.sweep is not None:
            self.sweep()

    def _publish(self) -> None:
        snapshot.publish(self.registry)

    def _remove_old_files(self) -> None:
        days, now = self.registry.site.numbers.get("raw_keep_days"), self.registry.clock()
        if days is None or (self._old_files_at is not None and now - self._old_files_at < OLD_FILES_EVERY):
            return
        received_files.remove_older(self.registry, days, author=AUTHOR)
        self._old_files_at = now

    def _backup(self) -> None:
        place = backup_place(self.registry)
        if place is None:
            return
        made = backup.backups(place, of=self.registry.folder.name)
        now = self.registry.clock().astimezone(UTC)
        hours = self.registry.site.numbers["backup_hours"]
        if made and now - made[-1].made_at < timedelta(hours=hours):
            return
        made.append(backup.backup(self.registry, place, author=AUTHOR))
        for old in superseded(made, int(self.registry.site.numbers["backups_kept"])):
            shutil.rmtree(old.folder)


def backup_place(registry: Registry) -> Path | None:
    """Where the site wants its backups, or None."""
    place = registry.site.backup_folder
    return None if place is None else Path(place).expanduser()


def superseded(made: list[backup.Backup], kept: int) -> list[backup.Backup]:
    """Backups that may go: all but the newest ``kept`` and the last of each calendar month.

    Parameters
    ----------
    made
        Oldest first.
    """
    last_of_month: dict[tuple[int, int], datetime] = {}
    for one in made:
        last_of_month[one.made_at.year, one.made_at.month] = one.made_at
    return [one for one in made[:-kept] if one.made_at not in last_of_month.values()]
