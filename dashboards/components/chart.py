"""A drawing with a title that says what it shows, a description, and its table beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards.components.markup import element, show
from dashboards.components.palette import VEGA_CONFIG
from dashboards.components.tables import SHOWN_ROWS, cell, download, heading, table

if TYPE_CHECKING:
    import polars as pl


def chart(spec: dict[str, Any], *, title: str, description: str, frame: pl.DataFrame, file_name: str) -> None:
    """Draw a Vega-Lite specification.

    Parameters
    ----------
    spec
        The drawing, its data included; ours alone, it loads nothing.
    title
        What the drawing shows, as a phrase above it.
    description
        The drawing in words, for those who cannot see it.
    frame
        The drawn numbers.
    file_name
        Name of the CSV file, which is also the key of its button.
    """
    show(element("p", title, class_="chart-title"))
    st.vega_lite_chart(
        None,
        {**spec, "config": VEGA_CONFIG},
        theme=None,
        width="stretch" if spec.get("width") == "container" else "content",
        alt=description,
    )
    with st.expander("Table for this drawing"):
        numeric = frozenset(i for i, kind in enumerate(frame.dtypes) if kind.is_numeric())
        more = f"; the first {SHOWN_ROWS} of {frame.height} rows" if frame.height > SHOWN_ROWS else ""
        rows = [
            [cell(name, row[name]) for name in frame.columns] for row in frame.head(SHOWN_ROWS).to_dicts()
        ]
        table(f"{title}{more}", [heading(name) for name in frame.columns], rows, numeric)
        download("Download as CSV", frame, file_name, key=f"csv {file_name}")
