"""Page: every measure as its file defines it."""

from __future__ import annotations

import streamlit as st

from dashboards import session
from dashboards.components import cautions
from dashboards.components.definition import definition
from dashboards.components.groups import question
from dashboards.components.handbook import matching
from dashboards.components.markup import element, show

show(
    element(
        "p",
        "The definitions that the program counts by: what is counted, among whom, what is left out and in which order.",
        class_="lead",
    )
)
wanted = st.text_input(
    "Search", value=session.linked(session.MEASURE) or "", placeholder="A word from a title or a definition"
)
groups = matching(wanted)
if not groups:
    show(element("p", "No measure holds these words. Try fewer or others.", class_="beside"))
for group, measures in groups:
    st.header(question(group), anchor=False)
    for one in measures:
        with st.expander(one.title, expanded=len(groups) == 1 and len(measures) == 1):
            show(element("p", one.question, class_="question"))
            definition(one)
cautions.caution(cautions.PUBLISHED, cautions.BENIGN)
