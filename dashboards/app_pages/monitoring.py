"""Page: one measure watched over time, with what its charts can and cannot show."""

from __future__ import annotations

import streamlit as st

from dashboards import session
from dashboards.answers import counted
from dashboards.components import cautions
from dashboards.components.choice import one_or_all
from dashboards.components.groups import grouped, stratum_label, stratum_name
from dashboards.components.measure_panel import folds
from dashboards.components.quality import lead
from dashboards.components.watching import proportion, quantity
from registry.measures import load_measures

RISES = {1.5: "half as much again", 2.0: "a doubling", 3.0: "a trebling"}
YEARS = (1, 2, 5, 10)
MONTHS_WATCHED = 24

lead(
    "Whether a measure has changed since a day, seen early and without crying wolf. A signal opens the procedures behind it and waits for an answer."
)
filters = session.filters()
titles = {one.id: one.title for one in (*grouped("proportion"), *grouped("quantity"))}
linked = session.linked(session.MEASURE)
first, second, third = st.columns([3, 2, 2])
chosen = first.selectbox(
    "Measure to watch",
    list(titles),
    index=list(titles).index(linked if linked in titles else "discordance"),
    format_func=titles.__getitem__,
)
watched_from = second.date_input(
    "Watched from",
    session.months_before(filters.as_of, MONTHS_WATCHED),
    format="YYYY-MM-DD",
    help="What lies before this day shows what is usual.",
)
per = third.selectbox("Periods", ["quarter", "month"], format_func=str.capitalize)
measure = load_measures()[chosen]
within: tuple[tuple[str, str], ...] = ()
if filters.by is not None:
    values = [one["stratum"] for one in counted.results([chosen], by=filters.by)]
    only = one_or_all(
        st,
        f"Only of one {stratum_name(filters.by)}",
        values,
        whole="All",
        words=lambda one: stratum_label(filters.by or "", one),
    )
    within = ((filters.by, only),) if only is not None else ()
    cautions.caution(cautions.COMPARE)
if measure.kind == "proportion":
    rate, rise, seldom = st.columns(3)
    accepted = rate.number_input(
        "Accepted rate, %", min_value=0.01, max_value=99.99, value=None, placeholder="that before the watch"
    )
    factor = rise.selectbox("Rise looked for", list(RISES), index=1, format_func=RISES.__getitem__)
    years = seldom.selectbox("False signals rarer than one in", YEARS, index=2, format_func="{} years".format)
    proportion(
        measure,
        watched_from,
        within,
        per,
        accepted=None if accepted is None else accepted / 100,
        factor=factor,
        years=years,
    )
else:
    quantity(measure, watched_from, within)
st.header("What is counted", anchor=False)
folds(measure)
cautions.caution(cautions.SMALL, cautions.CLUSTER)
