"""The list of the meeting: what waits, most urgent first, and what changed since it was printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from registry import audit, worklists
from registry.concordance.basis import bases
from registry.concordance.flags import proposed
from registry.concordance.signing import SIGNED, standing
from registry.people import Action, require
from registry.sqlfiles import queries

if TYPE_CHECKING:
    from datetime import date, datetime

    from registry.store import Registry

#: Place of what the worklist does not hold by itself.
_CHANGED_PLACE, _UNSEEN_PLACE = 1, 7
SCHEMA: dict[str, type[pl.DataType]] = {
    "place": pl.Int64,
    "reason": pl.String,
    "procedure_id": pl.String,
    "site": pl.String,
    "started_on": pl.Date,
    "finding_type": pl.String,
    "assessment": pl.String,
    "diagnosis": pl.String,
    "waiting_since": pl.Date,
    "days_overdue": pl.Int64,
    "changed": pl.String,
    "flags": pl.Int64,
}


@dataclass(frozen=True)
class Printed:
    """The last printed list: when, by whom, and procedure -> (reason, what became of it since)."""

    print_id: int
    recorded_at: datetime
    author: str
    as_of: date
    changes: tuple[tuple[str, str], ...]


def listed(registry: Registry, *, as_of: date) -> pl.DataFrame:
    """Procedures for the meeting, most urgent first, each with the reason for its place.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Nothing dated after this day counts.

    Returns
    -------
    DataFrame
        Columns of ``SCHEMA``: the worklist concordance_review, signed decisions of which
        something that decides changed, and targets that were not sampled because nothing
        was seen. ``flags`` counts what the rules propose.
    """
    require(Action.WORKLISTS, registry)
    waiting = worklists.rows(registry, "concordance_review", as_of=as_of)
    parts = [_columns(waiting)]
    there = set(waiting["procedure_id"])
    if changed := [one for one in _changed(registry) if one not in there]:
        parts.append(_rows(registry, changed, _CHANGED_PLACE, "changed since it was signed", as_of))
        there |= set(changed)
    unseen = [
        one
        for one in worklists.rows(registry, "cancelled_unresolved", as_of=as_of)["procedure_id"].to_list()
        if one not in there
    ]
    if unseen:
        parts.append(_rows(registry, unseen, _UNSEEN_PLACE, "not sampled, and not resolved", as_of))
    found = pl.concat(parts)
    fired = proposed(registry, found["procedure_id"].to_list(), as_of=as_of)
    count = [len(fired.get(one, ())) for one in found["procedure_id"]]
    return found.with_columns(pl.Series("flags", count, dtype=pl.Int64)).sort(
        ["place", "days_overdue", "flags", "waiting_since", "procedure_id"],
        descending=[False, True, True, False, False],
    )


def _columns(found: pl.DataFrame) -> pl.DataFrame:
    kept = {name: kind for name, kind in SCHEMA.items() if name != "flags"}
    return found.select(pl.col(name).cast(kind) for name, kind in kept.items())


def _changed(registry: Registry) -> list[str]:
    """Procedures whose newest signed decision is not what was signed, until both have signed it anew."""
    touched = [one for (one,) in registry.rows(queries("concordance")["signed_and_touched"].sql)]
    if not touched:
        return []
    newest = registry.rows(
        "SELECT procedure_id, arg_max(review_id, signature_id) FROM review_signature "
        "WHERE procedure_id IN (SELECT unnest($ids)) GROUP BY procedure_id",
        {"ids": touched},
    )
    states = standing(registry, [review for _, review in newest])
    return sorted(
        procedure
        for procedure, review in newest
        if states[review].state != SIGNED and not all(one.holds for one in states[review].signatures)
    )


def _rows(registry: Registry, ids: list[str], place: int, reason: str, as_of: date) -> pl.DataFrame:
    given = {"ids": ids, "as_of": as_of, "place": place, "reason": reason}
    return _columns(registry.frame(queries("concordance")["listed"].sql, given))


# -- printing ------------------------------------------------------------------------------


def print_list(registry: Registry, *, as_of: date) -> int:
    """Keep the list as it is printed; its running number.

    Raises
    ------
    Refused
        The actor may not see what waits.
    """
    actor = require(Action.WORKLISTS, registry)
    rows = listed(registry, as_of=as_of)
    now = bases(registry, rows["procedure_id"].to_list())
    moment = registry.clock().replace(tzinfo=None)
    with registry.writing() as cursor:
        number = int(
            cursor.execute("SELECT coalesce(max(print_id), 0) + 1 FROM printed_list").fetchall()[0][0]
        )
        cursor.execute("INSERT INTO printed_list VALUES (?, ?, ?, ?)", [number, moment, actor.name, as_of])
        kept = [
            [number, row["procedure_id"], row["reason"], now[row["procedure_id"]].basis]
            for row in rows.iter_rows(named=True)
        ]
        if kept:
            cursor.executemany("INSERT INTO printed_list_row VALUES (?, ?, ?, ?)", kept)
        audit.append(
            cursor,
            registry.key,
            registry.clock(),
            audit.Entry(actor.name, "print", "list", str(number), {"as_of": str(as_of), "rows": len(kept)}),
        )
    return number


def since_printed(registry: Registry, *, as_of: date) -> Printed | None:
    """What changed since the list was printed last; None where none was.

    A procedure is new, no longer listed, listed for another reason, or what decides about it changed.
    """
    require(Action.WORKLISTS, registry)
    last = registry.rows(
        "SELECT print_id, recorded_at, author, as_of FROM printed_list ORDER BY print_id DESC LIMIT 1"
    )
    if not last:
        return None
    then = {
        key: (reason, basis)
        for key, reason, basis in registry.rows(
            "SELECT procedure_id, reason, basis FROM printed_list_row WHERE print_id = ?", [last[0][0]]
        )
    }
    rows = listed(registry, as_of=as_of)
    reasons = dict(zip(rows["procedure_id"], rows["reason"], strict=True))
    now = bases(registry, sorted({*then, *reasons}))
    changes = []
    for key in sorted({*then, *reasons}):
        if key not in then:
            changes.append((key, "new on the list"))
        elif key not in reasons:
            changes.append((key, "no longer on the list"))
        elif key not in now or now[key].basis != then[key][1]:
            changes.append((key, "what decides has changed"))
        elif reasons[key] != then[key][0] and not _only_time_passed(then[key][0], reasons[key]):
            changes.append((key, f"now: {reasons[key]}"))
    number, moment, author, day = last[0]
    return Printed(number, moment, author, day, tuple(changes))


def _only_time_passed(before: str, after: str) -> bool:
    return before.startswith("reported ") and after.startswith("reported ")
