"""What a cohort holds, on the page: its flow as figure and table, its first table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session
from dashboards.answers import cohorts as answers
from dashboards.components.choice import one_or_all
from dashboards.components.markup import element, show
from dashboards.components.record_parts import field_name
from dashboards.components.tables import capital, download, table
from registry.cohorts import flow_figure, groupings
from registry.errors import RegistryError
from registry.numerals import grouped

if TYPE_CHECKING:
    from registry.cohorts import CohortFile, Drawn, TableOne


def flow(drawn: Drawn) -> None:
    """From all procedures to those analysed: drawn, and as a table with what stands beside."""
    one = drawn.cohort_file
    units = "patients" if one.unit == "patient" else f"{one.unit}s of {grouped(drawn.patients)} patients"
    show(
        element(
            "p", f"{grouped(drawn.frame.height)} {units} are analysed, as of {one.as_of}.", class_="result"
        )
    )
    svg, words = flow_figure(drawn.flow)
    picture, rows = st.tabs(["Figure", "Table"])
    with picture:
        st.image(svg, width="content")
        show(element("p", words, class_="unseen"))
        st.download_button(
            "Download as SVG",
            svg.encode(),
            f"{one.name} flow.svg",
            "image/svg+xml",
            type="tertiary",
            icon=":material/download:",
        )
    with rows:
        table(
            "How the cohort was reached, step by step",
            ["Step", "Left out", "Stay in", "Remaining"],
            [
                [
                    f"of these: {step.label}" if step.kind in ("box", "beside") else step.label,
                    grouped(step.left_out) if step.kind in ("step", "box") else None,
                    grouped(step.left_out) if step.kind == "beside" else None,
                    grouped(step.remaining) if step.kind != "box" else None,
                ]
                for step in drawn.flow
            ],
            frozenset({1, 2, 3}),
        )
        frame = pl.DataFrame([vars(step) for step in drawn.flow])
        download("Download as CSV", frame, f"{one.name} flow.csv", key="csv cohort flow")


def first_table(file: CohortFile) -> None:
    """Who and what the cohort holds, by groups."""
    left, right, _ = st.columns([2, 2, 3], vertical_alignment="bottom")
    by = one_or_all(
        left,
        "Groups",
        groupings(),
        whole="None",
        words=lambda one: capital(field_name(one)),
        key="cohort groups",
    )
    means = right.toggle("Mean and SD", help="In place of median and quartiles.", key="cohort means")
    try:
        made = answers.table_one(file, by)
    except RegistryError as problem:
        show(element("p", str(problem), class_="beside attention"))
        return
    _shown(made, means=means)
    download("Download as CSV", made.frame, f"{file.name} table one.csv", key="csv cohort table")


def _shown(made: TableOne, *, means: bool) -> None:
    rows = made.rows(means=means)
    heads = list(rows[0])
    body = [[_named(row[""]), *(row[head] for head in heads[1:])] for row in rows]
    named = {"": "Characteristic", "not recorded": "Not recorded", "difference": "Difference", "all": "All"}
    table(
        "First table of the cohort",
        [named.get(one, one) for one in heads],
        body,
        frozenset(range(1, len(heads))),
    )
    show(element("p", made.note(means=means), class_="beside"))
    if any(not one.shown for one in made.groups):
        show(
            element(
                "p",
                f"Groups of fewer than {session.minimum_n()} patients are counted and not described.",
                class_="beside",
            )
        )


def _named(label: str) -> str:
    """A row's label with the field as it is called on screen."""
    name, parted, level = label.partition(": ")
    return f"{capital(field_name(name))}{parted}{level}"
