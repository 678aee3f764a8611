"""What became of those with a benign result, under the sidebar's filters."""

from __future__ import annotations

import streamlit as st

from dashboards import session
from registry import measures


@st.cache_data(show_spinner=False, max_entries=8)
def _looks(folder: str, revision: int, filters: session.Filters) -> measures.LooksCurve:
    return measures.looks_curve(session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end)


def looks_curve() -> measures.LooksCurve:
    """Cancer after a benign result by the looks between which it came to light."""
    return _looks(*session.state(), session.filters())
