"""The audit chain: each entry is bound to the one before it under the site key.

The chain lies in the registry, its head is copied to ``audit.anchor`` after each
commit. Without the key nobody can rebuild the chain; without the anchor a cut at the
end would go unseen.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    import duckdb

#: ``prev`` of the first entry.
GENESIS = "0" * 64
COLUMNS = "seq, happened_at, actor, action, object_kind, object_key, outcome, details, prev, mac"


@dataclass(frozen=True)
class Entry:
    """One entry of the trail, without its chain values."""

    actor: str
    action: str
    object_kind: str
    object_key: str
    details: dict[str, Any]
    outcome: str = "done"


@dataclass(frozen=True)
class Head:
    """Number and mac of an entry; number 0 is the empty chain."""

    seq: int
    mac: str


def canonical(details: dict[str, Any]) -> str:
    """JSON with sorted keys, no spaces, NFC text: the same bytes for the same facts."""
    text = json.dumps(details, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)
    return unicodedata.normalize("NFC", text)


def mac_of(key: bytes, prev: str, seq: int, at: datetime, fields: tuple[str, ...]) -> str:
    """HMAC-SHA-256 over the mac before, the number, the time and the texts of an entry.

    ``fields`` are actor, action, object_kind, object_key, outcome and details.
    """
    form = canonical({"at": at.isoformat(timespec="microseconds"), "fields": list(fields), "seq": seq})
    return hmac.new(key, f"{prev}{form}".encode(), hashlib.sha256).hexdigest()


def head(cursor: duckdb.DuckDBPyConnection) -> Head:
    """The newest entry of the chain as the registry holds it."""
    rows = cursor.execute("SELECT seq, mac FROM audit_event ORDER BY seq DESC LIMIT 1").fetchall()
    return Head(*rows[0]) if rows else Head(0, GENESIS)


def append(cursor: duckdb.DuckDBPyConnection, key: bytes, at: datetime, entry: Entry) -> Head:
    """Add one entry inside the caller's transaction; returns the new head."""
    last = head(cursor)
    moment = at.astimezone(UTC).replace(tzinfo=None)
    seq = last.seq + 1
    fields = (
        entry.actor,
        entry.action,
        entry.object_kind,
        entry.object_key,
        entry.outcome,
        canonical(entry.details),
    )
    mac = mac_of(key, last.mac, seq, moment, fields)
    cursor.execute(
        f"INSERT INTO audit_event ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [seq, moment, *fields, last.mac, mac],
    )
    return Head(seq, mac)


def first_broken(rows: Iterable[tuple[Any, ...]], key: bytes) -> tuple[int, str] | None:
    """First entry whose number, link or mac does not hold, with what is wrong.

    Parameters
    ----------
    rows
        Entries ordered by ``seq``, columns as :data:`COLUMNS`.
    key
        Site key.
    """
    prev, expected = GENESIS, 1
    for seq, at, actor, action, kind, object_key, outcome, details, linked, mac in rows:
        if seq != expected:
            return expected, f"entry {expected} is missing or out of order (found {seq})"
        if linked != prev:
            return seq, f"entry {seq} is not linked to the entry before it"
        fields = (actor, action, kind, object_key, outcome, details)
        if not hmac.compare_digest(mac.encode(), mac_of(key, prev, seq, at, fields).encode()):
            return seq, f"entry {seq} was changed after it was written"
        prev, expected = mac, expected + 1
    return None


def write_anchor(path: Path, newest: Head, at: datetime) -> None:
    """Add the head to the anchor file and force it to disk."""
    line = f"{newest.seq} {newest.mac} {at.astimezone(UTC).isoformat(timespec='seconds')}\n"
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        os.write(descriptor, line.encode())
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def read_anchors(path: Path) -> list[tuple[int, str, str]]:
    """Every (seq, mac, time) of the anchor file; a torn last line is left out."""
    if not path.exists():
        return []
    anchors = []
    for line in path.read_text(encoding="ascii", errors="replace").splitlines():
        parts = line.split()
        if len(parts) == 3 and parts[0].isdigit() and len(parts[1]) == len(GENESIS):
            anchors.append((int(parts[0]), parts[1], parts[2]))
    return anchors


def anchor_problem(cursor: duckdb.DuckDBPyConnection, anchors: list[tuple[int, str, str]]) -> str | None:
    """What the newest anchors say against the chain, or None where they agree.

    A head ahead of the anchor is normal after a crash between commit and anchor; an
    anchor ahead of the head means that recorded entries are gone.
    """
    if not anchors:
        return None
    newest = max(anchors)
    found = dict(cursor.execute("SELECT seq, mac FROM audit_event WHERE seq >= ?", [newest[0]]).fetchall())
    if newest[0] not in found:
        last = head(cursor)
        known = {seq: time for seq, _, time in anchors}
        since = known.get(last.seq, "the beginning")
        return f"{newest[0] - last.seq} entries of the trail are missing since {since}"
    if found[newest[0]] != newest[1]:
        return f"entry {newest[0]} of the trail is not the one that was anchored at {newest[2]}"
    return None
