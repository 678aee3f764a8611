"""Page: operators or sites beside one another, with what chance alone would do; nobody is ranked."""

from __future__ import annotations

import streamlit as st

from dashboards import session
from dashboards.components import cautions
from dashboards.components.groups import grouped
from dashboards.components.markup import element, show
from dashboards.components.measure_panel import folds
from dashboards.components.units import (
    against_experience,
    beside_one_another,
    minimum_words,
    names_kept_back,
)
from registry.measures import load_measures
from registry.units import OPERATOR, WAYS

show(
    element(
        "p",
        "Whether operators or sites differ by more than chance, for one proportion at a time, and what experience goes with.",
        class_="lead",
    )
)
show(element("p", f"{session.filters().words()}. {minimum_words()}", class_="provenance"))
cautions.caution(cautions.COMPARE)
titles = {one.id: one.title for one in grouped("proportion")}
linked = session.linked(session.MEASURE) or "sampling_confirmed"
left, right = st.columns([3, 1], vertical_alignment="bottom")
measure = left.selectbox(
    "Proportion",
    list(titles),
    index=list(titles).index(linked) if linked in titles else 0,
    format_func=titles.__getitem__,
)
by = right.selectbox("By", WAYS, format_func=str.capitalize)
if by == OPERATOR:
    names_kept_back()
beside_one_another(measure, by)
st.header("Against experience", anchor=False)
show(
    element(
        "p",
        "The same proportion by the number that the procedure was in its operator's experience, what came before the registry included.",
        class_="question",
    )
)
against_experience(measure)
st.header("What is counted", anchor=False)
folds(load_measures()[measure])
cautions.caution(cautions.SMALL, cautions.CLUSTER)
