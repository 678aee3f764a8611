"""Drafts: what somebody has begun to enter. They survive a reload and a restart, and count nowhere."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.entry.forms import form_fields
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from registry.store import Registry


@dataclass(frozen=True)
class Draft:
    """One draft of one person: ``version`` is that of the stored row on which the form was opened."""

    table: str
    row_key: str
    saved_at: datetime
    version: str
    cells: Mapping[str, str]


def keep(registry: Registry, table: str, row_key: str, cells: Mapping[str, str], *, version: str) -> None:
    """Keep what whoever acts has entered so far, instead of their earlier draft of the row.

    Identifiers and free text are left out: they are typed when the row is saved.

    Raises
    ------
    Refused
        The actor may not enter rows.
    """
    actor = require(Action.ENTER, registry, kind=table, key=row_key)
    allowed = {one.name for one in form_fields(table) if one.kept}
    kept = {name: text for name, text in cells.items() if name in allowed and text.strip()}
    moment = registry.clock().replace(tzinfo=None)
    with registry.writing() as cursor:
        _remove(cursor, actor.name, table, row_key)
        cursor.execute(
            "INSERT INTO entry_draft VALUES (?, ?, ?, ?, ?, ?)",
            [actor.name, table, row_key, moment, version, json.dumps(kept, ensure_ascii=False)],
        )


def drafts(registry: Registry) -> tuple[Draft, ...]:
    """Drafts of whoever acts, the newest first.

    Raises
    ------
    Refused
        The actor may not enter rows.
    """
    actor = require(Action.ENTER, registry)
    rows = registry.rows(
        "SELECT table_name, row_key, saved_at, opened_on, cells FROM entry_draft WHERE person = ? "
        "ORDER BY saved_at DESC, table_name, row_key",
        [actor.name],
    )
    return tuple(
        Draft(table, row_key, saved_at, version, json.loads(cells))
        for table, row_key, saved_at, version, cells in rows
    )


def draft(registry: Registry, table: str, row_key: str) -> Draft | None:
    """The draft of whoever acts of one row; None where there is none."""
    require(Action.ENTER, registry, kind=table, key=row_key)
    return next((one for one in drafts(registry) if (one.table, one.row_key) == (table, row_key)), None)


def discard(registry: Registry, table: str, row_key: str) -> None:
    """Take the draft of whoever acts of one row away, if there is one.

    Raises
    ------
    Refused
        The actor may not enter rows.
    """
    if draft(registry, table, row_key) is None:
        return
    actor = require(Action.ENTER, registry, kind=table, key=row_key)
    with registry.writing() as cursor:
        _remove(cursor, actor.name, table, row_key)


def _remove(cursor: object, person: str, table: str, row_key: str) -> None:
    cursor.execute(  # type: ignore[attr-defined]
        "DELETE FROM entry_draft WHERE person = ? AND table_name = ? AND row_key = ?",
        [person, table, row_key],
    )
