"""Page: did the needle reach the target, and is the site marked where it was sampled?"""

from __future__ import annotations

import streamlit as st

from dashboards.components import aim_sections, cautions
from dashboards.components.calibration import calibration
from dashboards.components.quality import lead, measures_of

lead(
    "How far the sampling aperture came from the target on the verification scan and in which direction, how often that was verified, and where the tissue marker came to lie."
)
st.header("Total error", anchor=False)
aim_sections.total_error()
st.header("Systematic part", anchor=False)
basis = aim_sections.chosen_basis()
if basis is not None:
    aim_sections.systematic_part(basis)
st.header("By approach, device, operator and period", anchor=False)
aim_sections.groups(basis)
st.header("First attempt against last", anchor=False)
aim_sections.attempts()
st.header("Motion of the target", anchor=False)
aim_sections.motion(basis)
st.header("Measures", anchor=False)
measures_of("targeting", "marker", key="targeting")
calibration()
cautions.caution(cautions.GEOMETRY, cautions.PHYSICS, cautions.SMALL, cautions.CLUSTER)
