"""What every output is stamped with: which program, which record, which definitions, which day."""

from __future__ import annotations

import hashlib
from functools import cache
from typing import TYPE_CHECKING, Any, Protocol

from registry import __version__
from registry.sqlfiles import folder

if TYPE_CHECKING:
    from datetime import date, datetime

#: Folders of ``sql/`` that decide what a number means.
DEFINITIONS = ("facts", "measures")


class Reader(Protocol):
    """What a stamp needs of an open registry, or of a registry as it was known."""

    def rows(self, sql: str, /) -> list[tuple[Any, ...]]:
        """Rows of one query."""
        ...

    def revision(self) -> int:
        """Counter that every write raises."""
        ...


@cache
def definitions_sha256(*folders: str) -> str:
    """One SHA-256 over the SQL files of some folders of ``sql/``, names included.

    Parameters
    ----------
    folders
        Names of folders, such as ``measures``; order does not matter.

    Returns
    -------
    str
        64 hexadecimal digits. Two programs with the same digest define the same numbers.
    """
    digest = hashlib.sha256()
    for name in sorted(folders):
        for entry in sorted(folder(name).iterdir(), key=lambda place: place.name):
            if entry.name.endswith(".sql"):
                text = entry.read_text(encoding="utf-8").replace("\r\n", "\n")
                digest.update(f"{name}/{entry.name}\n{len(text)}\n{text}\n".encode())
    return digest.hexdigest()


def stamp(registry: Reader, *, as_of: date) -> dict[str, Any]:
    """Stamp of one output.

    Parameters
    ----------
    registry
        An open registry, or the reader of :mod:`registry.known`.
    as_of
        Nothing dated after this day counts in the output.

    Returns
    -------
    dict
        JSON-able: ``program``, ``schema`` (newest migration), ``revision``, ``as_of``
        (ISO), ``definitions_sha256``; and ``known_at`` (ISO, UTC) where the record was
        rebuilt as it was known at a moment.
    """
    made: dict[str, Any] = {
        "program": f"biopsy-outcomes {__version__}",
        "schema": registry.rows("SELECT max(number) FROM schema_version")[0][0],
        "revision": registry.revision(),
        "as_of": as_of.isoformat(),
        "definitions_sha256": definitions_sha256(*DEFINITIONS),
    }
    known_at: datetime | None = getattr(registry, "known_at", None)
    if known_at is not None:
        made["known_at"] = known_at.isoformat(timespec="seconds")
    return made
