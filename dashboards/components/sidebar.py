"""The sidebar: which procedures, known until when, split by what, which interval."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.components.groups import stratum_name
from dashboards.components.words import METHODS
from registry.measures import STRATA

if TYPE_CHECKING:
    from datetime import date

ALL, YEAR, TWO_YEARS, CUSTOM = "All procedures", "Last 12 months", "Last 24 months", "From and to"
_MONTHS = {YEAR: 12, TWO_YEARS: 24}


def sidebar() -> session.Filters:
    """Draw the filters and return what they say."""
    with st.sidebar:
        period = st.selectbox("Period of the procedures", [ALL, YEAR, TWO_YEARS, CUSTOM])
        # The usual as-of date is the default, not a limit: a later one only adds waiting time.
        as_of = st.date_input(
            "As of",
            session.usual_as_of(),
            format="YYYY-MM-DD",
            help="Nothing dated after this day counts; what is dated on it does.",
        )
        start, end = _bounds(period, as_of)
        by = st.selectbox(
            "Split by",
            [None, *STRATA],
            format_func=lambda one: stratum_name(one).capitalize() if one else "Nothing",
        )
        interval = st.selectbox(
            "Interval",
            list(METHODS),
            format_func=METHODS.__getitem__,
            help="Clustered allows for several procedures of one patient.",
        )
    return session.Filters(as_of=as_of, start=start, end=end, by=by, interval=interval)


def _bounds(period: str, as_of: date) -> tuple[date | None, date | None]:
    if period == ALL:
        return None, None
    first = session.months_before(as_of, _MONTHS.get(period, 12))
    if period in _MONTHS:
        return first, as_of
    start = st.date_input("From", first, format="YYYY-MM-DD")
    return start, st.date_input("To", max(as_of, start), min_value=start, format="YYYY-MM-DD")
