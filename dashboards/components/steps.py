"""Intervals between the steps, drawn and as a table, with the faults of the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session, visitor
from dashboards.answers import meeting as answers
from dashboards.components import words
from dashboards.components.chart import chart
from dashboards.components.markup import element, show
from dashboards.components.procedure_list import choose_procedure
from dashboards.components.steps_plot import steps_plot
from dashboards.components.tables import SHOWN_ROWS, table
from registry.people import Action
from registry.timeliness import INTERVALS, WAYS

if TYPE_CHECKING:
    from registry.timeliness import Interval

_HEADS = (
    "Interval",
    "Procedures",
    "Median, d",
    "Quartiles, d",
    "90th percentile, d",
    "In the local limit",
    "Missing",
    "Faults",
)


def steps() -> None:
    """All intervals together, then one of them split."""
    found = answers.timeliness(None)
    _drawn(found, "All intervals", "timeliness.csv", by_words=True)
    _table(found, "Days between the steps")
    show(
        element(
            "p",
            "Dot: median; thick line: its 95 % limits (order statistics); box: quartiles; thin line: to the 90th percentile; "
            "upright mark: the local limit, where site.toml states one. Missing: the later step has no date, or not yet. "
            "Published limits were not read, so none is shown.",
            class_="beside",
        )
    )
    st.header("One interval, split", anchor=False)
    left, right = st.columns(2)
    name = left.selectbox("Interval", list(INTERVALS), format_func=INTERVALS.__getitem__)
    by = right.selectbox("By", list(WAYS), format_func=str.capitalize)
    split = tuple(one for one in answers.timeliness(by) if one.interval == name)
    _drawn(split, f"{INTERVALS[name]} by {by}", f"timeliness {name} by {by}.csv", by_words=False)
    _table(split, f"{INTERVALS[name]} by {by}", by_words=False)
    if visitor.may(Action.PROCEDURES):
        _faults()


def _drawn(found: tuple[Interval, ...], title: str, file_name: str, *, by_words: bool) -> None:
    shown = [one for one in found if one.n]
    if not shown:
        show(element("p", "No procedures.", class_="beside"))
        return
    names = ("median", "lower", "upper", "q1", "q3", "p90", "limit")
    frame = pl.DataFrame(
        [
            {"row": one.words if by_words else one.stratum, **{name: getattr(one, name) for name in names}}
            for one in shown
        ],
        schema={"row": pl.String, **dict.fromkeys(names, pl.Float64)},
    )
    chart(
        steps_plot(frame),
        title=title,
        description="; ".join(f"{row['row']}: median {row['median']:g} days" for row in frame.to_dicts()),
        frame=frame,
        file_name=file_name,
    )


def _table(found: tuple[Interval, ...], caption: str, *, by_words: bool = True) -> None:
    heads = _HEADS if by_words else ("Stratum", *_HEADS[1:])
    rows = [_cells(one, one.words if by_words else one.stratum) for one in found]
    if any(one.limit is not None for one in found):
        table(caption, heads, rows, frozenset((1, 4, 6, 7)))
        return
    # A column that says nothing would push the faults out of sight on a narrow screen.
    at = _HEADS.index("In the local limit")
    table(
        caption,
        heads[:at] + heads[at + 1 :],
        [row[:at] + row[at + 1 :] for row in rows],
        frozenset((1, 4, 5, 6)),
    )
    show(element("p", "No local limit is stated for these steps.", class_="beside"))


def _cells(one: Interval, name: str) -> tuple[str, ...]:
    limits = "" if one.lower is None or one.upper is None else f" ({one.lower:g} to {one.upper:g})"
    return (
        name,
        words.count(one.n),
        "" if one.median is None else f"{one.median:g}{limits}",
        "" if one.q1 is None else f"{one.q1:g} to {one.q3:g}",
        "" if one.p90 is None else f"{one.p90:g}",
        _share(one),
        words.count(one.missing),
        words.count(one.negative),
    )


def _share(one: Interval) -> str:
    if one.limit is None or one.within is None:
        return "no limit stated"
    counts = f"{one.within} of {one.n} within {one.limit:g} d"
    if one.n < session.minimum_n() or one.share is None or one.share_lower is None or one.share_upper is None:
        return counts
    return f"{counts}: {words.with_interval(one.share, one.share_lower, one.share_upper)}"


def _faults() -> None:
    rows = answers.faults()
    st.header("Steps dated before the one they follow", anchor=False)
    if not rows.height:
        show(element("p", "None: all dates are in order.", class_="beside"))
        return
    cells = [
        (
            row["procedure_id"],
            INTERVALS[row["interval"]],
            str(row["from_on"]),
            str(row["to_on"]),
            str(row["days"]),
        )
        for row in rows.head(SHOWN_ROWS).to_dicts()
    ]
    table("Faults of the record", ("Procedure", "Interval", "From", "To", "Days"), cells, frozenset((4,)))
    choose_procedure(rows["procedure_id"].unique(maintain_order=True).to_list(), key="faults of time")
