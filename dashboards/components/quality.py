"""What the quality pages share: the strip of a question, its quantities, a panel per measure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.answers import counted
from dashboards.components import cautions
from dashboards.components.groups import group_of, grouped, question
from dashboards.components.markup import element, show
from dashboards.components.measure_panel import clustering_line, measure_panel
from dashboards.components.quantities import quantity_table
from dashboards.components.strip import StripRow, strip
from dashboards.components.target_list import ticks
from dashboards.components.whose import own_results_only

if TYPE_CHECKING:
    from collections.abc import Iterable

    from registry.measures import Measure


def lead(text: str) -> None:
    """The question of a page, and what its figures are about."""
    show(element("p", text, class_="lead"))
    show(element("p", f"{session.filters().words()}.", class_="provenance"))
    if session.filters().by in ("operator", "site"):
        cautions.caution(cautions.COMPARE)
    own_results_only(session.filters().by)


def service_strip(
    measures: Iterable[Measure], *, caption: str, key: str, full_axis: bool, headings: bool = True
) -> None:
    """A strip of measures with their last eight quarters."""
    shown = list(measures)
    ids = [one.id for one in shown]
    quarters = counted.quarters(ids)
    rows = [
        StripRow(
            one.title,
            row,
            tuple(quarters[one.id]),
            ticks(one.id),
            question(group_of(one)) if headings else "",
        )
        for one, row in zip(shown, counted.results(ids), strict=True)
    ]
    strip(rows, session.minimum_n(), caption=caption, full_axis=full_axis, key=key)
    clustering_line(rows)


def measures_of(*groups: str, key: str, full_axis: bool = False) -> None:
    """Strip, quantities and panels of the measures of one page.

    Parameters
    ----------
    groups
        Groups of measures, in the order in which they are drawn.
    key
        Name of the CSV files of the page.
    full_axis
        Draw 0 to 100 % even where all figures are small.
    """
    proportions = grouped("proportion", *groups)
    quantities = grouped("quantity", *groups)
    if proportions:
        service_strip(
            proportions,
            caption="Measures of this page",
            key=key,
            full_axis=full_axis,
            headings=len({group_of(one) for one in proportions}) > 1,
        )
    if quantities:
        st.header("Quantities", anchor=False)
        quantity_table(quantities, key=f"{key} quantities")
    st.header("Each measure", anchor=False)
    for one in [*proportions, *quantities]:
        measure_panel(one)
