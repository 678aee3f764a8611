"""What a meeting has before it: the list to be decided, and what earlier meetings left open."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from registry import worklists
from registry.errors import UsageProblem
from registry.people import Action, require
from registry.sqlfiles import queries
from registry.vocabulary import column

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from registry.store import Registry

#: What earlier meetings left open, in this order; a procedure stands once, on the first list that has it.
OPEN_LISTS = ("actions_open", "discordant_unbooked", "cancelled_unresolved")
#: Columns of :func:`open_actions`.
OPEN_COLUMNS = (
    "reason",
    "procedure_id",
    "started_on",
    "reviewed_on",
    "determination",
    "management",
    "responsible",
    "due_on",
    "days_overdue",
)


def roles() -> Mapping[str, str]:
    """Role code -> label of those who attend."""
    return column("meeting_role", "label")


def listed(registry: Registry) -> pl.DataFrame:
    """Meetings, the latest first: meeting_id, held_on, site, chair, attendees, closed_at, decided, minutes."""
    require(Action.WORKLISTS, registry)
    return registry.frame(queries("meetings")["listed"].sql)


def sites(registry: Registry) -> tuple[str, ...]:
    """Sites that have a procedure."""
    require(Action.WORKLISTS, registry)
    return tuple(str(one) for (one,) in registry.rows(queries("meetings")["sites"].sql))


def meeting(registry: Registry, meeting_id: str) -> dict[str, Any]:
    """One row of :func:`listed`.

    Raises
    ------
    UsageProblem
        There is no such meeting.
    """
    require(Action.WORKLISTS, registry)
    for row in listed(registry).iter_rows(named=True):
        if row["meeting_id"] == meeting_id:
            return row
    raise UsageProblem(
        f"{meeting_id}: there is no such meeting. Open it on the page Meetings, or bring it in with meetings.csv."
    )


def agenda(registry: Registry, meeting_id: str) -> pl.DataFrame:
    """What stands to be decided at a meeting: the concordance list of its site, as of its day."""
    require(Action.WORKLISTS, registry)
    one = meeting(registry, meeting_id)
    return _of_site(registry, "concordance_review", one["site"], one["held_on"])


def open_actions(registry: Registry, meeting_id: str) -> pl.DataFrame:
    """Steps of earlier meetings that are neither booked nor done, and what was never resolved.

    Joined from three worklists: steps recommended and not done (those that the patient
    declined are left to the next list), discordant decisions without a booking, targets not
    sampled beyond the local limit. What was decided at this meeting or later is no open action of it.

    Returns
    -------
    DataFrame
        ``OPEN_COLUMNS``; no rows where nothing is open.
    """
    require(Action.WORKLISTS, registry)
    one = meeting(registry, meeting_id)
    made: list[dict[str, Any]] = []
    seen: set[str] = set()
    for name in OPEN_LISTS:
        for row in _of_site(registry, name, one["site"], one["held_on"]).iter_rows(named=True):
            if row["procedure_id"] not in seen and _is_open(name, row, one["held_on"]):
                seen.add(row["procedure_id"])
                made.append({key: row.get(key) for key in OPEN_COLUMNS})
    kinds = {"started_on": pl.Date, "reviewed_on": pl.Date, "due_on": pl.Date, "days_overdue": pl.Int64}
    schema = {key: kinds.get(key, pl.String) for key in OPEN_COLUMNS}
    for row in made:
        row["management"] = row["management"] or None
    return pl.DataFrame(made, schema=schema)


def _is_open(name: str, row: dict[str, Any], held_on: date) -> bool:
    if name == "cancelled_unresolved":
        return bool(row["days_overdue"] > 0)
    if row["reviewed_on"] >= held_on:
        return False
    return name != "actions_open" or row["declined_on"] is None


def decisions(registry: Registry, meeting_id: str) -> tuple[dict[str, Any], ...]:
    """Joint reviews of a meeting: review_id, procedure_id, recorded_at."""
    require(Action.WORKLISTS, registry)
    found = registry.frame(queries("meetings")["decisions"].sql, {"meeting_id": meeting_id})
    return tuple(found.iter_rows(named=True))


def _of_site(registry: Registry, name: str, site: str, day: date) -> pl.DataFrame:
    return worklists.rows(registry, name, as_of=day).filter(pl.col("site") == site)
