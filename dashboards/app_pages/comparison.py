"""Page: one proportion compared between two periods, or between groups."""

from __future__ import annotations

from datetime import timedelta

import streamlit as st

from dashboards import session
from dashboards.answers import comparing
from dashboards.components import cautions
from dashboards.components.comparing import comparison, later_cancer
from dashboards.components.groups import grouped, stratum_label, stratum_name
from dashboards.components.markup import element, show
from dashboards.components.quality import lead
from registry.errors import RegistryError

lead(
    "What differs between two periods, or between groups, by how much, and whether there were enough procedures to tell. "
    "Choose a split in the sidebar to compare groups."
)
filters = session.filters()
titles = {one.id: one.title for one in grouped("proportion")}
linked = session.linked(session.MEASURE)
chosen = st.selectbox(
    "Measure to compare",
    list(titles),
    index=list(titles).index(linked if linked in titles else "discordance"),
    format_func=titles.__getitem__,
)
try:
    if filters.by is None:
        middle = session.months_before(filters.as_of, 12)
        before = session.months_before(middle - timedelta(days=1), 12)
        boxes = st.columns(4)
        asked = (
            ("First period from", before),
            ("to", middle - timedelta(days=1)),
            ("Second period from", middle),
            ("to ", filters.as_of),
        )
        days = [
            box.date_input(label, value, format="YYYY-MM-DD")
            for box, (label, value) in zip(boxes, asked, strict=True)
        ]
        made = comparing.periods(chosen, (days[0], days[1]), (days[2], days[3]))
        followed = comparing.cancer_in_periods((days[0], days[1]), (days[2], days[3]))
        show(element("p", "The period of the sidebar bounds groups only.", class_="beside"))
    else:
        by = filters.by
        made = comparing.groups(chosen, by)
        left, right = st.columns(2)
        first = left.selectbox(
            f"First {stratum_name(by)}", made.names, index=0, format_func=lambda one: stratum_label(by, one)
        )
        others = [one for one in made.names if one != first]
        second = right.selectbox(
            f"Second {stratum_name(by)}", others, index=0, format_func=lambda one: stratum_label(by, one)
        )
        if first and second:
            made = comparing.groups(chosen, by, (first, second))
        followed = comparing.cancer_by_group(by, (first, second) if first and second else None)
    comparison(made, filters.by)
    st.header("Cancer after a benign result", anchor=False)
    show(element("p", "The same periods or groups, whatever the measure above.", class_="question"))
    later_cancer(followed, filters.by)
except RegistryError as problem:
    show(element("p", str(problem), class_="beside attention"))
cautions.caution(cautions.SMALL, cautions.COMPARE, cautions.CLUSTER, cautions.BENIGN)
