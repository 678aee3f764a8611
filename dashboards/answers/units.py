"""Operators and sites beside one another, and proportions against experience, under the sidebar's filters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from registry import units

if TYPE_CHECKING:
    from registry.units import Funnel, Learning


@st.cache_data(show_spinner=False, max_entries=32)
def _funnel(folder: str, revision: int, measure: str, by: str, filters: session.Filters) -> Funnel:
    return units.funnel(
        session.registry(),
        measure,
        by=by,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        minimum=session.minimum_n(),
    )


def funnel(measure: str, by: str) -> Funnel:
    """Operators or sites for one proportion; who may not know the others sees them without a name."""
    return _funnel(*session.state(), measure, by, session.filters())


@st.cache_data(show_spinner=False, max_entries=32)
def _learning(
    folder: str, revision: int, measure: str, operator: str | None, filters: session.Filters
) -> Learning:
    return units.learning(
        session.registry(),
        measure,
        operator=operator,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        minimum=session.minimum_n(),
    )


def learning(measure: str, operator: str | None = None) -> Learning:
    """A proportion by the number of procedures that its operator had done; one operator, or all together."""
    return _learning(*session.state(), measure, operator, session.filters())
