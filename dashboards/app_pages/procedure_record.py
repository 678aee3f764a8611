"""Page: one procedure on one page, from finding to follow-up."""

from __future__ import annotations

import streamlit as st

from dashboards import session
from dashboards.components import cautions
from dashboards.components.line import line
from dashboards.components.markup import element, show
from dashboards.components.record_parts import facts, report, rows_table
from dashboards.components.record_sketch import sketch
from registry.errors import UsageProblem

FINDING = (
    "modality",
    "correlate",
    "laterality",
    "region",
    "clock_position",
    "nipple_distance_mm",
    "size_mm",
    "assessment",
    "finding_type",
    "uptake_pattern",
    "uptake_intensity",
    "uptake_ratio",
    "suv_max",
    "other_cancer",
)
PROCEDURE = (
    "site",
    "operator",
    "status",
    "status_reason",
    "guidance",
    "approach",
    "position",
    "device",
    "gauge",
    "aperture_mm",
    "dead_tip_mm",
    "cores",
    "residual",
    "target_seen",
    "safe_margin_mm",
    "compression_mm",
    "tracer",
    "activity_mbq",
    "injected_at",
    "first_scan_at",
    "marker",
    "marker_shape",
    "post_mammogram",
    "repeat_of",
    "repeat_reason",
)
TARGETING = (
    "attempt",
    "frame",
    "needle_axis",
    "needle_direction",
    "planned_x_mm",
    "planned_y_mm",
    "planned_z_mm",
    "seen_x_mm",
    "seen_y_mm",
    "seen_z_mm",
    "achieved_x_mm",
    "achieved_y_mm",
    "achieved_z_mm",
    "verification",
    "stand_in",
    "aperture_judgement",
    "action",
)
SPECIMENS = (
    "specimen_id",
    "taken_order",
    "cores",
    "mass_g",
    "scan_at",
    "counts",
    "background_counts",
    "uptake_seen",
    "calcifications_seen",
    "reader",
)
REVIEWS = (
    "reviewed_on",
    "stage",
    "radiologist",
    "pathologist",
    "determination",
    "reason",
    "management",
    "responsible",
    "due_on",
    "booked_for",
    "declined_on",
    "informed_on",
)
FOLLOWUP = (
    "happened_on",
    "procedure_id",
    "kind",
    "modality",
    "imaging_outcome",
    "diagnosis",
    "same_site",
    "excision_kind",
    "adjudication",
    "contact_result",
    "closure_reason",
)
CHAIN = ("started_on", "procedure_id", "status", "guidance", "repeat_of", "repeat_reason")
COMPLICATIONS = ("onset_on", "kind", "grade", "scheme", "action")

listed = session.listed_procedures().get_column("procedure_id").to_list()
linked = session.linked(session.PROCEDURE)
options = [linked, *(key for key in listed if key != linked)] if linked else listed
chosen = st.selectbox(
    "Procedure",
    options,
    index=0 if options else None,
    accept_new_options=True,
    placeholder="Type or choose the key of a procedure",
    help=f"Listed are the {session.LISTED_PROCEDURES} that started last; any other key can be typed.",
)
if not chosen:
    st.markdown("The registry holds no procedures yet. Bring some in on the page Intake.")
    st.stop()
try:
    found = session.record(chosen)
except UsageProblem as problem:
    st.error(str(problem))
    st.stop()
session.set_link(session.PROCEDURE, chosen)

line(found.line)
show(element("p", found.missing_sentence(), class_="beside"))
for change in found.changes:
    show(element("p", f"{change}.", class_="change"))

st.header("Pathology", anchor=False)
if not found.reports:
    show(element("p", "No report is recorded.", class_="beside"))
for one in found.reports:
    report(one)

st.header("Decision", anchor=False)
rows_table("reviews", "Reviews, in the order of their dates", found.reviews, REVIEWS)
for review in found.reviews:
    if review["note"]:
        show(element("p", f"Note of {review['reviewed_on']}: {review['note']}", class_="beside"))

st.header("Needle and target", anchor=False)
sketch(found)
rows_table("targeting", "Needle placements", found.targeting, TARGETING)

st.header("Specimens", anchor=False)
rows_table("specimens", "Specimen containers", found.specimens, SPECIMENS)

st.header("Afterwards", anchor=False)
rows_table("followup", "Follow-up, on any procedure of the chain", found.followup, FOLLOWUP)
rows_table("procedures", "Other procedures of the chain", found.chain, CHAIN)
rows_table("complications", "Complications", found.complications, COMPLICATIONS)

st.header("Finding and procedure", anchor=False)
facts("findings", found.finding, FINDING)
st.divider()
facts("procedures", found.procedure, PROCEDURE)
cautions.caution(cautions.RECORD, cautions.GEOMETRY, cautions.TRACER, cautions.PHYSICS)
