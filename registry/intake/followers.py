"""Rows that are held because another row is: they say which one, and on which line.

Without that, a row with nothing wrong in it would be held for a reason that is not true:
"not known" although it was sent, or "not consecutive" although only the first is faulty.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from registry.intake.problems import HOLD, Problem, shown

if TYPE_CHECKING:
    from registry.checks import Check, Offence
    from registry.dictionary import Field
    from registry.intake.batch import Batch

#: Rules of rows that follow another: one of another line, and one of the row's own line.
REFERENCE, OWN_LINE = "reference", "follows"
_COME_TOGETHER = "Correct that row first; this one is taken with it when both are sent again."


def as_problem(offence: Offence) -> Problem:
    """What a check found, as a problem of its row."""
    check = offence.check
    return Problem(
        check.table, offence.row_no, check.column, check.name, check.severity, offence.message, check.hint
    )


def place(batch: Batch, row: tuple[str, int], seen_from: str) -> str:
    """Where a row stands; its file is named where it is another one."""
    file, line = batch.file(*row), batch.line(*row)
    return f"line {line}" if file == seen_from else f"{file}, line {line}"


# -- references --------------------------------------------------------------------


def broken_references(batch: Batch, field: Field, rows: list[tuple[int, str]]) -> list[Problem]:
    """Problems of rows whose parent is not known, or is held in the same batch.

    Parameters
    ----------
    rows
        Row numbers and the value of the reference (a pseudonym for a patient).
    """
    if not rows:
        return []
    # As sent: the pseudonym of a patient is not the text under which the held row stands.
    sent = batch.sources.frame(field.table)[field.name].gather([row_no for row_no, _ in rows]).to_list()
    parents = batch.held_keys[field.references or ""]
    return [
        _broken(batch, field, row_no, value, parents.get(text))
        for (row_no, value), text in zip(rows, sent, strict=True)
    ]


def _broken(batch: Batch, field: Field, row_no: int, value: str, held: int | None) -> Problem:
    parent = field.references or ""
    if held is None:
        said = (
            f"The row of {parent} it refers to is not known."
            if field.sensitive
            else f"{shown(value, False)} is not known in {parent}."
        )
        hint = f"Send or correct the {parent} row first, or with this one."
        return Problem(field.table, row_no, field.name, REFERENCE, HOLD, said, hint)
    file, line = batch.file(field.table, row_no), batch.line(field.table, row_no)
    is_own = batch.received.grouped and (file, line) == (batch.file(parent, held), batch.line(parent, held))
    said = f"The row of {parent} it refers to is held ({place(batch, (parent, held), file)})."
    rule = OWN_LINE if is_own else REFERENCE
    return Problem(field.table, row_no, field.name, rule, HOLD, said, _COME_TOGETHER)


# -- rows numbered 1, 2, 3 ---------------------------------------------------------


def problems(batch: Batch, offences: list[Offence]) -> list[Problem]:
    """What checks found, as problems; where a row of the same series is held, that is the reason."""
    held: dict[str, _Held] = {}
    made = []
    for offence in offences:
        check = offence.check
        if check.series and check.name not in held:
            held[check.name] = _held_before(batch, check) | _held_in_batch(batch, check)
        reason = held[check.name].get(_group(batch, check, offence.row_no)) if check.series else None
        made.append(_following(batch, offence, *reason) if reason else as_problem(offence))
    return made


#: Series (as it was sent) -> number of its first held row, file and place of that row.
_Held = dict[tuple[str | None, ...], tuple[str | None, str, str]]


def _following(batch: Batch, offence: Offence, number: str | None, file: str, where: str) -> Problem:
    check = offence.check
    kind = check.series[-1]
    named = f"{kind} {number}" if number and number.isascii() and number.isdigit() else f"another {kind}"
    if file != batch.file(check.table, offence.row_no):
        where = f"{file}, {where}"
    said = f"{named[0].upper()}{named[1:]} of the same series is held ({where}); the rows of a series are taken together."
    return Problem(
        check.table, offence.row_no, check.column, check.name, check.severity, said, _COME_TOGETHER
    )


def _group(batch: Batch, check: Check, row_no: int) -> tuple[str | None, ...]:
    frame = batch.sources.frame(check.table)
    return tuple(frame[name][row_no] if name in frame.columns else None for name in check.series[:-1])


def _held_in_batch(batch: Batch, check: Check) -> _Held:
    """The rows of the batch that are held for a reason of their own."""
    following = {p.row_no for p in batch.problems if p.table == check.table and p.rule == check.name}
    numbers = batch.sources.frame(check.table)[check.series[-1]]
    found: _Held = {}
    for row in sorted(batch.held[check.table] - following):
        place_ = (batch.file(check.table, row), f"line {batch.line(check.table, row)}")
        found.setdefault(_group(batch, check, row), (numbers[row], *place_))
    return found


def _held_before(batch: Batch, check: Check) -> _Held:
    """The rows that earlier imports hold and this one does not answer."""
    rows = batch.cursor.execute(
        "SELECT quarantine_id, batch_id, file, line FROM quarantine WHERE state = 'open' AND table_name = ? ORDER BY batch_id, line",
        [check.table],
    ).fetchall()
    answered = set(batch.sources.marks(check.table))
    waiting = [row for row in rows if row[0] not in answered]
    if not waiting:
        return {}
    cells = dict(batch.registry.identity.execute("SELECT quarantine_id, cells FROM held_row").fetchall())
    found: _Held = {}
    for mark, number, file, line in waiting:
        sent = json.loads(cells.get(mark, "{}"))
        group = tuple(sent.get(name) for name in check.series[:-1])
        found.setdefault(group, (sent.get(check.series[-1]), file, f"line {line} of batch {number}"))
    return found
