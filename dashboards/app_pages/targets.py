"""Page: targets and published figures, where each comes from, and why its line is drawn or is not."""

from __future__ import annotations

import streamlit as st

from dashboards.components import cautions
from dashboards.components.markup import element, show
from dashboards.components.target_list import marks, published, quoted

show(
    element(
        "p",
        "Where a figure to compare with comes from, for whom it was meant, and why its line is drawn on the strips or is not.",
        class_="lead",
    )
)
show(
    element(
        "p",
        "A line is drawn only where the document itself was read, its population is that of the measure, and the service has "
        "switched it on in site.toml, section [targets]. None is on by itself.",
        class_="beside",
    )
)
st.header("Targets", anchor=False)
marks()
st.header("Quoted by another source", anchor=False)
show(element("p", "The document itself was not read: none of these can be switched on.", class_="beside"))
quoted()
st.header("Published observations", anchor=False)
published()
cautions.caution(cautions.PUBLISHED, cautions.SMALL)
