"""Cohort files as they are kept once frozen: written once, bound to the trail.

What stands in them is the business of :mod:`registry.cohorts`; here it is text with a digest.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry import audit
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from datetime import datetime

    import duckdb

    from registry.store import Registry

FREEZE = "freeze a cohort"
_KIND = "cohort"
_COLUMNS = "name, version, sha256, content, author, frozen_at"


@dataclass(frozen=True)
class Frozen:
    """A frozen cohort file: ``content`` is canonical JSON, ``sha256`` its digest."""

    name: str
    version: int
    sha256: str
    content: str
    author: str
    frozen_at: datetime


def keep(
    registry: Registry, name: str, version: int, previous: str | None, content: str, author: str
) -> Frozen:
    """Write a cohort file with its entry of the trail, in one transaction; once written, it is only given back.

    Raises
    ------
    UsageProblem
        Another content has this name and version, or the version before is missing or
        another one than the file names.
    """
    now, sha256 = registry.clock(), hashlib.sha256(content.encode()).hexdigest()
    made = Frozen(name, version, sha256, content, author, now.replace(tzinfo=None))
    with registry.writing() as cursor:
        kept = _of(cursor, name)
        if there := kept.get(version):
            if there.sha256 != sha256:
                raise UsageProblem(
                    f"Cohort {name}, version {version}, is frozen with another content (SHA-256 {there.sha256}). "
                    f"Nothing is edited in place: give the changed file version {max(kept) + 1} and name "
                    f"{kept[max(kept)].sha256} in previous."
                )
            return there
        _follows(kept, made, previous)
        cursor.execute(
            f"INSERT INTO frozen_cohort ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)",
            [name, version, sha256, content, author, made.frozen_at],
        )
        cursor.execute("UPDATE facts_state SET revision = revision + 1")
        details = {"version": version, "sha256": sha256}
        audit.append(cursor, registry.key, now, audit.Entry(author, FREEZE, _KIND, name, details))
    return made


def _follows(kept: dict[int, Frozen], made: Frozen, previous: str | None) -> None:
    newest = max(kept, default=0)
    if made.version != newest + 1:
        said = f"its newest frozen version is {newest}" if newest else "no version of it is frozen"
        raise UsageProblem(
            f"Cohort {made.name}, version {made.version}: {said}. The next one to freeze is version {newest + 1}."
        )
    if newest and previous != kept[newest].sha256:
        raise UsageProblem(
            f"Cohort {made.name}, version {made.version}, names another file as version {newest} than the frozen one. "
            f"Write {kept[newest].sha256} in previous."
        )


def _of(cursor: duckdb.DuckDBPyConnection, name: str) -> dict[int, Frozen]:
    rows = cursor.execute(f"SELECT {_COLUMNS} FROM frozen_cohort WHERE name = ?", [name]).fetchall()
    return {int(row[1]): Frozen(*row) for row in rows}


def all_of(registry: Registry) -> tuple[Frozen, ...]:
    """All frozen cohort files, by name and version."""
    rows = registry.rows(f"SELECT {_COLUMNS} FROM frozen_cohort ORDER BY name, version")
    return tuple(Frozen(*row) for row in rows)


def disagreements(registry: Registry) -> list[str]:
    """What the table says otherwise than the trail, one sentence a version."""
    if not registry.rows("SELECT 1 FROM information_schema.tables WHERE table_name = 'frozen_cohort'"):
        return []
    told = {
        (str(name), str(version)): (str(sha256), str(actor))
        for name, version, sha256, actor in registry.rows(
            "SELECT object_key, json_extract_string(details, '$.version'), json_extract_string(details, '$.sha256'), actor "
            "FROM audit_event WHERE object_kind = ? AND action = ? AND outcome = 'done'",
            [_KIND, FREEZE],
        )
    }
    found = [
        f"Cohort {one.name}, version {one.version}, is not the file that the trail says was frozen."
        for one in all_of(registry)
        if told.pop((one.name, str(one.version)), None)
        != (hashlib.sha256(one.content.encode()).hexdigest(), one.author)
    ]
    found += [
        f"Cohort {name}, version {version}, is missing, and the trail says that it was frozen."
        for name, version in told
    ]
    return sorted(found)
