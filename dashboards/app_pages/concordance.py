"""Page: does the pathology explain the finding, and was that decided in time?"""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.b_categories import b_category_tables
from dashboards.components.quality import lead, measures_of

lead(
    "How often radiologist and pathologist found that the pathology does not explain the finding, what became of those, and whether every result was reviewed in time."
)
measures_of("concordance", "timeliness", key="concordance")
st.header("B categories against what was found later", anchor=False)
b_category_tables()
cautions.caution(cautions.DISCORDANCE, cautions.BENIGN, cautions.SMALL, cautions.PUBLISHED)
