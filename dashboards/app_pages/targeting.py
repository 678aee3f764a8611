"""Page: did the needle reach the target, and is the site marked where it was sampled?"""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.offsets import offsets_of_measure
from dashboards.components.quality import lead, measures_of

lead(
    "How far the sampling aperture came from the target on the verification scan, how often that was verified, and where the tissue marker came to lie."
)
st.header("Offsets from the target", anchor=False)
offsets_of_measure("targeting_error_mm")
st.header("Measures", anchor=False)
measures_of("targeting", "marker", key="targeting")
cautions.caution(cautions.GEOMETRY, cautions.PHYSICS, cautions.SMALL)
