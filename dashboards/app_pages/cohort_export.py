"""Page: a cohort of a study built, how it was reached, what it holds, and one archive to take away."""

from __future__ import annotations

import streamlit as st

from dashboards.answers import cohorts
from dashboards.components import cautions
from dashboards.components.cohort_builder import builder
from dashboards.components.cohort_package import take_away
from dashboards.components.cohort_views import first_table, flow
from dashboards.components.markup import element, show
from registry.errors import RegistryError

show(
    element(
        "p",
        "A cohort is a file: who belongs to it, in which order they were chosen, at which day. The page builds the file and the "
        "command line runs the same one. Patients who object to research use are always left out. What is not recorded is "
        "matched neither by a condition nor by its opposite.",
        class_="lead",
    )
)
file = builder()
if file is not None:
    try:
        drawn = cohorts.drawn(file)
        st.header("Flow", anchor=False)
        flow(drawn)
        st.header("Table one", anchor=False)
        first_table(file)
        st.header("Take away", anchor=False)
        take_away(file)
    except RegistryError as problem:
        show(element("p", str(problem), class_="beside attention"))
cautions.caution(cautions.SMALL, cautions.BENIGN, cautions.CLUSTER)
