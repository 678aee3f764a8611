"""Complications by kind and grade: plain counts, each scale in rows of its own."""

from __future__ import annotations

import polars as pl

from dashboards.answers import counted
from dashboards.components.markup import element, show
from dashboards.components.record_parts import shown
from dashboards.components.tables import download, table

GRADES = range(1, 6)


def grades() -> None:
    """Draw the cross table of kind and grade; scales are never added up."""
    found = counted.grades()
    if not found.height:
        show(element("p", "No complication is recorded within 30 days.", class_="beside"))
        return
    counts = {(row["kind"], row["scheme"], row["grade"]): row["complications"] for row in found.to_dicts()}
    rows = [
        [
            shown("complications", "kind", kind),
            shown("complications", "scheme", scheme) or "scale not recorded",
            *(counts.get((kind, scheme, grade), "") for grade in GRADES),
        ]
        for kind, scheme in found.select("kind", "scheme").unique(maintain_order=True).rows()
    ]
    heads = ["Complication", "Scale", *(f"Grade {grade}" for grade in GRADES)]
    table("Complications within 30 days, by kind and grade", heads, rows, frozenset(range(2, 7)))
    show(
        element(
            "p",
            "Complications are counted here, not procedures: one procedure can have several.",
            class_="beside",
        )
    )
    download(
        "Download as CSV",
        found.with_columns(pl.col("grade").cast(pl.Int64)),
        "complications by grade.csv",
        key="csv grades",
    )
