"""A row entered by hand: opened, checked while it is written, kept as a draft, saved."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import streamlit as st

from dashboards import session
from dashboards.answers import entry as answers
from dashboards.components import entry_fields as fields
from dashboards.components.markup import element, show
from dashboards.components.record_parts import field_name
from dashboards.components.room_begin import finding_words
from dashboards.components.tables import capital
from dashboards.components.tables import table as drawn_table
from registry.entry import FORMS, Changed, form_fields, times, uptake_time
from registry.entry.saving import row_key
from registry.errors import RegistryError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

TITLES = {
    "findings": "Finding",
    "procedures": "Procedure",
    "targeting": "Needle placement",
    "specimens": "Specimen container",
    "pathology": "Pathology report",
    "complications": "Complication",
    "followup": "Follow-up event",
    "patients": "Patient",
}
_CHOSEN, _TABLE, _VERSION = "entry chosen", "entry table", "entry version"
_CLASH, _SAVED = "entry clash", "entry saved"


def entry_form() -> None:
    """The whole page below its lead."""
    _drafts()
    chosen = st.selectbox("What is entered", list(FORMS), format_func=TITLES.__getitem__, key=_CHOSEN)
    if st.session_state.get(_TABLE) != chosen:
        _begin(chosen, {}, "")
    if saved := st.session_state.pop(_SAVED, None):
        st.success(saved)
    _open(chosen)
    now = fields.cells(chosen)
    problems = answers.check(chosen, now) if len(now) > 1 else ()
    fields.draw(chosen, problems)
    for text in derived(chosen, now):
        show(element("p", text, class_="result"))
    _clash(chosen)
    _keep(chosen, now)
    _save(chosen, now)


def _begin(table: str, cells: Mapping[str, str], version: str) -> None:
    st.session_state[_TABLE], st.session_state[_VERSION] = table, version
    st.session_state.pop(_CLASH, None)
    fields.fill(table, dict(cells))


def _drafts() -> None:
    kept = answers.drafts()
    if not kept:
        return
    with st.expander(f"Drafts ({len(kept)})"):
        for place, one in enumerate(kept):
            left, middle, right = st.columns([4, 1, 1], vertical_alignment="center")
            left.markdown(
                f"{TITLES[one.table]} {one.row_key or '(no key yet)'}, {one.saved_at:%Y-%m-%d %H:%M} UTC"
            )
            if middle.button("Go on", key=f"resume {place}", width="stretch"):
                st.session_state[_CHOSEN] = one.table
                _begin(one.table, one.cells, one.version)
                st.rerun()
            if right.button("Discard", key=f"discard {place}", width="stretch"):
                answers.discard(one.table, one.row_key)
                st.rerun()


def _open(table: str) -> None:
    keys = [one.name for one in form_fields(table) if one.is_key]
    left, right = st.columns([2, 1], vertical_alignment="center")
    version = st.session_state[_VERSION]
    left.markdown(
        "The stored row is open: what you change becomes a new version."
        if version
        else f"A new row. To correct a stored one, write its key ({', '.join(field_name(one) for one in keys)}) and open it."
    )

    def look() -> None:
        typed = fields.cells(table)
        found = answers.opened(table, typed)
        if found.version:
            # An identifier that names the row is not read back: it stays as it was typed.
            _begin(
                table, {**{name: typed[name] for name in keys if name in typed}, **found.cells}, found.version
            )

    def anew() -> None:
        _begin(table, {}, "")

    if version:
        right.button("Begin a new row", on_click=anew, width="stretch")
    else:
        right.button("Open the stored row", on_click=look, width="stretch")


def derived(table: str, cells: Mapping[str, str]) -> list[str]:
    """Which breast and target the keys name; and what follows from the times.

    The uptake time with the local window and the decay up to the first scan or the needle; of
    specimens the minutes from injection to their scan.
    """
    found = answers.about(table, cells)
    said = []
    if found is not None:
        when = (
            f"Procedure {found.procedure_id} of {found.started_on}, finding"
            if found.procedure_id
            else "Finding"
        )
        said.append(f"{when} {found.finding['finding_id']}: {finding_words(found.finding)}.")
    zone = ZoneInfo(session.registry().site.time_zone)
    if table == "procedures":
        injected, scanned, started = (
            times.moment(cells.get(name, ""), zone) for name in ("injected_at", "first_scan_at", "started_at")
        )
        said += _uptake("Uptake time", cells.get("tracer", ""), injected, scanned or started)
    if table == "specimens" and found is not None:
        scanned = times.moment(cells.get("scan_at", ""), zone)
        said += _uptake("Scan of the specimens after injection", found.tracer, found.injected_at, scanned)
    return said


def _uptake(name: str, tracer: str, injected: datetime | None, until: datetime | None) -> list[str]:
    if injected is None or until is None:
        return []
    found = uptake_time(session.registry().site, tracer, injected, until)
    said = f"{name} {found.minutes:.0f} min"
    if found.window is not None and name == "Uptake time":
        low, high = found.window
        said += f"; local window {low:g} to {high:g} min, {'kept' if found.place == 'within' else 'not kept'}"
    if found.left is not None:
        said += f"; {100 * found.left:.1f} % of the activity left ({found.nuclide})"
    return [f"{said}."]


def _keep(table: str, now: Mapping[str, str]) -> None:
    """A draft at each change, as soon as the row has a key."""
    key = row_key(table, now)
    if not key.strip("|") or len(now) < 2:
        return
    stored = answers.draft(table, key)
    allowed = {one.name for one in form_fields(table) if one.kept}
    kept = {name: text for name, text in now.items() if name in allowed}
    version = st.session_state[_VERSION]
    if version and kept == dict(answers.opened(table, now).cells):
        return  # nothing has been changed yet
    if stored is None or dict(stored.cells) != kept:
        answers.keep(table, key, kept, version=version)


def _clash(table: str) -> None:
    """Both versions beside one another, and a way to take each field over."""
    theirs = st.session_state.get(_CLASH)
    if not theirs:
        return
    st.error("Somebody else has changed this row since you opened it. Nothing was saved.")
    rows = [(capital(field_name(name)), mine, now) for name, (mine, now) in theirs.items()]
    drawn_table(
        "Where your form and the stored row differ",
        ("Field", "Your form", "Stored now"),
        rows,
        caption_seen=True,
    )

    def take(name: str, text: str) -> None:
        fields.fill(table, {**fields.cells(table), name: text})
        st.session_state[_CLASH] = {key: pair for key, pair in theirs.items() if key != name}

    def go_on() -> None:
        st.session_state[_VERSION] = answers.opened(table, fields.cells(table)).version
        st.session_state.pop(_CLASH, None)

    for name, (_, now) in theirs.items():
        st.button(
            f"Take over what is stored: {field_name(name)}",
            on_click=take,
            args=(name, now),
            key=f"take {name}",
        )
    st.button("I have seen both: save mine for the rest", on_click=go_on)


def _save(table: str, now: Mapping[str, str]) -> None:
    version = st.session_state[_VERSION]
    reason = st.text_input("Why the row is changed *", max_chars=200) if version else "entered"
    if not st.button("Save this row", type="primary", shortcut="Ctrl+Enter"):
        return
    try:
        answers.save(table, now, version=version, reason=reason)
    except Changed as clash:
        st.session_state[_CLASH] = dict(clash.theirs)
        st.rerun()
    except RegistryError as problem:
        st.error(str(problem))
    else:
        st.session_state[_SAVED] = " ".join(
            [TITLES[table], *filter(None, [row_key(table, now)]), "is saved."]
        )
        st.session_state.pop(_TABLE, None)
        st.rerun()
