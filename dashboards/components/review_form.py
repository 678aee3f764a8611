"""The decision of the meeting, and its two signatures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from dashboards.answers import concordance as answers
from dashboards.components.confirm import confirmed
from dashboards.components.markup import element, joined, show
from registry.concordance import SIGNING_ROLES, Decision
from registry.errors import RegistryError
from registry.people import Action
from registry.vocabulary import labels

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

    from registry.record import ProcedureRecord

_STAGES = {"joint": "Joint: radiologist and pathologist", "provisional": "Provisional: the radiologist alone"}


def decision_form(found: ProcedureRecord, own: str) -> None:
    """Fields of a decision; what a rule of the data dictionary refuses is said in its sentence."""
    key = found.procedure["procedure_id"]
    sampled = found.procedure["status"] == "completed"
    codes = [code for code in labels("reviews", "determination") if (code != "not_applicable") == sampled]
    radiologists, pathologists = answers.reviewers()
    # One form for each review to come: what was recorded does not stay in the fields to be recorded twice.
    with st.form(f"decision {key} {len(found.reviews)}", border=False):
        first, second, third = st.columns(3)
        stage = first.selectbox("Stage", list(_STAGES), format_func=_STAGES.__getitem__)
        radiologist = _person(second, "Radiologist", radiologists)
        pathologist = _person(third, "Pathologist (joint)", pathologists)
        determination = first.selectbox(
            "Determination",
            codes,
            index=codes.index(own) if own in codes else 0,
            format_func=labels("reviews", "determination").__getitem__,
        )
        reason = second.selectbox(
            "Reason, unless concordant",
            ["", *labels("reviews", "reason")],
            format_func=lambda code: labels("reviews", "reason").get(code, "None"),
        )
        management = third.selectbox(
            "Recommendation",
            list(labels("reviews", "management")),
            index=None,
            placeholder="Choose",
            format_func=labels("reviews", "management").__getitem__,
        )
        responsible = first.text_input("Who acts (role)", max_chars=40)
        due = second.date_input("Due on", None, format="YYYY-MM-DD")
        informed = third.date_input("Patient told on", None, format="YYYY-MM-DD")
        note = st.text_area("Discussion, dissent included (never exported)", max_chars=4000, height=100)
        sent = st.form_submit_button("Record this decision")
    if not sent:
        return
    if management is None:
        st.error("Not saved: the recommendation is missing. Choose one.")
        return
    made = Decision(
        procedure_id=key,
        reviewed_on=session.today() if not session.is_demo() else session.filters().as_of,
        stage=stage,
        radiologist=radiologist or "",
        pathologist=(pathologist or "") if stage == "joint" else "",
        determination=determination,
        management=management,
        reason=reason,
        responsible=responsible,
        due_on=due,
        informed_on=informed,
        note=note,
    )
    try:
        answers.decide(made)
    except RegistryError as problem:
        st.error(str(problem))
        return
    st.rerun()


def _person(place: DeltaGenerator, text: str, codes: list[str]) -> str | None:
    """Who took part: whoever signed in stands there already, nobody else does."""
    is_own = visitor.signs_in() and codes[:1] == [visitor.name()]
    chosen: str | None = place.selectbox(
        text, codes, index=0 if is_own else None, placeholder="Choose or type", accept_new_options=True
    )
    return chosen


def signatures(found: ProcedureRecord) -> None:
    """Signatures under the newest joint review: who signed, what changed, who is missing."""
    joint = [row for row in found.reviews if row["stage"] == "joint"]
    if not joint:
        return
    newest = joint[-1]
    stands = answers.standing([newest["review_id"]])[newest["review_id"]]
    st.header("Signatures", anchor=False)
    loud = stands.state in ("changed since signed", "one signature missing")
    show(
        element(
            "p",
            f"Joint review of {newest['reviewed_on']}: {stands.state}.",
            class_="change" if loud else "result",
        )
    )
    said = []
    for one in stands.signatures:
        text = f"{one.person} as {one.role}, {one.recorded_at:%Y-%m-%d %H:%M} UTC"
        if not one.holds:
            text += ": what was signed has changed since"
        elif one.seen_changed:
            text += ": stands; something else of the record changed since, nothing that decides"
        said.append(element("li", f"{text}."))
    if said:
        show(element("ul", joined(said), class_="problems"))
    if visitor.may(Action.SIGN):
        for role in stands.missing:
            _sign(newest, role)


def _sign(review: dict[str, object], role: str) -> None:
    who = visitor.actor()
    named = review[role]
    if who is None or not named:
        return
    invented = session.is_demo() and not visitor.signs_in()
    if not invented and (SIGNING_ROLES[role] not in who.roles or named not in (who.name, who.operator)):
        show(element("p", f"Waits for {named} as {role}.", class_="beside"))
        return
    if not st.toggle(f"Sign as {role} ({named})", key=f"sign {role} {review['review_id']}"):
        return
    if confirmed("sign a decision") and st.button(
        f"I have seen the record above and sign as {role}", key=f"signed {role} {review['review_id']}"
    ):
        try:
            answers.sign(str(review["review_id"]), role, str(named) if invented else "")
        except RegistryError as problem:
            st.error(str(problem))
            return
        st.rerun()
