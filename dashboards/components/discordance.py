"""Discordance in full: three denominators, what was not decided, and how every one ended."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session, visitor
from dashboards.answers import quality
from dashboards.components import words
from dashboards.components.groups import grouped
from dashboards.components.markup import element, show
from dashboards.components.procedure_list import record_link
from dashboards.components.quality import service_strip
from dashboards.components.tables import cell, download, table, two_lines
from registry.people import Action
from registry.quality import files
from registry.vocabulary import label

if TYPE_CHECKING:
    from registry.quality import Denominator

_BESIDE = ("review_coverage", "timely_review", "discordant_resolved", "cancer_in_discordant")


def discordance_in_full() -> None:
    """The three denominators with coverage and bounds; coverage, action and cancer as a strip; the list."""
    found = quality.denominators()
    minimum = session.minimum_n()
    table(
        "Discordance at the first conclusive joint review, over three denominators",
        [
            "Among",
            "Discordant",
            "Decided by a joint review",
            "Not decided",
            "If none or all of those were discordant",
        ],
        [_row(one, minimum) for one in found],
        caption_seen=True,
    )
    first = found[0].result
    text = (
        f"{words.excluded(first.excluded)} Decided: of the procedures whose report was due, those with a conclusive joint review. "
        f"{100 * first.confidence:g}{words.NARROW}% intervals ({first.method}). {words.provenance(first.to_dict())}"
    )
    show(element("p", text, class_="beside"))
    beside = [one for one in grouped("proportion", "concordance", "timeliness") if one.id in _BESIDE]
    service_strip(
        beside,
        caption="Coverage, action and cancer among the discordant",
        key="discordance beside",
        full_axis=True,
        headings=False,
    )


def _row(one: Denominator, minimum: int) -> list[object]:
    shown = words.figure(one.result.to_dict(), minimum)
    figure = f"{shown.short} {shown.range}".strip()
    if shown.kind == "rate" and shown.low is not None and shown.high is not None:
        figure = words.with_interval(shown.value or 0.0, shown.low, shown.high)
    bounds = one.result.bounds
    between = ""
    if bounds and bounds.lower is not None and bounds.upper is not None and one.due >= minimum:
        between = words.span(bounds.lower, bounds.upper)
    return [
        one.about,
        two_lines(figure, shown.counts if one.result.denominator else ""),
        two_lines(_coverage(one, minimum), f"{words.count(one.decided)} of {words.count(one.due)}"),
        two_lines(
            words.count(bounds.unknown if bounds else 0),
            f"{words.count(one.not_reviewed)} not reviewed, {words.count(one.indeterminate)} indeterminate",
        ),
        between.replace(" ", "\u00a0"),
    ]


def _coverage(one: Denominator, minimum: int) -> str:
    if one.coverage is None or one.coverage_lower is None or one.coverage_upper is None:
        return words.NO_PROCEDURES
    if one.due < minimum:
        return "counts only"
    return words.with_interval(one.coverage, one.coverage_lower, one.coverage_upper)


ALL_OF_IT = "The whole period"


def every_discordant() -> None:
    """Every discordant result of a year on one page, and how each ended."""
    if not visitor.may(Action.PROCEDURES):
        show(element("p", "The list is for those who may see single procedures.", class_="beside"))
        return
    found = quality.discordant()
    if not found.height:
        show(element("p", "No procedures.", class_="result"))
        return
    years = found.get_column("started_on").dt.year().unique().sort(descending=True).to_list()
    year = st.selectbox("Procedures of", [*years, ALL_OF_IT], key="discordant year")
    rows = found if year == ALL_OF_IT else found.filter(pl.col("started_on").dt.year() == year)
    ended = rows.group_by("ended").len().sort(["len", "ended"], descending=[True, False])
    parts = "; ".join(f"{words.count(number)} {text}" for text, number in ended.iter_rows())
    show(element("p", f"{words.plural(rows.height, 'discordant result')}: {parts}.", class_="result"))
    table(
        f"Every discordant result of {year}, and how it ended",
        ["Procedure", "Day", "Result", "Why discordant", "How it ended", "Then found"],
        [_listed(row) for row in rows.to_dicts()],
    )
    download("Download the list as CSV", rows, f"discordant {year}.csv", key="csv discordant")
    show(element("p", files()["discordant"].note, class_="beside"))


def _listed(row: dict[str, object]) -> list[object]:
    reason, tissue = row["reason"], row["tissue_on"]
    step = f"advised: {cell('management', row['management']).lower()}"
    if tissue:
        in_time = "within 60 days" if row["tissue_within_60_days"] == "yes" else "not within 60 days"
        step = f"tissue {tissue}, day {row['days_to_tissue']}, {in_time}"
    return [
        two_lines(record_link(str(row["procedure_id"])), str(row["site"])),
        two_lines(str(row["started_on"]), f"discordant {row['discordant_on']}"),
        two_lines(cell("diagnosis", row["diagnosis"]), f"category {row['assessment']}"),
        label("reviews", "reason", str(reason)) if reason else "",
        two_lines(str(row["ended"]), step),
        cell("diagnosis", row["later_diagnosis"]),
    ]
