"""What was said to a signal: kept beside it, and in the trail."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from registry import audit
from registry.errors import UsageProblem
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    from registry.store import Registry

ANSWERS: Mapping[str, str] = MappingProxyType(
    {
        "looking": "Being looked into",
        "chance": "Looked at: no reason found, chance is left",
        "case_mix": "Looked at: other patients or findings than before",
        "record": "Looked at: the record was wrong and has been corrected",
        "practice": "Looked at: a change of practice, named in the note",
        "other": "Something else, named in the note",
    }
)
LONGEST = 1000
"""Characters of a note."""


@dataclass(frozen=True)
class Note:
    """One answer to a signal; never changed, a later one stands beside it."""

    number: int
    recorded_at: datetime
    author: str
    measure: str
    procedure_id: str
    chart: str
    stratum: str
    design: str
    answer: str
    note: str


def notes(registry: Registry, measure_id: str) -> tuple[Note, ...]:
    """Notes on the signals of one measure, the newest first."""
    require(Action.PROCEDURES, registry)
    return _noted(registry, "measure = ?", [measure_id])


def answered(registry: Registry, start: date, end: date) -> tuple[Note, ...]:
    """Notes on signals of any measure and chart at a procedure of the period, the newest first.

    Parameters
    ----------
    start, end
        First and last day on which the procedure started, both included.
    """
    require(Action.PROCEDURES, registry)
    return _noted(
        registry,
        "procedure_id IN (SELECT procedure_id FROM procedure_facts WHERE started_on BETWEEN ? AND ?)",
        [start, end],
    )


def _noted(registry: Registry, condition: str, parameters: list[Any]) -> tuple[Note, ...]:
    rows = registry.rows(
        "SELECT note_id, recorded_at, author, measure, procedure_id, chart, stratum, design, answer, note "
        f"FROM signal_note WHERE {condition} ORDER BY note_id DESC",
        parameters,
    )
    return tuple(Note(*row) for row in rows)


def answer(
    registry: Registry,
    measure_id: str,
    procedure_id: str,
    *,
    chart: str,
    stratum: str,
    design: str,
    answer: str,
    note: str,
    author: str,
) -> Note:
    """Keep an answer to a signal, with an entry of the trail in the same transaction.

    Parameters
    ----------
    registry
        Open for writing.
    measure_id, procedure_id
        What was watched, and the procedure at which it signalled.
    chart, stratum, design
        Which chart, over which procedures, with which limits.
    answer
        One of ``ANSWERS``.
    note
        1 to 1000 characters; it goes into no export, and only its digest into the trail.
    author
        Who answers, where a program on the machine does it for somebody.

    Raises
    ------
    Refused
        The actor may not see the results of every operator.
    UsageProblem
        The note is empty or too long, or the answer or procedure does not exist.
    """
    who = require(Action.OPERATORS, registry, kind="signal", key=procedure_id).author(author)
    text = note.strip()
    if not 0 < len(text) <= LONGEST:
        raise UsageProblem(f"A signal is answered with a note of 1 to {LONGEST} characters. Write one.")
    if not answer:
        raise UsageProblem("Choose what was found, or that it is being looked into.")
    if answer not in ANSWERS:
        raise UsageProblem(f"{answer}: there is no such answer. Known: {', '.join(ANSWERS)}.")
    now = registry.clock().replace(tzinfo=None)
    with registry.writing() as cursor:
        if not cursor.execute("SELECT 1 FROM procedures WHERE procedure_id = ?", [procedure_id]).fetchall():
            raise UsageProblem(f"{procedure_id}: there is no such procedure. Choose a signal of the chart.")
        number = cursor.execute("SELECT coalesce(max(note_id), 0) + 1 FROM signal_note").fetchall()[0][0]
        kept = Note(int(number), now, who, measure_id, procedure_id, chart, stratum, design, answer, text)
        cursor.execute(
            "INSERT INTO signal_note (note_id, recorded_at, author, measure, procedure_id, chart, stratum, design, answer, note) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [kept.number, now, who, measure_id, procedure_id, chart, stratum, design, answer, text],
        )
        cursor.execute("UPDATE facts_state SET revision = revision + 1")
        audit.append(
            cursor,
            registry.key,
            registry.clock(),
            audit.Entry(
                who,
                "answer",
                "signal",
                procedure_id,
                {
                    "note": kept.number,
                    "measure": measure_id,
                    "chart": chart,
                    "design": design,
                    "answer": answer,
                    "sha256": hashlib.sha256(text.encode()).hexdigest(),
                },
            ),
        )
    return kept
