"""Bringing a registry to this version of the program: on a copy, compared, then swapped.

The folder keeps the database as it was, under a name of its own, and a backup was made
before anything was touched. Nobody can write to the folder meanwhile.
"""

from __future__ import annotations

import shutil
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date
from typing import TYPE_CHECKING, Any

from registry import audit, facts, migrations
from registry.backup import Backup, backup
from registry.engine import KEY, copy_apart, key_path
from registry.errors import IntegrityProblem
from registry.owner import Ownership
from registry.people import Action, require
from registry.restore import results
from registry.store import ANCHOR, DATABASE, IDENTITY, SITE, Registry

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime
    from pathlib import Path

_COUNTED = "SELECT table_name FROM information_schema.tables WHERE table_schema = 'main' AND table_type = 'BASE TABLE'"
#: Tables that an upgrade itself writes to, or that the program fills from site.toml and its own lists.
_OWN = frozenset(
    {"schema_version", "audit_event", "site_state", "facts_state", "facts_definition"}
    | {"site_setting", "uptake_window", "site_frame", "tracer_half_life", "code_rank"}
)


@dataclass(frozen=True)
class Upgrade:
    """What was done: the migrations, the backup before them, where the old database lies."""

    applied: tuple[str, ...]
    backup: Backup
    aside: Path
    compared: int
    changed: tuple[str, ...]

    def lines(self) -> list[str]:
        """The outcome as sentences."""
        told = [
            f"Applied: {', '.join(self.applied)}.",
            f"Before it: backup {self.backup.folder}, and the database as it was in {self.aside}.",
            f"Rows of every table are the same; {self.compared} results compared.",
        ]
        if self.changed:
            told.append(f"Other results than before: {', '.join(self.changed)}. The changelog says why.")
        return told


def pending(folder: Path) -> list[str]:
    """Migrations that a registry folder still lacks."""
    with Registry.open(folder, migrate=False) as registry, registry.cursor() as cursor:
        return migrations.pending(cursor, "migrations")


def derives_otherwise(folder: Path) -> bool:
    """Whether this program derives the kept rows otherwise than they were."""
    with Registry.open(folder, migrate=False) as registry, registry.cursor() as cursor:
        return not facts.is_current(cursor)


def upgrade(folder: Path, place: Path, *, as_of: date, author: str, clock: Callable[[], datetime]) -> Upgrade:
    """Apply pending migrations to a copy, compare it with the registry, and swap.

    Parameters
    ----------
    folder
        Registry folder with at least one pending migration.
    place
        Where the backup before the upgrade goes.
    as_of
        Day for which the measures are compared.

    Raises
    ------
    IntegrityProblem
        The upgraded copy lost or gained rows; the registry was left as it was.
    """
    author = require(Action.KEEP).author(author)
    with Registry.open(folder, write=True, migrate=False, clock=clock) as old:
        made = backup(old, place, author=author)
        counts, before = _counts(old), _readable_results(old, as_of)
        with old.cursor() as cursor:
            names = migrations.pending(cursor, "migrations")
    scratch = folder / "tmp" / "upgrade"
    with _held(folder, clock(), scratch):
        copy = _copied(folder, scratch)
        with Registry.open(copy, write=True, upgrade=True, clock=clock) as new:
            after = results(new, as_of)
            lost = {name: (number, _counts(new).get(name)) for name, number in counts.items()}
        wrong = {name: pair for name, pair in lost.items() if pair[0] != pair[1] and name not in _OWN}
        if wrong:
            told = "; ".join(
                f"{name}: {pair[0]} rows before, {pair[1]} after" for name, pair in wrong.items()
            )
            raise IntegrityProblem(
                f"The upgrade was not made: {told}. The registry is as it was; report this."
            )
        aside = folder / f"before-{clock().astimezone(UTC):%Y%m%dT%H%M%SZ}"
        aside.mkdir(mode=0o700)
        for name in (DATABASE, IDENTITY, ANCHOR):
            if (copy / name).exists():
                if (folder / name).exists():
                    (folder / name).rename(aside / name)
                (copy / name).rename(folder / name)
    changed = tuple(name for name in before if before[name] != after.get(name))
    with Registry.open(folder, write=True, clock=clock) as registry:
        details = {"applied": list(names), "backup": made.folder.name, "other_results": list(changed)}
        registry.record(audit.Entry(author, "migrate", "registry", folder.name, details))
    return Upgrade(tuple(names), made, aside, len(before), changed)


@contextmanager
def _held(folder: Path, now: datetime, scratch: Path) -> Iterator[None]:
    """Nobody else may own the folder, and the scratch place is removed at the end."""
    ownership = Ownership(folder, now, 10.0)
    shutil.rmtree(scratch, ignore_errors=True)
    try:
        yield
    finally:
        shutil.rmtree(folder / "tmp", ignore_errors=True)
        ownership.release()


def _copied(folder: Path, scratch: Path) -> Path:
    """A registry folder of the databases, the settings, the key and the anchor."""
    scratch.mkdir(parents=True, mode=0o700)
    for name in (DATABASE, IDENTITY, SITE, ANCHOR):
        if (folder / name).exists():
            copy_apart(folder / name, scratch / name)
    shutil.copyfile(key_path(folder), scratch / KEY)
    return scratch


def _counts(registry: Registry) -> dict[str, int]:
    return {
        name: registry.rows(f'SELECT count(*) FROM "{name}"')[0][0] for (name,) in registry.rows(_COUNTED)
    }


def _readable_results(registry: Registry, as_of: date) -> dict[str, Any]:
    """Results on the old schema; empty where this program's measures need the new one."""
    import duckdb

    try:
        return results(registry, as_of)
    except duckdb.Error:
        return {}
