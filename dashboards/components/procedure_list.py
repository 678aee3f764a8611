"""The procedures behind a figure, and the way to the record of each."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote

import polars as pl
import streamlit as st

from dashboards import session, visitor
from dashboards.answers import counted, records
from dashboards.components import words
from dashboards.components.markup import Markup, element, show
from dashboards.components.tables import SHOWN_ROWS, cell, download, heading, table
from registry.people import Action

if TYPE_CHECKING:
    from registry.measures import Measure

RECORD_PAGE = "app_pages/procedure_record.py"


def procedure_list(measure: Measure) -> None:
    """Procedures of a measure by their part in it, with a link to the record of one of them."""
    found = with_part(counted.procedures(measure.id), measure)
    parts = found.get_column("part").unique(maintain_order=True).to_list()
    if not parts:
        show(element("p", "No procedures in the period.", class_="beside"))
        return
    order = [one for one in _KEPT if one in parts] + sorted(one for one in parts if one not in _KEPT)
    chosen = st.selectbox("Show", order, key=f"part {measure.id}")
    rows = found.filter(pl.col("part") == chosen)
    choose_procedure(rows.get_column("procedure_id").to_list(), key=measure.id)
    columns = [name for name in rows.columns if name not in _NOT_SHOWN]
    more = f", the first {SHOWN_ROWS}" if rows.height > SHOWN_ROWS else ""
    cells = [[cell(name, row[name]) for name in columns] for row in rows.head(SHOWN_ROWS).to_dicts()]
    table(
        f"{chosen}: {words.plural(rows.height, 'procedure')}{more}",
        [heading(name) for name in columns],
        cells,
    )
    download(
        "Download all procedures of this measure as CSV",
        found,
        f"{measure.id} procedures.csv",
        key=f"csv procedures {measure.id}",
    )


def record_link(key: str) -> Markup | str:
    """The key of a procedure as a link to its record, where whoever looks may open it."""
    if not visitor.may(Action.RECORD):
        return key
    return element("a", key, href=f"procedure-record?{session.PROCEDURE}={quote(key)}", target="_self")


def choose_procedure(keys: list[str], *, key: str) -> None:
    """A select box for one of several procedures, and the link to its record."""
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    chosen = left.selectbox("Procedure", keys[: records.LISTED_PROCEDURES], key=f"procedure of {key}")
    right.page_link(
        RECORD_PAGE,
        label="Open its record",
        icon=":material/arrow_forward:",
        query_params={session.PROCEDURE: chosen or ""},
    )


_NOT_SHOWN = frozenset({"part", "excluded_because", "in_numerator", "stratum"})
_KEPT = ("In the numerator", "In the denominator only", "Kept")


def with_part(found: pl.DataFrame, measure: Measure) -> pl.DataFrame:
    """Rows with ``part``: in the numerator, in the denominator only, kept, or why left out."""
    left_out = pl.format("Left out: {}", pl.col("excluded_because"))
    kept = pl.lit(_KEPT[2])
    if measure.kind == "proportion":
        kept = pl.when(pl.col("in_numerator")).then(pl.lit(_KEPT[0])).otherwise(pl.lit(_KEPT[1]))
    part = pl.when(pl.col("excluded_because").is_null()).then(kept).otherwise(left_out)
    return found.with_columns(part.alias("part"))
