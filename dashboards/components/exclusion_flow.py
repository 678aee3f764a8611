"""How the procedures of the period became the denominator of a measure, step by step."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session
from dashboards.answers import counted
from dashboards.components import words
from dashboards.components.markup import Markup, element, joined, show
from dashboards.components.tables import capital, download
from registry.measures import reason_in_words, standing_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.measures import Measure, ProportionResult


FIRST_REASON = "A procedure is left out for the first reason that applies."


def flows_of_groups(measure: Measure, groups: Sequence[tuple[str, ProportionResult]], by: str | None) -> None:
    """The flow of each group of a comparison, with its best and worst case.

    Parameters
    ----------
    groups
        Name on screen and result.
    by
        Stratum that parts them; None for periods.
    """
    fold = st.expander("Exclusion flow", key=f"Exclusion flow {measure.id}", on_change="rerun")
    if not fold.open:
        return
    with fold:
        show(element("p", FIRST_REASON, class_="beside"))
        for name, one in groups:
            show(element("p", name, class_="chart-title"))
            show(
                flow_table(
                    f"{measure.title}, {name}: from all procedures to the denominator",
                    counted.exclusion_flow_of(one, by),
                )
            )
            show(element("p", words.extremes(one.to_dict(), session.minimum_n()), class_="beside"))


def exclusion_flow(measure: Measure) -> None:
    """Ordered reasons with the number left out and the number remaining, each with a slim bar."""
    flow = counted.exclusion_flow(measure.id)
    show(flow_table(f"{measure.title}: from all procedures of the period to the denominator", flow))
    show(element("p", FIRST_REASON, class_="beside"))
    if measure.kind == "proportion":
        show(
            element(
                "p", words.extremes(counted.results([measure.id])[0], session.minimum_n()), class_="beside"
            )
        )
    frame = pl.DataFrame(
        flow, schema={"reason": pl.String, "left_out": pl.Int64, "remaining": pl.Int64}, orient="row"
    ).with_columns(pl.col("reason").map_elements(standing_of, return_dtype=pl.String).alias("why"))
    download("Download as CSV", frame, f"{measure.id} flow.csv", key=f"csv flow {measure.id}")


def flow_table(caption: str, flow: Sequence[tuple[str, int, int]]) -> Markup:
    """The flow as a table; the first entry is all procedures, and the bars are drawn against it."""
    first = flow[0][2]
    head = element("tr", *(element("th", text, scope="col", class_=kind) for text, kind in _HEADS))
    body = [_step("All procedures of the period", None, first, first)]
    body += [_step(reason, left_out, remaining, first) for reason, left_out, remaining in flow[1:]]
    return element(
        "table",
        element("caption", caption),
        element("thead", head),
        element("tbody", joined(body)),
        class_="plain flow",
    )


_HEADS = (
    ("Step", None),
    ("Why", None),
    ("Left out", "number"),
    ("Remaining", "number"),
    ("Remaining, drawn", "bar-cell"),
)


def _step(reason: str, left_out: int | None, remaining: int, first: int) -> Markup:
    width = 100 * remaining / first if first else 0
    bar = element("i", class_="bar", style=f"width:{width:.2f}%")
    return element(
        "tr",
        element("th", capital(reason_in_words(reason)), scope="row"),
        element("td", "" if left_out is None else standing_of(reason)),
        element("td", "" if left_out is None else words.count(left_out), class_="number"),
        element("td", words.count(remaining), class_="number"),
        element("td", element("div", bar, class_="bar-frame", aria_hidden="true"), class_="bar-cell"),
    )
