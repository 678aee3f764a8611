"""Signed minutes as they are kept: written once, bound to the trail, emptied only by an erasure.

What stands in them is the business of :mod:`registry.meetings`; here it is text with a digest.
Each entry has a digest of its own and the minutes have one over all of them, so that an
entry can be emptied when a patient is erased and the rest still proves itself (decision 0021).
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from registry import audit
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from datetime import datetime

    import duckdb

    from registry.store import Registry

SIGN = "sign minutes"
_KIND = "meeting"
#: In place of an entry whose patient was erased.
ERASED = "(erased)"
_COLUMNS = "minutes_no, meeting_id, signed_at, signed_by, amends, reason, head_seq, head_mac, opening, sha256"


@dataclass(frozen=True)
class Entry:
    """What minutes say of one procedure: ``content`` is JSON, or ``ERASED``; ``part`` is decided, undecided or open."""

    part: str
    procedure_id: str
    content: str
    sha256: str


@dataclass(frozen=True)
class Kept:
    """Signed minutes: ``head_seq`` and ``head_mac`` are the head of the trail just before they were signed."""

    number: int
    meeting_id: str
    signed_at: datetime
    signed_by: str
    amends: int | None
    reason: str | None
    head_seq: int
    head_mac: str
    opening: str
    sha256: str
    entries: tuple[Entry, ...] = ()


def digest(text: str) -> str:
    """SHA-256 of a text, as hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def entry(part: str, procedure_id: str, content: dict[str, Any]) -> Entry:
    """An entry with its digest."""
    text = audit.canonical(content)
    return Entry(part, procedure_id, text, digest(text))


def keep(
    registry: Registry,
    meeting_id: str,
    *,
    author: str,
    opening: dict[str, Any],
    entries: tuple[Entry, ...],
    reason: str | None,
    amends: int | None,
) -> Kept:
    """Write minutes with their entry of the trail, in one transaction.

    Raises
    ------
    UsageProblem
        Somebody signed or amended them meanwhile.
    """
    now = registry.clock()
    with registry.writing() as cursor:
        last = _numbers(cursor, meeting_id)
        if (last or None) != amends:
            raise UsageProblem(
                f"The minutes of {meeting_id} were signed or amended meanwhile. Nothing was written. Look at them again."
            )
        number = int(
            cursor.execute("SELECT coalesce(max(minutes_no), 0) + 1 FROM signed_minutes").fetchall()[0][0]
        )
        head = audit.head(cursor)
        # Stored without the zone, to the microsecond: what is read back gives the same digest.
        at = now.replace(tzinfo=None)
        unsigned = Kept(
            number,
            meeting_id,
            at,
            author,
            amends,
            reason,
            head.seq,
            head.mac,
            audit.canonical(opening),
            "",
            entries,
        )
        made = Kept(**{**unsigned.__dict__, "sha256": digest_of(unsigned)})
        cursor.execute(
            f"INSERT INTO signed_minutes ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [number, meeting_id, at, author, amends, reason, head.seq, head.mac, made.opening, made.sha256],
        )
        for place, one in enumerate(entries, start=1):
            cursor.execute(
                "INSERT INTO signed_minutes_entry (minutes_no, place, part, procedure_id, content, sha256) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                [number, place, one.part, one.procedure_id, one.content, one.sha256],
            )
        cursor.execute("UPDATE facts_state SET revision = revision + 1")
        details = {"minutes": number, "amends": amends, "entries": len(entries), "sha256": made.sha256}
        audit.append(cursor, registry.key, now, audit.Entry(author, SIGN, _KIND, meeting_id, details))
    return made


def _numbers(cursor: duckdb.DuckDBPyConnection, meeting_id: str) -> int:
    rows = cursor.execute(
        "SELECT coalesce(max(minutes_no), 0) FROM signed_minutes WHERE meeting_id = ?", [meeting_id]
    ).fetchall()
    return int(rows[0][0])


def digest_of(kept: Kept) -> str:
    """Digest over everything that was signed: the head of the trail, the opening, each entry's digest."""
    return digest(
        audit.canonical(
            {
                "minutes": kept.number,
                "meeting": kept.meeting_id,
                "at": kept.signed_at.isoformat(timespec="microseconds"),
                "by": kept.signed_by,
                "amends": kept.amends,
                "reason": kept.reason,
                "head": [kept.head_seq, kept.head_mac],
                "opening": kept.opening,
                "entries": [[one.part, one.procedure_id, one.sha256] for one in kept.entries],
            }
        )
    )


def all_of(registry: Registry, meeting_id: str | None = None) -> tuple[Kept, ...]:
    """Minutes of a meeting, or of all, the first signed first."""
    heads = registry.rows(
        f"SELECT {_COLUMNS} FROM signed_minutes WHERE $meeting IS NULL OR meeting_id = $meeting ORDER BY minutes_no",
        {"meeting": meeting_id},
    )
    entries: dict[int, list[Entry]] = {}
    for number, *rest in registry.rows(
        "SELECT minutes_no, part, procedure_id, content, sha256 FROM signed_minutes_entry ORDER BY minutes_no, place"
    ):
        entries.setdefault(int(number), []).append(Entry(*rest))
    return tuple(replace(Kept(*row), entries=tuple(entries.get(int(row[0]), ()))) for row in heads)


def content(one: Entry) -> dict[str, Any] | None:
    """What an entry says; None where it was erased."""
    return None if one.content == ERASED else json.loads(one.content)


# -- against the trail -------------------------------------------------------------


def disagreements(registry: Registry) -> list[str]:
    """What the tables say otherwise than the trail, one sentence a minutes."""
    if not registry.rows("SELECT 1 FROM information_schema.tables WHERE table_name = 'signed_minutes'"):
        return []
    told = {
        (str(meeting), str(number)): str(sha256)
        for meeting, number, sha256 in registry.rows(
            "SELECT object_key, json_extract_string(details, '$.minutes'), json_extract_string(details, '$.sha256') "
            "FROM audit_event WHERE object_kind = ? AND action = ? AND outcome = 'done'",
            [_KIND, SIGN],
        )
    }
    there = {str(one) for (one,) in registry.rows("SELECT procedure_id FROM main.procedures")}
    kept = all_of(registry)
    found = []
    for one in kept:
        if told.pop((one.meeting_id, str(one.number)), None) != digest_of(one):
            found.append(
                f"Minutes {one.number} of {one.meeting_id} are not those that the trail says were signed."
            )
            continue
        found += [
            f"Minutes {one.number} of {one.meeting_id}: the entry of {part.procedure_id} was changed after it was signed."
            for part in one.entries
            if (part.procedure_id in there if part.content == ERASED else digest(part.content) != part.sha256)
        ]
    found += [
        f"Minutes {number} of {meeting} are missing, and the trail says they were signed."
        for meeting, number in told
    ]
    return sorted(found)


# -- erasure -----------------------------------------------------------------------

THEIRS = "procedure_id IN (SELECT unnest($procedures)) AND content <> $erased"


def count_of(registry: Registry, procedures: list[str]) -> int:
    """Entries that speak of these procedures and are not empty yet."""
    sql = f"SELECT count(*) FROM signed_minutes_entry WHERE {THEIRS}"
    return int(registry.rows(sql, {"procedures": procedures, "erased": ERASED})[0][0])


def empty(cursor: duckdb.DuckDBPyConnection, procedures: list[str]) -> None:
    """Empty what minutes say of these procedures; their digests stay."""
    cursor.execute(
        f"UPDATE signed_minutes_entry SET content = $erased WHERE {THEIRS}",
        {"procedures": procedures, "erased": ERASED},
    )
