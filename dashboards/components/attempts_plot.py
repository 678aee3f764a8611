"""Error at the first attempt against error at the last, with the line on which nothing changed."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Any

import polars as pl

from dashboards.components.chart import chart
from dashboards.components.palette import ACCENT, MUTED
from dashboards.components.words import plural

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Pixels of either side: one scale in both directions.
_SIDE = 300


def attempts_plot(pairs: pl.DataFrame) -> None:
    """Draw one symbol per procedure.

    Parameters
    ----------
    pairs
        procedure_id, first_error_mm, error_mm; one row or more.
    """
    rows = pairs.select(
        "procedure_id",
        pl.col("first_error_mm").round(2).alias("first_mm"),
        pl.col("error_mm").round(2).alias("last_mm"),
    )
    chart(
        spec(rows),
        title="Error at the first attempt \u00d7 at the last",
        description=(
            f"{plural(rows.height, 'procedure')} whose needle was moved: to the right the error at the first attempt, upwards at the last, both in mm on one scale. "
            "Below the diagonal the last attempt lay nearer. The table below it holds the numbers."
        ),
        frame=rows,
        file_name="first against last attempt.csv",
    )


def spec(rows: pl.DataFrame) -> dict[str, Any]:
    """Vega-Lite specification: equal scales from 0, the diagonal, the procedures."""
    end = _end([*rows.get_column("first_mm").to_list(), *rows.get_column("last_mm").to_list()])

    def axis(name: str, title: str) -> dict[str, Any]:
        scale = {"domain": [0, end], "nice": False}
        return {
            "field": name,
            "type": "quantitative",
            "scale": scale,
            "axis": {"title": title, "tickCount": 6},
        }

    place = {"x": axis("first_mm", "mm, first attempt"), "y": axis("last_mm", "mm, last attempt")}
    tips = [
        {"field": "procedure_id", "title": "procedure"},
        {"field": "first_mm", "title": "first, mm"},
        {"field": "last_mm", "title": "last, mm"},
    ]
    diagonal = [{"first_mm": 0, "last_mm": 0}, {"first_mm": end, "last_mm": end}]
    words = [{"first_mm": end, "last_mm": end, "words": "unchanged "}]
    return {
        "width": _SIDE,
        "height": _SIDE,
        "layer": [
            {
                "data": {"values": diagonal},
                "mark": {"type": "line", "stroke": MUTED, "strokeWidth": 1, "strokeDash": [4, 4]},
                "encoding": place,
            },
            {
                "data": {"values": words},
                "mark": {"type": "text", "align": "right", "baseline": "top", "dx": -14},
                "encoding": {**place, "text": {"field": "words"}},
            },
            {
                "data": {"values": rows.to_dicts()},
                "mark": {"type": "point", "filled": False, "stroke": ACCENT, "size": 36, "opacity": 0.85},
                "encoding": {**place, "tooltip": tips},
            },
        ],
    }


def _end(values: Sequence[float]) -> float:
    return float(max(5, ceil(max(values) / 5) * 5))
