"""Page: what the tracer in the specimens tells, and what it cannot."""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.measure_panel import measure_panel
from dashboards.components.quality import lead, service_strip
from dashboards.components.uptake_curve import curve
from dashboards.components.uptake_lesion import lesion_section
from dashboards.components.uptake_physics import doses
from dashboards.components.uptake_ratios import ratios_by_diagnosis
from dashboards.components.uptake_readers import benign_list, blind_strip
from dashboards.components.uptake_scans import judgement_table
from dashboards.components.uptake_warning import diagnosis_section, markers_section, missed_section
from registry.measures import load_measures

MEASURES = ("specimen_scan_done", "specimen_uptake", "uptake_time_kept", "specimen_concentration_ratio")

lead(
    "Whether the specimens hold tracer, how that goes with the diagnosis, who judged it and when, and what the tracer cost in dose."
)
measures = [load_measures()[name] for name in MEASURES]
service_strip(
    [one for one in measures if one.kind == "proportion"],
    caption="Measures of this page",
    key="specimen uptake",
    full_axis=True,
    headings=False,
)
st.header("What the counts show", anchor=False)
judgement_table()
st.header("Concentration by diagnosis", anchor=False)
ratios_by_diagnosis()
st.header("Malignant against not malignant", anchor=False)
curve()
markers_section()
st.header("Uptake seen, and the diagnosis", anchor=False)
diagnosis_section()
st.header("No uptake seen, and a missed cancer", anchor=False)
missed_section()
st.header("Blind or not", anchor=False)
blind_strip()
st.header("Uptake confirmed, benign or normal", anchor=False)
benign_list()
st.header("The lesion at planning and on the day", anchor=False)
lesion_section()
st.header("Dose and uptake time per visit", anchor=False)
doses()
st.header("Each measure", anchor=False)
for one in measures:
    measure_panel(one)
cautions.caution(
    cautions.TRACER, cautions.SMALL, cautions.CLUSTER, cautions.BENIGN, cautions.PHYSICS, cautions.RADIATION
)
