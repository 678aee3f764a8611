"""One procedure in the order in which a director reads it: finding, sampling, pathology."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import visitor
from dashboards.answers import concordance as answers
from dashboards.answers import sampling, uptake
from dashboards.components import record_fields as fields
from dashboards.components.line import line
from dashboards.components.markup import element, joined, show
from dashboards.components.record_parts import facts, placements, reports, reviews, rows_table
from dashboards.components.record_sketch import sketch
from registry.errors import UsageProblem
from registry.people import Action

if TYPE_CHECKING:
    from registry.record import ProcedureRecord

#: What was looked up, by whom and for which procedure: gone with the next procedure.
_ACCESSION = "accession shown"


def seen(found: ProcedureRecord, *, presenter: bool) -> None:
    """What was seen and how suspicious, the evidence of sampling in words, and the pathology."""
    key = found.procedure["procedure_id"]
    line(found.line)
    show(element("p", found.missing_sentence(), class_="beside"))

    st.header("What was seen", anchor=False)
    facts("findings", found.finding, fields.FINDING)
    if presenter:
        st.session_state.pop(_ACCESSION, None)
    else:
        _accession(key)

    st.header("What was sampled", anchor=False)
    _evidence(key)
    with st.expander("Needle and target"):
        sketch(found)
        placements(found.targeting)
        rows_table("specimens", "Containers", found.specimens, fields.SPECIMENS)

    st.header("What the pathologist says", anchor=False)
    reports(found.reports, own_words=not presenter)

    if found.reviews:
        st.header("Reviews so far", anchor=False)
        reviews(found.reviews, own_words=not presenter)


def _accession(procedure_id: str) -> None:
    """The number on request, as each look at it is written to the trail."""
    if not visitor.may(Action.IDENTIFIERS):
        return
    asked = (visitor.name(), procedure_id)
    state = st.session_state
    # A button, not a switch: with the focus on a switch the keys of the page do nothing.
    if st.button("Show the accession number", key=f"accession {procedure_id}", help="Written to the trail."):
        state[_ACCESSION] = (asked, answers.accession(procedure_id))
    whose, number = state.get(_ACCESSION, (None, None))
    if whose != asked:
        state.pop(_ACCESSION, None)
    elif number:
        st.code(number, language=None)
    else:
        show(element("p", "No accession number is recorded.", class_="beside"))


def _evidence(procedure_id: str) -> None:
    """The recorded evidence in words; no probability yet."""
    try:
        found = sampling.estimate(procedure_id)
    except UsageProblem as problem:
        show(element("p", str(problem), class_="beside"))
        return
    said = [
        *found.evidence,
        *(f"Scan of the specimens: {one.decision.sentence}" for one in uptake.scans_of(procedure_id)),
    ]
    show(element("ul", joined(element("li", text) for text in said), class_="problems"))
    for text in found.contradictions:
        show(element("p", text, class_="beside attention"))
