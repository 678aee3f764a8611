"""Page: a concordance meeting, from its list to signed minutes."""

from __future__ import annotations

import streamlit as st

from dashboards import session, visitor
from dashboards.answers import meetings as answers
from dashboards.components import cautions
from dashboards.components.markup import element, show
from dashboards.components.meeting_minutes import minutes
from dashboards.components.meeting_people import attendance, open_form
from dashboards.components.meeting_walk import left_open, the_list, walk
from registry.people import Action

lead = (
    "The list of a meeting is what waits for a joint review at its site on its day, the most urgent first. Decisions are recorded as "
    "joint reviews that name the meeting; the minutes are read from them."
)
show(element("p", lead, class_="lead"))
if visitor.may(Action.ENTER):
    with st.expander("Open a meeting"):
        open_form(answers.sites())

found = answers.listed()
options = found.get_column("meeting_id").to_list()
if not options:
    show(element("p", "No meeting is recorded yet.", class_="lead"))
else:
    linked = session.linked(session.MEETING)
    words = {
        row[
            "meeting_id"
        ]: f"{row['held_on']}, {row['site']}{', signed' if row['closed_at'] else ''} ({row['meeting_id']})"
        for row in found.iter_rows(named=True)
    }
    chosen = st.selectbox(
        "Meeting", options, options.index(linked) if linked in options else 0, format_func=words.__getitem__
    )
    session.set_link(session.MEETING, chosen)
    one = answers.meeting_of(found, chosen)
    agenda, actions, decided = answers.before(chosen)

    st.header("Who is there", anchor=False)
    attendance(one)
    st.header("The list", anchor=False)
    the_list(agenda, decided)
    st.header("One procedure after the other", anchor=False)
    walk(agenda, decided, chosen)
    st.header("Left open by earlier meetings", anchor=False)
    left_open(actions)
    st.header("Minutes", anchor=False)
    minutes(one)
cautions.caution(
    "What is listed is a prompt. Decisions belong to qualified clinicians under their local protocol; nothing here proposes one.",
    cautions.RECORD,
    cautions.TRACER,
    "Minutes hold keys of procedures and the notes of the discussion, and neither names nor identifiers of patients. They are confidential to the service.",
)
