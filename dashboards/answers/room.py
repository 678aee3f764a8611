"""In the room: what can be chosen, what was begun, and what is saved, on behalf of whoever looks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import streamlit as st

from dashboards import session
from registry import entry
from registry.entry import room
from registry.people import Action

if TYPE_CHECKING:
    from datetime import date, datetime

    import polars as pl

    from registry.entry.room import Rows
    from registry.intake import ReportedProblem


@st.cache_data(show_spinner=False, max_entries=4)
def _findings(folder: str, revision: int, as_of: date) -> pl.DataFrame:
    return room.findings_without_procedure(session.registry(), as_of=as_of)


def findings() -> pl.DataFrame:
    """Findings without a procedure, the latest first."""
    return _findings(*session.state(Action.RECORD), session.today())


@st.cache_data(show_spinner=False, max_entries=4)
def _habits(folder: str, revision: int) -> dict[str, Any]:
    return room.habits(session.registry())


def habits() -> dict[str, Any]:
    """Codes in use, and how the needle went in last."""
    return _habits(*session.state(Action.RECORD))


def begun(procedure_id: str | None = None) -> tuple[entry.Draft, ...]:
    """Procedures that whoever looks has begun, or the rows of one."""
    return room.begun(session.registry(), procedure_id)


def zone() -> ZoneInfo:
    """Time zone of the site."""
    return ZoneInfo(session.registry().site.time_zone)


def now() -> datetime:
    """This moment, as the registry tells it."""
    return session.registry().clock()


def uptake(tracer: str, injected: datetime, until: datetime, activity_mbq: float | None) -> entry.Uptake:
    """Uptake time against the window of the site."""
    return entry.uptake_time(session.registry().site, tracer, injected, until, activity_mbq)


def problems(rows: Rows) -> tuple[ReportedProblem, ...]:
    """What would keep the rows from being saved."""
    return room.check_together(session.registry(), rows, today=session.today())


def save(rows: Rows) -> None:
    """Save the rows, all or none."""
    room.save_together(session.registry(), rows, today=session.today())
