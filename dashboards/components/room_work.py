"""In the room, from the first stamp to the end: times, placement, specimens, and saving."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards.answers import entry as entries
from dashboards.answers import room as answers
from dashboards.components import room_state as state
from dashboards.components.markup import element, show
from dashboards.components.record_parts import field_name
from dashboards.components.room_begin import finding_words
from dashboards.components.tables import capital
from registry.entry import times
from registry.entry.room import ENDED, FIRST_SCAN, INJECTED, NEEDLE, SCANNED, STAMPS
from registry.errors import RegistryError
from registry.vocabulary import label, labels

if TYPE_CHECKING:
    from registry.entry import Uptake

_WORDS = {
    INJECTED: "Injected",
    FIRST_SCAN: "First scan",
    NEEDLE: "Start, needle in",
    SCANNED: "Specimens scanned",
    ENDED: "End",
}
#: Codes in few words, where the title above them says the rest.
_SHORT = {
    "aperture_judgement": {"within": "Within", "edge": "At the edge", "outside": "Outside"},
    "residual": {"none": "Gone", "reduced": "Reduced", "unchanged": "Unchanged"},
    "uptake_seen": {"yes": "Seen", "no": "Not seen"},
    "calcifications_seen": {"yes": "Seen", "no": "None seen"},
    "marker": {"failed": "Failed"},
    "action": {"moved": "Moved", "withdrawn": "Withdrawn"},
    "status": {"completed": "Tissue taken", "cancelled": "Cancelled before", "abandoned": "Abandoned after"},
}
Said = dict[str, list[str]]
#: Seconds between two looks at the minutes since injection.
_LOOK_SECONDS = 15
#: A hyphen at which no line ends.
NO_BREAK = "\u2011"


def work() -> None:
    """Everything between the first stamp and the saved procedure."""
    ready, waiting = _ready()
    said = _said(ready)
    _which()
    _times(said)
    _placements(said)
    _specimens(said)
    _end(ready, waiting, said)
    state.keep()


def _ready() -> tuple[dict[str, list[dict[str, str]]], bool]:
    """Rows that can be saved, and whether a placement still waits for its plan."""
    rows = state.rows()
    waiting = [one for one in rows.get("targeting", ()) if not _has_plan(one)]
    kept = {name: [one for one in lines if one not in waiting] for name, lines in rows.items()}
    return {name: lines for name, lines in kept.items() if lines}, bool(waiting)


def _has_plan(placement: dict[str, str]) -> bool:
    return all(placement.get(f"planned_{axis}_mm") for axis in "xyz")


def _said(ready: dict[str, list[dict[str, str]]]) -> Said:
    """What intake would say, by field; until it is said how the procedure ended, only of fields that are filled."""
    filled = {name for lines in ready.values() for line in lines for name in line}
    ended = "status" in filled
    found: Said = {}
    for one in answers.problems(ready):
        if ended or one.column in filled:
            found.setdefault(one.column, []).append(f"{one.message} {one.hint}".strip())
    return found


def _which() -> None:
    procedure = state.cells("procedures")
    row = entries.opened("findings", {"finding_id": procedure.get("finding_id", "")}).cells
    what = finding_words(row) if row else procedure.get("finding_id", "")
    left, right = st.columns([4, 1], vertical_alignment="center")
    with left:
        show(
            element(
                "p",
                element("strong", st.session_state[state.OPEN]),
                element("br"),
                what,
                element("br"),
                f"{procedure.get('operator', '')} at {procedure.get('site', '')}, "
                f"{label('procedures', 'guidance', procedure.get('guidance', ''))}",
                class_="room-which",
            )
        )
    right.button("Close", help="What was entered stays as a draft.", on_click=state.close, width="stretch")


# -- times -----------------------------------------------------------------------------


def _times(said: Said) -> None:
    st.subheader("Times", anchor=False)
    following = next((one for one in STAMPS if not state.moment_text(one)), None)
    has_tracer = bool(state.cells("procedures").get("tracer"))
    for place in STAMPS:
        if place in (INJECTED, FIRST_SCAN) and not has_tracer:
            continue
        left, right = st.columns([1, 1], vertical_alignment="center")
        cell = state.moment_text(place)
        left.button(
            _WORDS[place] if cell else f"{_WORDS[place]}: now",
            key=f"stamp {place[1]}",
            on_click=state.stamp,
            args=(place,),
            # A second touch must not overwrite the first; empty the field to stamp again.
            disabled=bool(cell),
            type="primary" if place == following else "secondary",
            width="stretch",
        )
        right.text_input(
            f"Time, {_WORDS[place].lower()}",
            key=state.stamp_key(place),
            placeholder="not yet",
            label_visibility="collapsed",
        )
        shown = str(st.session_state.get(state.stamp_key(place)) or "").strip()
        if shown and not cell:
            say(f"{shown} is no time: write it as 09:05 or 09:05:30.")
        beside(said, place[1])
        if place == FIRST_SCAN:
            _uptake(scanned=bool(cell))
    if has_tracer:
        st.text_input("Activity injected [MBq]", key=state.key("procedures", "activity_mbq"))
        beside(said, "activity_mbq")
        pick("procedures", "pregnancy_check", "Pregnancy and lactation")


def _uptake(*, scanned: bool) -> None:
    if not state.moment_text(INJECTED):
        return
    if scanned:
        _uptake_line()
    else:
        _uptake_so_far()


@st.fragment(run_every=_LOOK_SECONDS)
def _uptake_so_far() -> None:
    """Redrawn by itself; a look is no click."""
    _uptake_line()


def _uptake_line() -> None:
    zone = answers.zone()
    injected = times.moment(state.moment_text(INJECTED), zone)
    scanned = times.moment(state.moment_text(FIRST_SCAN), zone)
    if injected is None:
        return
    procedure = state.cells("procedures")
    try:
        activity = float(procedure.get("activity_mbq", ""))
    except ValueError:
        activity = None
    found = answers.uptake(procedure.get("tracer", ""), injected, scanned or answers.now(), activity)
    said = uptake_words(found, so_far=scanned is None)
    attention = found.place == "after" or (found.place == "before" and scanned is not None)
    show(element("p", said, class_=f"room-uptake{' attention' if attention else ''}"))


def uptake_words(found: Uptake, *, so_far: bool) -> str:
    """Minutes against the local window, and what is left of the activity."""
    if found.minutes < 0:
        return "The first scan lies before the injection: correct one of the times."
    said = f"{'Since injection' if so_far else 'Uptake time'} {found.minutes:.0f} min"
    if found.window is not None:
        low, high = found.window
        state_words = {
            "before": f"opens in {low - found.minutes:.0f} min" if so_far else "not kept",
            "within": "open now" if so_far else "kept",
            "after": f"over since {found.minutes - high:.0f} min" if so_far else "not kept",
        }
        said += f"; local window {low:g} to {high:g} min: {state_words[found.place]}"
    if found.left is not None:
        left = f"; {100 * found.left:.1f} % of the activity left"
        if found.activity_mbq is not None:
            left += f", {found.activity_mbq:.3g} MBq"
        said += f"{left} ({found.nuclide.replace('-', NO_BREAK)})"
    return f"{said}."


# -- placement -------------------------------------------------------------------------


def _placements(said: Said) -> None:
    for number in range(1, st.session_state[state.PLACEMENTS] + 1):
        last = number == st.session_state[state.PLACEMENTS]
        st.subheader(
            "Needle placement" if number == 1 and last else f"Needle placement {number}", anchor=False
        )
        pick("targeting", "aperture_judgement", "Target against the aperture, as read on the scan", number)
        pick("targeting", "verification", "Verification scan with the needle in place", number)
        columns = st.columns(3)
        for one, axis in zip(columns, "xyz", strict=True):
            one.text_input(f"Planned {axis} [mm]", key=state.key("targeting", f"planned_{axis}_mm", number))
        beside(said, "planned_x_mm", "planned_y_mm", "planned_z_mm")
        columns = st.columns(3)
        for one, name in zip(columns, ("needle_axis", "needle_direction", "compression_axis"), strict=True):
            words = labels("targeting", name)
            with one:
                st.selectbox(
                    capital(field_name(name)),
                    list(words),
                    index=None,
                    format_func=lambda code, words=words: words.get(code, code),
                    key=state.key("targeting", name, number),
                )
        beside(said, "needle_axis", "needle_direction", "compression_axis", "verification", "attempt")
        pick("targeting", "action", "What followed", number)
    if st.session_state[state.PLACEMENTS] < 9:
        st.button("Needle placed again", on_click=_place_again, width="stretch")


def _place_again() -> None:
    number = st.session_state[state.PLACEMENTS] + 1
    st.session_state[state.PLACEMENTS] = number
    # The plan and the way of the needle are those of the placement before, until they are changed.
    for name in (
        "frame",
        "needle_axis",
        "needle_direction",
        "compression_axis",
        "planned_x_mm",
        "planned_y_mm",
        "planned_z_mm",
    ):
        before = st.session_state.get(state.key("targeting", name, number - 1))
        if before is not None:
            st.session_state[state.key("targeting", name, number)] = before
    state.keep()


# -- specimens and the end -------------------------------------------------------------


def _specimens(said: Said) -> None:
    st.subheader("Specimens and marker", anchor=False)
    left, right = st.columns(2, vertical_alignment="bottom")
    left.number_input("Cores taken", 0, 60, value=None, step=1, key=state.key("procedures", "cores"))
    right.text_input("Shape of the marker", key=state.key("procedures", "marker_shape"), max_chars=20)
    pick("procedures", "marker", "Marker")
    pick("specimens", "uptake_seen", "Tracer uptake in the specimens")
    pick("specimens", "calcifications_seen", "Specimen radiograph")
    pick("procedures", "residual", "Target on the guiding modality after sampling")
    beside(said, "cores", "marker", "marker_shape", "uptake_seen", "calcifications_seen", "residual")


def _end(ready: dict[str, list[dict[str, str]]], waiting: bool, said: Said) -> None:
    st.subheader("How it ended", anchor=False)
    pick("procedures", "status", "Procedure")
    status = state.cells("procedures").get("status")
    if status in ("cancelled", "abandoned"):
        words = labels("procedures", "status_reason")
        st.selectbox(
            "Why no tissue was taken *",
            list(words),
            index=None,
            format_func=words.__getitem__,
            key=state.key("procedures", "status_reason"),
        )
    if "age_years" in said or state.cells("procedures").get("age_years"):
        st.text_input("Age in years", key=state.key("procedures", "age_years"), max_chars=3)
        beside(said, "age_years")
    if waiting:
        say(
            "The needle placement is kept as a draft until planned x, y and z are written, here or on page Entry; "
            "the procedure can be saved without it."
        )
    for column in list(said):
        say(f"{capital(field_name(column))}: {' '.join(said[column])}")
    if not st.button("Save the procedure", type="primary", width="stretch", shortcut="Ctrl+Enter"):
        return
    if not status:
        st.error("Nothing was saved: say first how the procedure ended.")
        return
    try:
        answers.save(ready)
    except RegistryError as problem:
        st.error(str(problem))
    else:
        st.session_state[state.SAVED] = st.session_state[state.OPEN]
        state.leave()
        st.rerun()


def pick(table: str, name: str, title: str, number: int = 1) -> None:
    """One of a few codes by one touch; touched again, it is taken back."""
    words = {**labels(table, name), **_SHORT.get(name, {})}
    st.segmented_control(
        title,
        list(words),
        format_func=lambda code: words.get(code, code),
        key=state.key(table, name, number),
        width="stretch",
    )


def beside(said: Said, *columns: str) -> None:
    """What intake would say of some fields, below them; said once."""
    for column in columns:
        for text in said.pop(column, ()):
            say(text)


def say(text: str) -> None:
    """What to look at, beside the field it is about."""
    show(element("p", text, class_="beside attention"))
