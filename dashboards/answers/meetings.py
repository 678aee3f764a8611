"""Meetings, their lists and minutes, kept by revision; and what is written from the page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards import session, visitor
from registry.meetings import lists, minutes, writing
from registry.people import Action
from registry.reports import minutes as printed

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    import polars as pl

    from registry.meetings.minutes import Minutes


@st.cache_data(show_spinner=False, max_entries=4)
def _listed(folder: str, revision: int) -> pl.DataFrame:
    return lists.listed(session.registry())


def listed() -> pl.DataFrame:
    """Meetings, the latest first."""
    return _listed(*session.state(Action.WORKLISTS))


@st.cache_data(show_spinner=False, max_entries=4)
def _sites(folder: str, revision: int) -> tuple[str, ...]:
    return lists.sites(session.registry())


def sites() -> tuple[str, ...]:
    """Sites at which a meeting can be opened."""
    return _sites(*session.state(Action.WORKLISTS))


@st.cache_data(show_spinner=False, max_entries=16)
def _before(folder: str, revision: int, meeting_id: str) -> tuple[pl.DataFrame, pl.DataFrame, list[str]]:
    opened = session.registry()
    decided = [row["procedure_id"] for row in lists.decisions(opened, meeting_id)]
    return lists.agenda(opened, meeting_id), lists.open_actions(opened, meeting_id), decided


def before(meeting_id: str) -> tuple[pl.DataFrame, pl.DataFrame, list[str]]:
    """What still stands to be decided, what earlier meetings left open, and keys that were decided."""
    return _before(*session.state(Action.WORKLISTS), meeting_id)


@st.cache_data(show_spinner="Reading the minutes", max_entries=16)
def _draft(folder: str, revision: int, meeting_id: str) -> Minutes:
    return minutes.draft(session.registry(), meeting_id)


def draft(meeting_id: str) -> Minutes:
    """Minutes as the record gives them now."""
    return _draft(*session.state(Action.RECORD), meeting_id)


def signed(meeting_id: str) -> tuple[Minutes, ...]:
    """Signed minutes and amendments, the first one first."""
    return minutes.signed(session.registry(), meeting_id)


@st.cache_data(show_spinner="Setting the minutes", max_entries=8)
def _files(folder: str, revision: int, meeting_id: str, number: int) -> tuple[bytes, bytes]:
    found = draft(meeting_id) if not number else next(m for m in signed(meeting_id) if _number(m) == number)
    return printed.pdf(found), printed.word(found)


def _number(one: Minutes) -> int:
    return one.kept.number if one.kept else 0


def files(meeting_id: str, one: Minutes) -> tuple[bytes, bytes]:
    """Minutes as PDF and as Word."""
    return _files(*session.state(Action.RECORD), meeting_id, _number(one))


# -- written -----------------------------------------------------------------------


def open_meeting(held_on: date, site: str, chair: str, attendees: Iterable[str]) -> str:
    """Open a meeting; returns its key."""
    return writing.open_meeting(
        session.registry(),
        held_on=held_on,
        site=site,
        chair=chair,
        attendees=attendees,
        author=visitor.name(),
        today=session.today(),
    )


def set_attendance(meeting_id: str, chair: str, attendees: Iterable[str]) -> None:
    """Say who chairs and who is there."""
    writing.set_attendance(
        session.registry(),
        meeting_id,
        chair=chair,
        attendees=attendees,
        author=visitor.name(),
        today=session.today(),
    )


def decide(meeting_id: str, procedure_id: str, said: writing.Spoken) -> None:
    """Record what the meeting decided on one procedure."""
    writing.decide(
        session.registry(), meeting_id, procedure_id, said, author=visitor.name(), today=session.today()
    )


def sign(meeting_id: str) -> Minutes:
    """Sign the minutes."""
    return minutes.sign(session.registry(), meeting_id, author=visitor.name(), today=session.today())


def amend(meeting_id: str, reason: str) -> Minutes:
    """Sign the minutes anew, beside those that they amend."""
    return minutes.amend(session.registry(), meeting_id, reason=reason, author=visitor.name())


def meeting_of(found: pl.DataFrame, meeting_id: str) -> dict[str, Any]:
    """One row of :func:`listed`."""
    return next(row for row in found.iter_rows(named=True) if row["meeting_id"] == meeting_id)
