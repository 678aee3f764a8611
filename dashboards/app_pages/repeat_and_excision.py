"""Page: what a repeat biopsy, an excision or time showed after the biopsy."""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.incidence import incidence
from dashboards.components.quality import lead, measures_of

lead(
    "How often a target was biopsied again, what excision found beyond the biopsy, and which cancers came to light after a benign result."
)
measures_of("repeat_and_excision", "follow_up", key="repeat and excision")
st.header("Cancer after a benign result", anchor=False)
incidence()
cautions.caution(cautions.BENIGN, cautions.SMALL, cautions.CLUSTER, cautions.PUBLISHED)
