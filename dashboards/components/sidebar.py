"""The sidebar: which procedures, known until when, split by what, which interval."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.components.choice import one_or_all
from dashboards.components.groups import stratum_name
from dashboards.components.markup import element, show
from dashboards.components.words import METHODS
from registry.measures import STRATA

if TYPE_CHECKING:
    from datetime import date

ALL, YEAR, TWO_YEARS, CUSTOM = "All procedures", "Last 12 months", "Last 24 months", "From and to"
_MONTHS = {YEAR: 12, TWO_YEARS: 24}
#: Pages of single records and of definitions: there only the as-of date means anything, or nothing.
_ONLY_AS_OF, _NOTHING = (
    frozenset({"procedure_record", "yearly_table", "concordance_review", "follow_up_due"}),
    frozenset(
        [
            "intake",
            "entry",
            "in_the_room",
            "measure_handbook",
            "meetings",
            "targets",
            "trail",
            "people",
            "cohort_export",
        ]
    ),
)

#: Pages that split in a way of their own, with intervals of their own.
_OWN_SPLIT = frozenset(
    {"operators_and_sites", "completeness", "timeliness", "agreement", "sources_and_constancy"}
)


def sidebar(page: str) -> session.Filters:
    """Draw the filters and return what they say.

    Those without effect on a page cannot be changed there; what they say is kept for the
    other pages.
    """
    is_still = page in _ONLY_AS_OF | _NOTHING
    is_unsplit = is_still or page in _OWN_SPLIT
    with st.sidebar:
        if page in _ONLY_AS_OF:
            said = "On this page only the as-of date has an effect; the others are kept."
        elif page in _OWN_SPLIT:
            said = "On this page only period and as-of date have an effect; the others are kept."
        else:
            said = "These have no effect on this page; they are kept for the others." if is_still else ""
        if said:
            show(element("p", said, class_="beside"))
        period = st.selectbox("Period of the procedures", [ALL, YEAR, TWO_YEARS, CUSTOM], disabled=is_still)
        # The usual as-of date is the default, not a limit: a later one only adds waiting time.
        as_of = st.date_input(
            "As of",
            session.usual_as_of(),
            format="YYYY-MM-DD",
            help="Nothing dated after this day counts; what is dated on it does.",
            disabled=page in _NOTHING,
        )
        start, end = _bounds(period, as_of, disabled=is_still)
        by = one_or_all(
            st,
            "Split by",
            STRATA,
            whole="Nothing",
            words=lambda one: stratum_name(one).capitalize(),
            disabled=is_unsplit,
        )
        interval = st.selectbox(
            "Interval",
            list(METHODS),
            format_func=METHODS.__getitem__,
            help="Clustered allows for several procedures of one patient.",
            disabled=is_unsplit,
        )
    return session.Filters(as_of=as_of, start=start, end=end, by=by, interval=interval)


def _bounds(period: str, as_of: date, *, disabled: bool) -> tuple[date | None, date | None]:
    if period == ALL:
        return None, None
    first = session.months_before(as_of, _MONTHS.get(period, 12))
    if period in _MONTHS:
        return first, as_of
    start = st.date_input("From", first, format="YYYY-MM-DD", disabled=disabled)
    return start, st.date_input(
        "To", max(as_of, start), min_value=start, format="YYYY-MM-DD", disabled=disabled
    )
