"""The fields of a form as inputs, and what intake would say of them beside each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards.components.markup import element, show
from dashboards.components.record_parts import field_name
from registry.entry import FormField, form_fields

if TYPE_CHECKING:
    from registry.intake import ReportedProblem

_COLUMNS = 3
_HINTS = {"date": "2026-06-30", "timestamp": "2026-06-30T09:30"}


_GENERATION = "entry generation"


def state_key(table: str, name: str) -> str:
    """Name under which the page keeps what stands in a field.

    It changes whenever the page fills the fields: a click that left the browser before it had seen
    them says what stood there earlier, and must not undo it.
    """
    return f"entry {st.session_state.get(_GENERATION, 0)} {table} {name}"


def cells(table: str) -> dict[str, str]:
    """What stands in the fields now; empty ones are left out."""
    found = {
        one.name: str(st.session_state.get(state_key(table, one.name)) or "") for one in form_fields(table)
    }
    return {name: text.strip() for name, text in found.items() if text.strip()}


def fill(table: str, given: dict[str, str]) -> None:
    """Put texts into the fields, before they are drawn; every other field is emptied."""
    st.session_state[_GENERATION] = st.session_state.get(_GENERATION, 0) + 1
    for one in form_fields(table):
        st.session_state[state_key(table, one.name)] = given.get(one.name, "")


def draw(table: str, problems: tuple[ReportedProblem, ...]) -> None:
    """Every field in its group, and below it what intake would say."""
    said: dict[str, list[str]] = {}
    for one in problems:
        said.setdefault(one.column, []).append(f"{one.message} {one.hint}".strip())
    group = ""
    place = 0
    for one in form_fields(table):
        if one.group != group:
            group, place = one.group, 0
            st.subheader(group, anchor=False)
        if place % _COLUMNS == 0:
            # A row of its own for every three: the keyboard goes the way one reads.
            columns = st.columns(_COLUMNS)
        with columns[place % _COLUMNS]:
            _input(table, one)
            for text in said.get(one.name, ()):
                show(element("p", text, class_="beside attention"))
        place += 1


#: Units whose sign says little to a reader.
_WORDS = {"a": "years", "h": "hours"}


def _input(table: str, one: FormField) -> None:
    name = field_name(one.name)
    unit = f" [{_WORDS.get(one.unit, one.unit)}]" if one.unit else ""
    label = f"{name[:1].upper()}{name[1:]}{unit}{' *' if one.required else ''}"
    told = ". ".join(part for part in (one.definition, one.allowed) if part) or None
    key = state_key(table, one.name)
    if one.codes:
        now = st.session_state.get(key) or ""
        # A code that only this service uses stays what it is.
        options = ["", *one.codes, *([now] if now and now not in one.codes else [])]
        st.selectbox(label, options, key=key, help=told, format_func=lambda code: one.codes.get(code, code))
    elif one.name == "conclusion":
        st.text_area(label, key=key, help=told, max_chars=10_000, height=120)
    else:
        st.text_input(label, key=key, help=told, placeholder=_HINTS.get(one.type, ""))
