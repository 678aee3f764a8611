"""Page: was tissue obtained, and does it hold what was aimed at?"""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.cores import yield_by_tissue
from dashboards.components.quality import lead, measures_of
from dashboards.components.unusable import unusable_samples

lead(
    "Whether tissue was obtained, how much, what the pathologist found in it, and whether the specimens hold the tracer or the calcifications that were aimed at."
)
measures_of("yield", "pathology", "specimens", key="sampling yield")
st.header("Yield against the amount of tissue", anchor=False)
yield_by_tissue()
st.header("Attempts without a usable sample", anchor=False)
unusable_samples()
cautions.caution(cautions.TRACER, cautions.SMALL, cautions.PHYSICS, cautions.RADIATION)
