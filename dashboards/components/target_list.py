"""Targets and published figures with their source, and why each line is drawn or is not."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session
from dashboards.components.lane import Target as Tick
from dashboards.components.markup import Markup, element, show
from dashboards.components.tables import download, table
from registry.measures import load_measures
from registry.targets import SECOND_HAND, SETS_A_MARK, drawn, targets

if TYPE_CHECKING:
    from collections.abc import Iterable

    from registry.targets import Target


def ticks(measure: str) -> tuple[Tick, ...]:
    """The marks of a measure that the service has switched on, for a strip.

    Parameters
    ----------
    measure
        Id of a proportion.
    """
    made = []
    for one in drawn(measure, session.targets_on()):
        ends = [end for end in (one.low, one.high) if end is not None]
        until = ends[1] if len(ends) > 1 else None
        made.append(Tick(ends[0], f"{one.body}, {one.edition}; {one.population}", until))
    return tuple(made)


def marks() -> None:
    """Targets whose document was read, with whether each is drawn and why."""
    _list("Targets read in their document", _of(mark=True, second_hand=False), "targets")


def quoted() -> None:
    """Targets and rules known only as another source quotes them."""
    _list("Quoted by another source", _of(mark=None, second_hand=True), "quoted targets")


def published() -> None:
    """Published observations and documents without a figure."""
    _list("Published observations", _of(mark=False, second_hand=False), "published figures")


def _of(*, mark: bool | None, second_hand: bool) -> list[Target]:
    return [
        one
        for one in targets().values()
        if (one.status == SECOND_HAND) == second_hand and mark in (None, one.kind in SETS_A_MARK)
    ]


def _list(caption: str, chosen: Iterable[Target], name: str) -> None:
    known, on = load_measures(), session.targets_on()
    rows = [
        [
            known[one.measure].title if one.measure else "No measure counts the same",
            _two(one.shown, f"{one.wording}." + (f" {one.note}." if one.note else "")),
            _two(one.source, f"Population: {one.population}."),
            one.why(on),
        ]
        for one in chosen
    ]
    heads = ["Measure", "Figure and wording", "Source, edition, place; population", "Drawn?"]
    with st.container(key=f"sources {name}"):
        table(caption, heads, rows)
    frame = pl.DataFrame([{**asdict(one), "drawn": one.why(on)} for one in chosen], infer_schema_length=None)
    download("Download this list as CSV", frame, f"{name}.csv", key=f"csv {name}")
    show(element("p", f"Switched on by the service: {', '.join(on) or 'none'}.", class_="provenance"))


def _two(first: str, second: str) -> Markup:
    """Two lines of a cell, the second one smaller."""
    return element("span", first, element("br"), element("small", second))
