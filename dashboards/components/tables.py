"""Tables that are real tables: read by screen readers, printed, and taken away as CSV."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards.components.markup import Markup, element, joined, show
from registry.numerals import NARROW
from registry.vocabulary import label

_TAG = re.compile(r"<[^>]*>")
#: Dates and keys are not broken over two lines.
_WHOLE = re.compile(r"^[^ ]{1,24}$|^\d{4}-\d\d-\d\d ")

if TYPE_CHECKING:
    from collections.abc import Sequence

#: A day with its time of day: two lines where the page is narrow.
_MOMENT = re.compile(r"^\d{4}-\d\d-\d\d \d\d:\d\d")

#: Rows of a list that a page shows at once; the file holds all of them.
SHOWN_ROWS = 25
#: Text longer than this gets a wide column, so that a list stays low.
_LONG = 28
#: A cell that begins with one of these would be run as a formula by a spreadsheet program.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


#: Column -> table of the dictionary that declares its codes.
_CODED = {
    "guidance": "procedures",
    "status": "procedures",
    "status_reason": "procedures",
    "assessment": "findings",
    "finding_type": "findings",
    "diagnosis": "pathology",
    "b_category": "pathology",
    "determination": "reviews",
    "management": "reviews",
    "last_management": "reviews",
}


def table(
    caption: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[object]],
    numeric: frozenset[int] = frozenset(),
    *,
    caption_seen: bool = False,
) -> None:
    """A table with a caption.

    Parameters
    ----------
    caption
        What the table shows; read aloud before its cells.
    heads
        Column headings.
    rows
        Cells; None is shown as an empty cell.
    numeric
        Columns that are set flush right.
    caption_seen
        Show the caption above the table, where no heading says the same.
    """

    def classed(column: int) -> str | None:
        return "number" if column in numeric else None

    head = element(
        "tr",
        # a per cent sign does not begin a line
        *(
            element("th", text.replace(" %", f"{NARROW}%"), scope="col", class_=classed(i))
            for i, text in enumerate(heads)
        ),
    )
    body = joined(
        element("tr", *(_cell(i, value, classed(i)) for i, value in enumerate(row))) for row in rows
    )
    made = element(
        "table",
        element("caption", caption, class_="seen" if caption_seen else None),
        element("thead", head),
        element("tbody", body),
        class_="plain",
    )
    show(element("div", made, class_="scroll", role="region", aria_label=caption, tabindex=0))


def heading(column: str) -> str:
    """What a column is called above a table: its name in words, with a capital."""
    return capital(column.replace("_", " "))


def capital(text: str) -> str:
    """The text with its first letter as a capital."""
    return text[:1].upper() + text[1:]


def two_lines(first: object, second: str) -> Markup:
    """Two lines in one cell, the second in small print; one where there is no second."""
    text = first if isinstance(first, Markup) else str(first)
    return element("span", text, element("small", second) if second else None)


def _cell(column: int, value: object, kind: str | None) -> Markup:
    text = value if isinstance(value, Markup) else "" if value is None else str(value)
    seen = _TAG.sub("", text.partition("<small")[0])
    width = (
        "moment"
        if _MOMENT.match(seen)
        else "whole"
        if _WHOLE.match(seen)
        else "long"
        if len(seen) > _LONG
        else None
    )
    kind = " ".join(filter(None, (kind, width))) or None
    if column == 0:
        return element("th", text, scope="row", class_=kind)
    return element("td", text, class_=kind)


def download(label: str, frame: pl.DataFrame, file_name: str, key: str) -> None:
    """A button that gives a frame as a CSV file, safe to open in a spreadsheet program."""
    st.download_button(
        label, csv_bytes(frame), file_name, "text/csv", key=key, type="tertiary", icon=":material/download:"
    )


def csv_bytes(frame: pl.DataFrame) -> bytes:
    """A frame as CSV; text that a spreadsheet program would run as a formula gets an apostrophe in front."""
    text = pl.col(pl.String)
    first = text.str.slice(0, 1)
    guarded = pl.when(first.is_in(_FORMULA_STARTS)).then(pl.lit("'") + text).otherwise(text)
    return frame.with_columns(guarded.name.keep()).write_csv().encode("utf-8")


def cell(name: str, value: object) -> str:
    """One value of a list: a code as its label, a number with four figures, nothing where it is empty."""
    if value is None:
        return ""
    if name in _CODED:
        return label(_CODED[name], name.removeprefix("last_"), str(value))
    return f"{value:.4g}" if isinstance(value, float) else str(value)
