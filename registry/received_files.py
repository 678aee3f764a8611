"""What became of the files that were received: which must lie in raw/, which may not, how long they stay.

A batch names its files by the hash they had. An erasure takes lines out of a file and a
retention period removes it; each is an entry of the trail that says "this hash is now that
one" or "is gone", and here the two are put together. A file that is received again after
that is again there under its own hash.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from registry import audit, holds
from registry.people import Action, require

if TYPE_CHECKING:
    from registry.store import Registry

#: Key in the details of an entry: hash before -> hash after, empty where the file is gone.
CHANGED = "received_files"
FOLDER = "raw"


@dataclass(frozen=True)
class Kept:
    """A file in raw/: its name, the first batch that names it (None: an import that was refused),
    how it was read, and when it was received last (UTC)."""

    name: str
    batch: int | None
    format: str
    at: datetime


@dataclass(frozen=True)
class Files:
    """``kept`` by hash, ``gone`` by hash with the entry that says so, and batches whose list cannot be read."""

    kept: dict[str, Kept]
    gone: dict[str, int]
    unreadable: tuple[int, ...]


@dataclass(frozen=True)
class _Naming:
    """One source of names: a batch, or an import that was refused."""

    seq: int
    batch: int | None
    format: str
    at: datetime
    files: str


def files(registry: Registry) -> Files:
    """Every received file that the trail knows of, where it stands now."""
    changes = _changes(registry)
    kept: dict[str, Kept] = {}
    unreadable = []
    for one in _namings(registry):
        named = _named(one.files)
        if named is None:
            if one.batch is not None:
                unreadable.append(one.batch)
            continue
        for name, sha256 in named:
            now = _followed(changes, sha256, one.seq)
            if not now:
                continue
            before = kept.get(now)
            if before is None or (before.batch is None and one.batch is not None):
                kept[now] = Kept(
                    name, one.batch, one.format, one.at if before is None else max(before.at, one.at)
                )
            else:
                kept[now] = Kept(before.name, before.batch, before.format, max(before.at, one.at))
    gone = {old: moves[-1][0] for old, moves in changes.items() if old not in kept}
    return Files(kept, gone, tuple(unreadable))


def _namings(registry: Registry) -> list[_Naming]:
    rows = registry.rows(
        "SELECT coalesce(e.seq, 0), b.batch_id, b.format, b.started_at, b.files FROM import_batch AS b "
        "LEFT JOIN audit_event AS e ON e.object_kind = 'batch' AND e.outcome = 'done' "
        "AND e.object_key = CAST(b.batch_id AS VARCHAR) ORDER BY b.batch_id"
    )
    made = [_Naming(*row) for row in rows]
    refused = registry.rows(
        "SELECT seq, happened_at, details FROM audit_event WHERE action = 'import' AND outcome = 'refused' ORDER BY seq"
    )
    for seq, at, details in refused:
        listed = _object(details).get("files", [])
        made.append(_Naming(int(seq), None, "", at, json.dumps(listed)))
    return made


def _named(text: str) -> list[tuple[str, str]] | None:
    try:
        return [(str(one["name"]), str(one["sha256"])) for one in json.loads(text)]
    except (ValueError, TypeError, KeyError):
        return None


def _followed(changes: dict[str, list[tuple[int, str]]], sha256: str, since: int) -> str:
    """What a file that was received with one entry of the trail is now; empty where it is gone."""
    now = sha256
    while now:
        later = next(((seq, new) for seq, new in changes.get(now, ()) if seq > since), None)
        if later is None:
            break
        since, now = later
    return now


def _changes(registry: Registry) -> dict[str, list[tuple[int, str]]]:
    """By hash before: entries and the hash after, in the order of the trail."""
    rows = registry.rows(
        "SELECT seq, details FROM audit_event WHERE outcome = 'done' AND contains(details, ?) ORDER BY seq",
        [f'"{CHANGED}":{{'],
    )
    made: dict[str, list[tuple[int, str]]] = {}
    for seq, details in rows:
        for old, new in _moved(_object(details).get(CHANGED)).items():
            made.setdefault(old, []).append((int(seq), new))
    return made


def _moved(given: Any) -> dict[str, str]:
    return {str(old): str(new) for old, new in given.items()} if isinstance(given, dict) else {}


def _object(text: str) -> dict[str, Any]:
    try:
        made = json.loads(text)
    except ValueError:
        return {}
    return made if isinstance(made, dict) else {}


def remove_gone(registry: Registry) -> int:
    """Remove what the trail says is gone and a crash left behind; how many files."""
    count = 0
    for sha256 in files(registry).gone:
        path = registry.folder / FOLDER / sha256
        if path.is_file():
            path.unlink()
            count += 1
    return count


def remove_older(registry: Registry, days: float, *, author: str) -> int:
    """Remove received files that were received last more than so many days ago.

    The rows that were read from them stay. Nothing is removed while a legal hold is open.

    Parameters
    ----------
    registry
        Open for writing: its owner.
    days
        As ``raw_keep_days`` of site.toml.
    author
        For the trail.

    Returns
    -------
    int
        Files removed.
    """
    author = require(Action.KEEP, registry).author(author)
    if holds.open_holds(registry):
        return 0
    limit = registry.clock().astimezone(UTC).replace(tzinfo=None) - timedelta(days=days)
    place = registry.folder / FOLDER
    known = files(registry)
    old = sorted(
        sha256 for sha256, one in known.kept.items() if one.at <= limit and (place / sha256).is_file()
    )
    if not old:
        return 0
    details = {CHANGED: dict.fromkeys(old, ""), "days": days, "count": len(old)}
    # The entry comes first: what a crash leaves behind is named by verify and removed next time.
    registry.record(audit.Entry(author, "retention", "received files", "", details))
    for sha256 in (*old, *known.gone):
        (place / sha256).unlink(missing_ok=True)
    return len(old)
