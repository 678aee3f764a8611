"""Page: who came to harm, by grade."""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.grades import grades
from dashboards.components.quality import lead, measures_of

lead(
    "Complications of the procedure itself within 30 days, by grade. Choose a split in the sidebar to compare approaches or devices."
)
measures_of("complications", key="complications")
st.header("By kind and grade", anchor=False)
grades()
cautions.caution(cautions.GRADES, cautions.SMALL)
