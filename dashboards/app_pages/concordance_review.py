"""Page: the concordance meeting, one procedure at a time."""

from __future__ import annotations

import streamlit as st

from dashboards import visitor
from dashboards.answers import concordance as answers
from dashboards.answers import records
from dashboards.components import cautions
from dashboards.components.markup import element, show
from dashboards.components.quality import lead
from dashboards.components.review_form import decision_form, signatures
from dashboards.components.review_list import choose, the_list
from dashboards.components.review_seen import seen
from dashboards.components.review_view import own_view, presenter_view, proposed
from registry.errors import UsageProblem
from registry.people import Action

lead(
    "Does the diagnosis explain what the images showed? One procedure after the other, the most urgent first; "
    "flags come after your own determination, and two people sign what is decided."
)
presenter = presenter_view()
rows = answers.listed()
the_list(rows)
chosen = choose(rows.get_column("procedure_id").to_list())
if not chosen:
    show(element("p", "Nothing waits for the meeting.", class_="lead"))
else:
    reasons = dict(zip(rows["procedure_id"], rows["reason"], strict=True))
    if chosen in reasons:
        show(element("p", f"On the list: {reasons[chosen]}.", class_="result"))
    try:
        found = records.record(chosen)
    except UsageProblem as problem:
        st.error(str(problem))
    else:
        seen(found, presenter=presenter)
        st.header("Your determination", anchor=False)
        own = own_view(chosen)
        if own is not None:
            st.header("What the rules point out", anchor=False)
            proposed(chosen)
            if visitor.may(Action.DECIDE):
                st.header("Decision", anchor=False)
                decision_form(found, own)
        signatures(found)
cautions.caution(cautions.RECORD, cautions.TRACER, cautions.GEOMETRY)
