"""How long the steps take, and whether those who decide agree, under the sidebar's filters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from registry import agreement as audit
from registry import timeliness as steps
from registry.people import Action

if TYPE_CHECKING:
    import polars as pl


@st.cache_data(show_spinner=False, max_entries=8)
def _timeliness(
    folder: str, revision: int, filters: session.Filters, by: str | None
) -> tuple[steps.Interval, ...]:
    return steps.timeliness(
        session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end, by=by
    )


def timeliness(by: str | None) -> tuple[steps.Interval, ...]:
    """Every interval, split by site, year or quarter, or not."""
    return _timeliness(*session.state(), session.filters(), by)


@st.cache_data(show_spinner=False, max_entries=8)
def _faults(folder: str, revision: int, filters: session.Filters) -> pl.DataFrame:
    return steps.faults(session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end)


def faults() -> pl.DataFrame:
    """Steps that are dated before the one they follow."""
    return _faults(*session.state(Action.PROCEDURES), session.filters())


@st.cache_data(show_spinner=False, max_entries=8)
def _agreement(folder: str, revision: int, filters: session.Filters) -> audit.Audit:
    return audit.agreement(session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end)


def agreement() -> audit.Audit:
    """Agreement of those who decide."""
    return _agreement(*session.state(Action.PROCEDURES), session.filters())
