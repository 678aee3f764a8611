"""Page: the whole service as one strip, and what is waiting for somebody."""

from __future__ import annotations

import streamlit as st

from dashboards import session, visitor
from dashboards.components import cautions
from dashboards.components.groups import grouped
from dashboards.components.measure_panel import measure_panel
from dashboards.components.quality import lead, service_strip
from dashboards.components.waiting import waiting
from registry.measures import load_measures
from registry.people import Action

lead(
    "How the service samples, whether pathology and imaging agree, and what was found later. Each row is one measure on one shared axis."
)
if visitor.may(Action.WORKLISTS):
    st.header("Waiting", anchor=False)
    with st.container(key="waiting"):
        waiting()

st.header("The service", anchor=False)
proportions = grouped("proportion")
service_strip(
    proportions, caption="All proportions of the service on one axis", key="service", full_axis=True
)

st.header("One measure", anchor=False)
titles = {one.id: one.title for one in (*proportions, *grouped("quantity"))}
linked = session.linked(session.MEASURE)
start = list(titles).index(linked) if linked in titles else 0
chosen = st.selectbox("Measure to open", list(titles), index=start, format_func=titles.__getitem__)
measure_panel(load_measures()[chosen])

cautions.caution(cautions.SMALL, cautions.CLUSTER, cautions.PUBLISHED)
