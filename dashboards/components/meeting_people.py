"""A meeting opened, and who is there: by role, never by name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards import session, visitor
from dashboards.answers import meetings as answers
from dashboards.components.markup import element, show
from registry.errors import RegistryError
from registry.meetings.lists import roles
from registry.meetings.minutes import attendees as labels_of
from registry.people import Action

if TYPE_CHECKING:
    from collections.abc import Sequence


def open_form(sites: Sequence[str]) -> None:
    """Open a meeting of a site on a day."""
    with st.form("open meeting", border=False):
        left, middle, right = st.columns(3)
        held_on = left.date_input("Day of the meeting", session.today(), format="YYYY-MM-DD")
        site = middle.selectbox("Site", sites)
        chair = right.text_input("Chair (a code, no name)", key="chair of a new meeting")
        present = _ticks([], "new")
        sent = st.form_submit_button("Open the meeting")
    if sent and site:
        try:
            made = answers.open_meeting(held_on, site, chair, present)
        except RegistryError as problem:
            st.error(str(problem))
        else:
            session.set_link(session.MEETING, made)
            st.rerun()


def attendance(one: dict[str, Any]) -> None:
    """Who chairs and who is there; can be changed until the minutes are signed."""
    if one["closed_at"] is not None or not visitor.may(Action.ENTER):
        present = ", ".join(labels_of(one["attendees"])) or "nobody is recorded"
        show(element("p", f"Chair: {one['chair'] or 'not named'}. Present: {present}."))
        return
    with st.form("attendance", border=False):
        chair = st.text_input(
            "Chair (a code, no name)", one["chair"] or "", key=f"chair of {one['meeting_id']}"
        )
        present_now = _ticks((one["attendees"] or "").split(";"), one["meeting_id"])
        sent = st.form_submit_button("Keep the attendance")
    if sent:
        try:
            answers.set_attendance(one["meeting_id"], chair, present_now)
        except RegistryError as problem:
            st.error(str(problem))
        else:
            st.rerun()


def _ticks(ticked: Sequence[str], key: str) -> list[str]:
    columns = st.columns(3)
    return [
        code
        for place, (code, text) in enumerate(roles().items())
        if columns[place % len(columns)].checkbox(text, code in ticked, key=f"{code} at {key}")
    ]
