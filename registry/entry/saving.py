"""Saving a row that somebody else may have changed meanwhile: nobody overwrites what they have not seen."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from registry.dictionary import IDENTIFYING, KEYS, tables
from registry.entry.drafts import discard
from registry.entry.forms import FORMS
from registry.errors import UsageProblem
from registry.holds import normal
from registry.imports import form
from registry.intake import Options, accept, enter
from registry.people import Action, require
from registry.people.reads import note_read

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.intake import ReportedProblem
    from registry.store import Registry

#: Word that empties a field; an empty cell says nothing.
ERASE = "<erase>"
#: Between the look at the stored row and the save nobody else may save: one process owns a folder.
one_at_a_time = threading.Lock()


@dataclass(frozen=True)
class Opened:
    """A row as a form finds it: field -> text, and the version that it was; empty for a new row."""

    cells: Mapping[str, str]
    version: str


class Changed(UsageProblem):
    """Somebody else changed the row meanwhile; ``theirs`` maps each changed field to (then, now)."""

    def __init__(self, theirs: Mapping[str, tuple[str, str]]) -> None:
        named = ", ".join(theirs)
        super().__init__(
            f"Nothing was saved: somebody else has changed this row since you opened it ({named}). Look at both versions, "
            "take over what is right, and save again."
        )
        self.theirs = theirs


def opened(registry: Registry, table: str, key: Mapping[str, str]) -> Opened:
    """The stored row of a key, as text; no cells where there is none yet.

    Identifiers are not among them: a form that changes one types it.

    Parameters
    ----------
    registry
        An open registry.
    table
        One of ``FORMS``.
    key
        Key field -> text.

    Raises
    ------
    UsageProblem
        There is no form for this table.
    Refused
        The actor may not open records.
    """
    actor = require(Action.RECORD, registry, kind=table)
    if table not in FORMS:
        raise UsageProblem(f"{table}: there is no form for it. Known: {', '.join(FORMS)}.")
    stored = _stored_key(registry, table, key)
    tests = " AND ".join(f"coalesce(CAST(r.{name} AS VARCHAR), '') = ?" for name in stored)
    rows = registry.frame(f"SELECT r.* FROM main.{table} AS r WHERE {tests}", [*stored.values()]).to_dicts()
    if not rows:
        return Opened({}, "")
    note_read(registry, actor, table, "|".join(stored.values()))
    row = rows[0]
    shown = [one.name for one in tables()[table].fields if (table, one.name) not in IDENTIFYING]
    cells = {name: text(row[name]) for name in shown if row[name] is not None}
    return Opened(cells, f"{row['recorded_at'].isoformat()} {row['batch_id']}")


def _stored_key(registry: Registry, table: str, key: Mapping[str, str]) -> dict[str, str]:
    """Column -> text by which the row of a key is found; a patient by the pseudonym of the identifier.

    A pseudonym in its place finds nothing: saved, it would become a patient of its own.
    """
    if table == "patients":
        given = normal(key.get("patient_id", ""))
        return {"patient": registry.pseudonyms.of(given) if given else ""}
    return {name: key.get(name, "").strip() for name in KEYS[table] if (table, name) not in IDENTIFYING}


def text(value: Any) -> str:
    """A stored value as it is written in a cell."""
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes" if not (value.second or value.microsecond) else "auto")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:g}" if float(f"{value:g}") == value else repr(value)
    return str(value)


def check(
    registry: Registry, table: str, cells: Mapping[str, str], *, today: date
) -> tuple[ReportedProblem, ...]:
    """What intake would say of a row, nothing written: problems first, then what to look at.

    Raises
    ------
    Refused
        The actor may not enter rows.
    """
    require(Action.ENTER, registry, kind=table)
    report = accept(
        registry, form.received({table: [cells]}), author="", today=today, options=Options(dry_run=True)
    )
    return (*report.problems, *report.warnings)


def save(
    registry: Registry,
    table: str,
    cells: Mapping[str, str],
    *,
    version: str,
    reason: str,
    today: date,
) -> None:
    """Save a row, as a new one or as a new version of the one that was opened.

    A field that was filled when the form was opened and is empty now is emptied. The draft
    of whoever saves is gone afterwards.

    Parameters
    ----------
    registry
        Open for writing.
    table, cells
        One of ``FORMS``, and field -> text, the key among them.
    version
        From :func:`opened`; empty for a new row.
    reason
        Why a stored row is changed; "entered" for a new one.
    today
        The day at the site.

    Raises
    ------
    Changed
        The stored row is no longer the one that was opened.
    BatchRefused
        A rule of the data dictionary refuses the row.
    UsageProblem
        A changed row without a reason.
    """
    require(Action.ENTER, registry, kind=table)
    if version and not reason.strip():
        raise UsageProblem("Nothing was saved: say why the row is changed.")
    with one_at_a_time:
        now = opened(registry, table, cells)
        if now.version != version:
            raise Changed(_differences(table, cells, now.cells))
        emptied = {name: ERASE for name in now.cells if not cells.get(name, "").strip()}
        enter(registry, table, {**cells, **emptied}, today=today, reason=reason.strip() or "entered")
    discard(registry, table, row_key(table, cells))


def row_key(table: str, cells: Mapping[str, str]) -> str:
    """The key of a row in one text, without identifiers."""
    return "|".join(cells.get(name, "").strip() for name in KEYS[table] if (table, name) not in IDENTIFYING)


def _differences(table: str, mine: Mapping[str, str], now: Mapping[str, str]) -> dict[str, tuple[str, str]]:
    """Field -> (what the form says, what is stored), where they differ; identifiers are not read back."""
    names = [name for name in dict.fromkeys([*now, *mine]) if (table, name) not in IDENTIFYING]
    both = {name: (mine.get(name, ""), now.get(name, "")) for name in names}
    return {name: pair for name, pair in both.items() if pair[0].strip() != pair[1]}
