"""The follow-up loop: who is due, and what the coordinator enters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from registry import follow_up
from registry.people import Action

if TYPE_CHECKING:
    from datetime import date

    import polars as pl


@st.cache_data(show_spinner=False, max_entries=8)
def _due(folder: str, revision: int, as_of: date) -> pl.DataFrame:
    return follow_up.due_by_patient(session.registry(), as_of=as_of)


def due() -> pl.DataFrame:
    """Who is due as of the day in the sidebar, one line per patient."""
    return _due(*session.state(Action.WORKLISTS), session.filters().as_of)


def _day() -> date:
    """The day of an entry: today; in the demonstration the day in the sidebar, where its time stands still."""
    return session.filters().as_of if session.is_demo() else session.today()


def record_contact(procedure_id: str, result: str) -> None:
    """Record a call of today."""
    follow_up.record_contact(session.registry(), procedure_id, result, on=_day(), today=session.today())


def record_outside(procedure_id: str, on: date, modality: str, outcome: str) -> None:
    """Record an examination elsewhere."""
    follow_up.record_outside(
        session.registry(), procedure_id, on=on, modality=modality, outcome=outcome, today=session.today()
    )


def close(procedure_id: str, reason: str) -> None:
    """End the chase today, for a reason."""
    follow_up.close(session.registry(), procedure_id, reason, on=_day(), today=session.today())


def recall(purpose: str) -> pl.DataFrame:
    """Identifiers for a letter merge; the purpose is written to the trail first."""
    return follow_up.recall(session.registry(), as_of=session.filters().as_of, purpose=purpose)
