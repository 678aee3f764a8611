"""Page: one procedure on one page, from finding to follow-up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.answers import records
from dashboards.components import cautions
from dashboards.components import record_fields as fields
from dashboards.components.line import line
from dashboards.components.markup import element, show
from dashboards.components.record_parts import facts, placements, reports, reviews, rows_table
from dashboards.components.record_sampling import was_it_sampled
from dashboards.components.record_sketch import sketch
from dashboards.components.record_uptake import tracer_in_specimens
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from registry.record import ProcedureRecord


def draw(found: ProcedureRecord) -> None:
    """The record from the line at the top to the plain fields at the bottom."""
    line(found.line)
    show(element("p", found.missing_sentence(), class_="beside"))

    st.header("Pathology", anchor=False)
    reports(found.reports)

    st.header("Decision", anchor=False)
    reviews(found.reviews)

    st.header("Needle and target", anchor=False)
    sketch(found)
    placements(found.targeting)

    st.header("Specimens", anchor=False)
    rows_table("specimens", "Containers", found.specimens, fields.SPECIMENS)
    tracer_in_specimens(found.procedure["procedure_id"], found.procedure["started_on"])

    st.header("Was the target sampled?", anchor=False)
    was_it_sampled(found.procedure["procedure_id"])

    st.header("Afterwards", anchor=False)
    rows_table("followup", "Follow-up, on any procedure of the chain", found.followup, fields.FOLLOWUP)
    rows_table("procedures", "Other procedures of the chain", found.chain, fields.CHAIN)
    rows_table("complications", "Complications", found.complications, fields.COMPLICATIONS)

    st.header("Finding", anchor=False)
    facts("findings", found.finding, fields.FINDING)
    st.header("Procedure", anchor=False)
    facts("procedures", found.procedure, fields.PROCEDURE)
    cautions.caution(cautions.RECORD, cautions.GEOMETRY, cautions.TRACER, cautions.PHYSICS)


listed = records.listed_procedures().get_column("procedure_id").to_list()
linked = session.linked(session.PROCEDURE)
options = [linked, *(key for key in listed if key != linked)] if linked else listed
chosen = st.selectbox(
    "Procedure",
    options,
    index=0 if options else None,
    accept_new_options=True,
    placeholder="Type or choose the key of a procedure",
    help=f"Listed are the {records.LISTED_PROCEDURES} that started last; any other key can be typed.",
)
if not chosen:
    show(
        element("p", "The registry holds no procedures yet. Bring some in on the page Intake.", class_="lead")
    )
else:
    try:
        record = records.record(chosen)
    except UsageProblem as problem:
        st.error(str(problem))
    else:
        session.set_link(session.PROCEDURE, chosen)
        draw(record)
