"""Page: radioactive sources, and whether scanner, targeting and clocks are as they were."""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.chain import clocks, counts, leak_test_table, phantom, tolerances
from dashboards.components.quality import lead
from dashboards.components.uptake_physics import doses, source_table

lead(
    "What the sources have left, which leak tests are due, and whether counts, targeting and clocks are as they were. For the medical physicist."
)
tolerances()
st.header("Sources", anchor=False)
source_table()
leak_test_table()
st.header("Counts against expected counts", anchor=False)
counts()
st.header("Targeting on the phantom", anchor=False)
phantom()
st.header("Clocks", anchor=False)
clocks()
st.header("Dose and uptake time per visit", anchor=False)
doses()
cautions.caution(cautions.CHAIN, cautions.PHYSICS, cautions.RADIATION)
