"""What the meeting decides on one procedure, as a form; nothing is chosen beforehand."""

from __future__ import annotations

import streamlit as st

from dashboards.answers import meetings as answers
from registry.errors import RegistryError
from registry.meetings.writing import Spoken
from registry.vocabulary import labels

#: A sampled procedure is never outside the question.
_NOT_ASKED = frozenset({"not_applicable"})


def decision_form(meeting_id: str, procedure_id: str, reviews: int) -> None:
    """Determination, reason, step, who acts by when, dissent; kept as a joint review of the meeting.

    Parameters
    ----------
    reviews
        How many the procedure has: each to come has a form of its own, so that what was recorded does
        not stay in the fields to be recorded twice.
    """
    determinations = {
        code: text for code, text in labels("reviews", "determination").items() if code not in _NOT_ASKED
    }
    reasons, steps = labels("reviews", "reason"), labels("reviews", "management")
    with st.form(f"decision {meeting_id} {procedure_id} {reviews}", border=False):
        determination = st.radio(
            "Does the pathology explain the finding?",
            list(determinations),
            index=None,
            format_func=determinations.__getitem__,
            horizontal=True,
        )
        left, right = st.columns(2)
        reason = left.selectbox(
            "Reason, if discordant or indeterminate",
            list(reasons),
            index=None,
            format_func=reasons.__getitem__,
        )
        step = right.selectbox("Recommended step", list(steps), index=None, format_func=steps.__getitem__)
        who, when = st.columns(2)
        responsible = who.text_input("Who acts and tells the patient (a role)")
        due_on = when.date_input("Due on", None, format="YYYY-MM-DD")
        first, second = st.columns(2)
        radiologist = first.text_input("Radiologist (a code)")
        pathologist = second.text_input("Pathologist (a code)")
        note = st.text_area("Discussion and dissent (name no patient)", max_chars=4000, height=90)
        sent = st.form_submit_button("Record the decision")
    if not sent:
        return
    if determination is None or step is None:
        st.error("Choose what was decided and which step is recommended; nothing was written.")
        return
    said = Spoken(radiologist, pathologist, determination, step, reason, responsible, due_on, note)
    try:
        answers.decide(meeting_id, procedure_id, said)
    except RegistryError as problem:
        st.error(str(problem))
    else:
        st.rerun()
