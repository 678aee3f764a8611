"""One measure: its figure in a sentence, its strata, its definition, flow and procedures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from dashboards.answers import counted
from dashboards.components import words
from dashboards.components.definition import definition
from dashboards.components.exclusion_flow import exclusion_flow
from dashboards.components.groups import stratum_label, stratum_name
from dashboards.components.markup import element, show
from dashboards.components.planning import procedures_needed
from dashboards.components.procedure_list import procedure_list
from dashboards.components.quantities import quantity_table
from dashboards.components.strip import StripRow, strip
from registry.people import Action

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from registry.measures import Measure


def measure_panel(measure: Measure) -> None:
    """Everything about one measure under the sidebar's filters.

    Parameters
    ----------
    measure
        A proportion or a quantity.
    """
    with st.container(key=f"panel_{measure.id}"):
        st.subheader(measure.title, anchor=measure.id)
        show(element("p", measure.question, class_="question"))
        if measure.kind == "proportion":
            _proportion(measure)
        else:
            row = counted.results([measure.id])[0]
            show(element("p", words.quantity(row), class_="result"))
            show(element("p", words.excluded(row["excluded"]), class_="beside"))
        if (by := session.filters().by) is not None:
            _strata(measure, by)
        folds(measure)


def _proportion(measure: Measure) -> None:
    row = counted.results([measure.id])[0]
    shown = words.figure(row, session.minimum_n())
    lines = [words.patients(row), words.excluded(row["excluded"]), words.maturity(row), words.bounds(row)]
    show(element("p", shown.sentence, class_="result"))
    show(element("p", " ".join(filter(None, lines)), class_="beside"))
    if shown.kind == "rate" and row["interval"] != "clustered":
        found = counted.clustering([measure.id]).get((measure.id, row["stratum"]))
        if found and (line := words.clustering(found.ratio, found.alike)):
            show(element("p", line, class_="beside attention"))
    if measure.caution:
        show(element("p", measure.caution, class_="beside"))


def _strata(measure: Measure, by: str) -> None:
    if measure.kind != "proportion":
        quantity_table([measure], by=by, key=f"{measure.id} {by}")
        return
    rows = [StripRow(stratum_label(by, one["stratum"]), one) for one in counted.results([measure.id], by=by)]
    if not rows:
        show(element("p", f"No procedures to split by {stratum_name(by)}.", class_="beside"))
        return
    strip(
        rows,
        session.minimum_n(),
        caption=f"{measure.title}, by {stratum_name(by)}",
        full_axis=False,
        key=f"{measure.id} by {by}",
    )
    clustering_line(rows, by=by)


def clustering_line(rows: Sequence[StripRow], *, by: str | None = None) -> None:
    """Say of which rows of a strip the plain interval is more than ten per cent too narrow.

    Parameters
    ----------
    rows
        Proportions under the sidebar's filters.
    by
        Stratum by which they are split; None for all procedures together.
    """
    minimum = session.minimum_n()
    plain = [
        one
        for one in rows
        if one.result["interval"] != "clustered" and words.figure(one.result, minimum).kind == "rate"
    ]
    if not plain:
        return
    found = counted.clustering(dict.fromkeys(one.result["measure"] for one in rows), by=by)
    effects = [(one.name, found.get((one.result["measure"], one.result["stratum"]))) for one in plain]
    named = [(name, effect and effect.ratio) for name, effect in effects]
    if line := words.clustering_of(named):
        show(element("p", line, class_="beside attention"))


def folds(measure: Measure) -> None:
    """Definition, exclusion flow, procedures and planning of a measure; they cost nothing until they are opened."""
    parts: dict[str, Callable[[], None]] = {
        "Definition": lambda: definition(measure),
        "Exclusion flow": lambda: exclusion_flow(measure),
    }
    if visitor.may(Action.PROCEDURES):
        parts["Procedures behind it"] = lambda: procedure_list(measure)
    if measure.kind == "proportion":
        parts["How many procedures are needed"] = lambda: procedures_needed(measure)
    for label, draw in parts.items():
        fold = st.expander(label, key=f"{label} {measure.id}", on_change="rerun")
        if fold.open:
            with fold:
                draw()
