"""What stands in the fields of page In the room: kept as drafts, and read back after a reload."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.answers import entry as entries
from dashboards.answers import room as answers
from registry.entry import times
from registry.entry.room import FIELDS, STAMPS
from registry.entry.saving import row_key

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

Cells = dict[str, str]
#: Procedure that is being entered; how many placements it has; exact moments behind the times shown.
OPEN, PLACEMENTS, MOMENTS = "room open", "room placements", "room moments"
_STAMPED = "room stamped"
SAVED = "room saved"


def key(table: str, name: str, number: int = 1) -> str:
    """Name under which a field is kept; ``number`` tells placements apart."""
    return f"room {table} {number} {name}"


def stamp_key(place: tuple[str, str]) -> str:
    """Name under which the time of a stamp is kept.

    It changes with each stamp: a click that left the browser before it had seen the time says that
    the field is empty, and must not undo the stamp.
    """
    return f"{key(*place)} {st.session_state.get(_STAMPED, {}).get(place, 0)}"


def is_open() -> bool:
    """Whether a procedure is being entered."""
    return OPEN in st.session_state


def begin(cells: Mapping[str, str]) -> None:
    """Open the page for a procedure that has just been named."""
    _clear()
    st.session_state[OPEN] = cells["procedure_id"]
    st.session_state[PLACEMENTS], st.session_state[MOMENTS] = 1, {}
    for name, text in cells.items():
        st.session_state[key("procedures", name)] = text
    for name, text in answers.habits()["placement"].items():
        st.session_state[key("targeting", name)] = text
    session.set_link(session.PROCEDURE, cells["procedure_id"])
    keep()


def go_on(procedure_id: str) -> bool:
    """Fill the page from the drafts of a procedure; False where there are none."""
    found = answers.begun(procedure_id)
    if not any(one.table == "procedures" for one in found):
        return False
    _clear()
    st.session_state[OPEN], st.session_state[MOMENTS] = procedure_id, {}
    placements = [int(one.cells.get("attempt", "1")) for one in found if one.table == "targeting"]
    st.session_state[PLACEMENTS] = max(placements, default=1)
    for name, text in answers.habits()["placement"].items():
        st.session_state[key("targeting", name)] = text
    for one in found:
        number = int(one.cells.get("attempt", "1")) if one.table == "targeting" else 1
        for name, text in one.cells.items():
            put(one.table, name, text, number)
    session.set_link(session.PROCEDURE, procedure_id)
    return True


def close() -> None:
    """Close the page for this procedure; what stands in it stays as a draft."""
    keep()
    leave()


def leave() -> None:
    """Empty the page."""
    _clear()
    st.query_params.pop(session.PROCEDURE, None)


def _clear() -> None:
    for name in [one for one in st.session_state if str(one).startswith("room ")]:
        if name != SAVED:
            del st.session_state[name]


def put(table: str, name: str, text: str, number: int = 1) -> None:
    """Put a stored text into a field, a moment as the clock showed it."""
    if (table, name) in STAMPS:
        st.session_state[MOMENTS][table, name] = text
        st.session_state[stamp_key((table, name))] = times.clock(text)
        return
    st.session_state[key(table, name, number)] = int(text) if name == "cores" else text


def day() -> date:
    """Day of the procedure: that of its first moment, or today."""
    found = [times.moment(one) for one in st.session_state[MOMENTS].values()]
    return min((one.date() for one in found if one), default=session.today())


def stamp(place: tuple[str, str]) -> None:
    """Stamp a moment now, and keep the drafts at once."""
    cell = times.stamp(answers.now(), answers.zone())
    counted = dict(st.session_state.get(_STAMPED, {}))
    counted[place] = counted.get(place, 0) + 1
    st.session_state[_STAMPED] = counted
    st.session_state[MOMENTS][place] = cell
    st.session_state[stamp_key(place)] = times.clock(cell)
    keep()


def moment_text(place: tuple[str, str]) -> str:
    """A stamped or typed moment as intake takes it; empty where there is none, or no time was typed."""
    shown = str(st.session_state.get(stamp_key(place)) or "").strip()
    exact = st.session_state[MOMENTS].get(place, "")
    if shown and shown == times.clock(exact):
        return str(exact)
    made = times.typed(shown, day(), answers.zone()) if shown else None
    if made is None:
        st.session_state[MOMENTS].pop(place, None)
        return ""
    st.session_state[MOMENTS][place] = made
    return made


def cells(table: str, number: int = 1) -> Cells:
    """What stands in the fields of a row; empty ones are left out."""
    found = {}
    for name in FIELDS[table]:
        if (table, name) in STAMPS:
            found[name] = moment_text((table, name))
        else:
            value = st.session_state.get(key(table, name, number))
            found[name] = "" if value is None else str(value).strip()
    return {name: text for name, text in found.items() if text}


def rows() -> dict[str, list[Cells]]:
    """The rows of the procedure: itself, its placements and its containers, each as far as it has begun."""
    procedure = cells("procedures")
    named = {"procedure_id": st.session_state[OPEN]}
    found = {"procedures": [{**procedure, **named}]}
    placements = []
    for number in range(1, st.session_state[PLACEMENTS] + 1):
        placement = cells("targeting", number)
        if {"verification", "planned_x_mm", "planned_y_mm", "planned_z_mm", "action"} & set(placement):
            placements.append({**placement, **named, "attempt": str(number)})
    if placements:
        found["targeting"] = placements
    specimens = cells("specimens")
    if specimens:
        container = {"specimen_id": f"{st.session_state[OPEN]}-S1"}
        found["specimens"] = [{**specimens, **named, **container}]
    return found


def keep() -> None:
    """A draft of every row that has changed since it was kept."""
    kept = {(one.table, one.row_key): dict(one.cells) for one in answers.begun(st.session_state[OPEN])}
    for table, lines in rows().items():
        for line in lines:
            place = row_key(table, line)
            if kept.get((table, place)) != line:
                entries.keep(table, place, line, version="")
