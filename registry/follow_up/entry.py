"""What the coordinator enters: a call, a report from elsewhere, the end of the chase. Each is a row of ``followup``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.errors import UsageProblem
from registry.intake import enter
from registry.people import Action, require
from registry.vocabulary import labels

if TYPE_CHECKING:
    from datetime import date

    from registry.store import Registry

#: Results of a call, in the order in which they are most often pressed.
CONTACTS = ("reached", "no_answer", "message_left", "wrong_number", "declined", "seen_elsewhere")


def record_contact(registry: Registry, procedure_id: str, result: str, *, on: date, today: date) -> str:
    """Record a call; the key of the event.

    Parameters
    ----------
    registry
        Open for writing.
    procedure_id
        Procedure that is followed.
    result
        One of ``CONTACTS``.
    on, today
        Day of the call, and the day at the site.

    Raises
    ------
    Refused
        The actor may not enter rows.
    BatchRefused
        A rule of the data dictionary is broken; the sentence says which.
    """
    return _enter(
        registry, procedure_id, on, today, {"kind": "contact", "source": "own", "contact_result": result}
    )


def record_outside(
    registry: Registry, procedure_id: str, *, on: date, modality: str, outcome: str, today: date
) -> str:
    """Record an examination elsewhere; whether it can show the target is told by the worklist.

    Parameters
    ----------
    registry, procedure_id, today
        As :func:`record_contact`.
    on
        Day of the examination.
    modality, outcome
        Codes of ``followup.modality`` and ``followup.imaging_outcome``.
    """
    return _enter(
        registry,
        procedure_id,
        on,
        today,
        {"kind": "imaging", "source": "outside_report", "modality": modality, "imaging_outcome": outcome},
    )


def close(registry: Registry, procedure_id: str, reason: str, *, on: date, today: date) -> str:
    """End the chase for a stated reason; the line stays on the worklist, at its end.

    Parameters
    ----------
    registry, procedure_id, today
        As :func:`record_contact`.
    reason
        Code of ``followup.closure_reason``.
    on
        Day on which it was given up.
    """
    return _enter(
        registry, procedure_id, on, today, {"kind": "lost", "source": "own", "closure_reason": reason}
    )


def _enter(registry: Registry, procedure_id: str, on: date, today: date, cells: dict[str, str]) -> str:
    require(Action.ENTER, registry, kind="procedure", key=procedure_id)
    for field, code in cells.items():
        if field not in ("source", "kind") and code not in labels("followup", field):
            raise UsageProblem(f"{code}: is unknown. Known: {', '.join(labels('followup', field))}.")
    event = _next_key(registry, procedure_id)
    row = {"event_id": event, "procedure_id": procedure_id, "happened_on": on.isoformat(), **cells}
    enter(registry, "followup", row, today=today, reason="follow-up")
    return event


def _next_key(registry: Registry, procedure_id: str) -> str:
    taken = {
        key
        for (key,) in registry.rows(
            "SELECT event_id FROM main.followup WHERE procedure_id = ? "
            "UNION SELECT event_id FROM history.followup WHERE procedure_id = ?",
            [procedure_id, procedure_id],
        )
    }
    number = len(taken) + 1
    # Events of a day are told apart by their keys: a later one must sort after an earlier one.
    while f"{procedure_id}-E{number:03d}" in taken:
        number += 1
    return f"{procedure_id}-E{number:03d}"
