"""Share of filled fields by month: one row a field, one square a month, darker where more is missing."""

from __future__ import annotations

from typing import Any

import polars as pl

from dashboards.components.palette import ACCENT, PAPER, RULE

#: Height of one row, in pixels.
_ROW = 19


def completeness_plot(months: pl.DataFrame) -> dict[str, Any]:
    """Vega-Lite specification.

    Parameters
    ----------
    months
        words, month (text YYYY-MM), share missing from 0 to 1 (null where nothing is expected),
        expected, filled; fields in the order in which they are drawn.
    """
    fields = months.get_column("words").unique(maintain_order=True).to_list()
    names = sorted(months.get_column("month").unique().to_list())
    ticks = [one for one in names if one.endswith(("-01", "-07"))] or names
    return {
        "width": "container",
        "height": _ROW * len(fields),
        "data": {"values": months.filter(pl.col("missing").is_not_null()).to_dicts()},
        "mark": {"type": "rect", "stroke": PAPER, "strokeWidth": 1},
        "encoding": {
            "x": {
                "field": "month",
                "type": "ordinal",
                "scale": {"domain": names},
                "axis": {
                    "title": None,
                    "values": ticks,
                    "labelAngle": 0,
                    "orient": "top",
                    "ticks": False,
                    "domain": False,
                },
            },
            "y": {
                "field": "words",
                "type": "nominal",
                "sort": fields,
                "scale": {"domain": fields},
                "axis": {"title": None, "labelLimit": 240, "ticks": False, "domain": False},
            },
            "color": {
                "field": "missing",
                "type": "quantitative",
                "scale": {"domain": [0, 0.5], "range": ["#F1EEE6", ACCENT], "clamp": True},
                "legend": {
                    "title": "not filled",
                    "format": ".0%",
                    "orient": "bottom",
                    "direction": "horizontal",
                    "gradientStrokeColor": RULE,
                    "gradientThickness": 9,
                    "values": [0, 0.25, 0.5],
                },
            },
        },
    }
