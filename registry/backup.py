"""Backups: a folder that holds all of a registry but its key, and says what it holds.

Writers wait while the databases are copied, readers do not. A backup is never written
into the registry folder.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import duckdb

from registry import __version__, audit
from registry.engine import KEY, copy_apart, look_into
from registry.errors import FileProblem, IntegrityProblem, UsageProblem
from registry.numerals import grouped
from registry.people import Action, require
from registry.store import DATABASE
from registry.whole_file import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from registry.store import Registry

MANIFEST = "manifest.json"
_CHUNK = 1 << 20
#: Not in a backup: the secret, where it lies, who owns the folder, what is on its way in or out.
_LEFT_OUT = (KEY, "key_file", "owner.lock", "owner.json", "tmp", "inbox", "snapshot")


@dataclass(frozen=True)
class Backup:
    """One backup: its folder and what its manifest says of it."""

    folder: Path
    manifest: dict[str, Any]

    @property
    def made_at(self) -> datetime:
        """When it was made (UTC)."""
        return datetime.fromisoformat(self.manifest["made_at"])

    def line(self) -> str:
        """What it holds, in one sentence."""
        counts = self.manifest["counts"]
        return (
            f"{self.folder}: {grouped(counts.get('procedures', 0))} procedures, trail to entry "
            f"{self.manifest['trail']['seq']}, made {self.made_at:%Y-%m-%d %H:%M} UTC"
        )


def backup(registry: Registry, place: Path, *, author: str) -> Backup:
    """Copy everything but the key to a new folder under ``place`` and prove that it opens.

    Parameters
    ----------
    registry
        Open for writing: its owner.
    place
        Folder of the backups, outside the registry folder; made where it is missing.
    author
        Who asked; written to the trail.

    Raises
    ------
    UsageProblem
        ``place`` lies inside the registry folder.
    FileProblem
        The disk is full or may not be written to; what was begun is removed.
    IntegrityProblem
        The copy does not hold what the registry holds.
    """
    author = require(Action.KEEP, registry).author(author)
    place = place.resolve()
    if place.is_relative_to(registry.folder):
        raise UsageProblem(
            f"{place}: lies in the registry folder and would be lost with it. Name a place on another disk or machine."
        )
    now = registry.clock().astimezone(UTC)
    target = place / f"{registry.folder.name}-{now:%Y%m%dT%H%M%S%f}Z"
    before = os.umask(0o077)
    try:
        target.mkdir(parents=True)
        manifest = _copy(registry, target, now)
        # Last, and whole: a folder with a manifest is a backup.
        write_whole(target / MANIFEST, json.dumps(manifest, indent=2, sort_keys=True) + "\n")
        made = check(target)
        _opens(made)
    except OSError as problem:
        shutil.rmtree(target, ignore_errors=True)
        raise FileProblem(
            f"{target}: the backup could not be written ({problem.strerror}). Free some space or name another place."
        ) from None
    except BaseException:
        shutil.rmtree(target, ignore_errors=True)
        raise
    finally:
        os.umask(before)
    details = {"head": manifest["trail"], "files": len(manifest["files"]), "folder": target.name}
    registry.record(audit.Entry(author, "backup", "registry", target.name, details))
    return made


def _copy(registry: Registry, target: Path, now: datetime) -> dict[str, Any]:
    with registry.standing_still() as cursor:
        counts = _counts(cursor)
        head = audit.head(cursor)
        stamp = registry.stamp()
        for source in sorted(registry.folder.iterdir()):
            if source.name in _LEFT_OUT or source.name.startswith(("before-", "recovered-")):
                continue
            if source.is_dir():
                shutil.copytree(source, target / source.name)
            elif source.is_file():
                copy_apart(source, target / source.name)
    files = {str(path.relative_to(target)): _described(path) for path in _files(target)}
    return {
        "made_at": now.isoformat(),
        "program": __version__,
        "engine": duckdb.__version__,
        "stamp": stamp,
        "trail": {"seq": head.seq, "mac": head.mac},
        "counts": counts,
        "files": files,
    }


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file() and path.name != MANIFEST)


def _described(path: Path) -> dict[str, Any]:
    digest = hashlib.sha256()
    with path.open("rb") as handle:
        while part := handle.read(_CHUNK):
            digest.update(part)
    with path.open("rb") as handle:
        os.fsync(handle.fileno())
    return {"sha256": digest.hexdigest(), "bytes": path.stat().st_size}


def _counts(cursor: duckdb.DuckDBPyConnection) -> dict[str, int]:
    names = cursor.execute(
        "SELECT table_name FROM information_schema.tables "
        "WHERE table_schema = 'main' AND table_type = 'BASE TABLE' ORDER BY table_name"
    ).fetchall()
    return {name: cursor.execute(f'SELECT count(*) FROM "{name}"').fetchall()[0][0] for (name,) in names}


def _manifest(folder: Path) -> dict[str, Any]:
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        Backup(folder, manifest).line()
        if not isinstance(manifest["files"], dict):
            raise TypeError
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise UsageProblem(
            f"{folder}: is not a backup: its {MANIFEST} is missing or cannot be read. Name the folder of one backup."
        ) from None
    return dict(manifest)


def check(folder: Path) -> Backup:
    """A backup whose every file is as its manifest says.

    Raises
    ------
    UsageProblem
        Not a backup folder.
    IntegrityProblem
        A file is missing, was changed, or was added.
    """
    manifest = _manifest(folder)
    stated = manifest["files"]
    found = {str(path.relative_to(folder)): path for path in _files(folder)}
    for name in sorted(stated.keys() | found.keys()):
        if name not in found:
            raise IntegrityProblem(f"{folder}: {name} is missing. Use another backup.")
        if name not in stated:
            raise IntegrityProblem(
                f"{folder}: {name} was not there when the backup was made. Use another backup."
            )
        if _described(found[name]) != stated[name]:
            raise IntegrityProblem(
                f"{folder}: {name} is not what it was when the backup was made. Use another backup."
            )
    return Backup(folder, manifest)


def _opens(made: Backup) -> None:
    """Whether the copied database opens and holds the rows that it should."""
    with look_into(made.folder / DATABASE) as connection:
        cursor = connection.cursor()
        if (
            _counts(cursor) != made.manifest["counts"]
            or audit.head(cursor).mac != made.manifest["trail"]["mac"]
        ):
            raise IntegrityProblem(
                f"{made.folder}: the copy does not hold what the registry holds. Check the disk and try again."
            )


def backups(place: Path, *, of: str) -> list[Backup]:
    """Backups of a registry folder of that name, oldest first; what cannot be read is left out."""
    found = []
    for manifest in place.glob(f"{of}-*/{MANIFEST}"):
        with suppress(UsageProblem):
            found.append(Backup(manifest.parent, _manifest(manifest.parent)))
    return sorted(found, key=lambda one: one.made_at)
