"""Page: does the pathology explain the finding, and was that decided in time?"""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.b_categories import b_category_tables
from dashboards.components.discordance import discordance_in_full, every_discordant
from dashboards.components.quality import lead, measures_of

lead(
    "How often radiologist and pathologist found that the pathology does not explain the finding, what became of those, and whether every result was reviewed in time."
)
st.header("Discordance", anchor=False)
discordance_in_full()
st.header("Every discordant result, and how it ended", anchor=False)
every_discordant()
st.header("B categories against what was found later", anchor=False)
b_category_tables()
st.header("All measures of concordance and time", anchor=False)
measures_of("concordance", "timeliness", key="concordance")
cautions.caution(cautions.DISCORDANCE, cautions.BENIGN, cautions.SMALL, cautions.PUBLISHED)
