"""Intervals between the steps: median with its limits, quartiles and 90th percentile on one axis of days."""

from __future__ import annotations

from typing import Any

import polars as pl

from dashboards.components.palette import ACCENT, INK, MUTED

_ROW = 34


def steps_plot(frame: pl.DataFrame) -> dict[str, Any]:
    """Vega-Lite specification.

    Parameters
    ----------
    frame
        row (its label), median, lower, upper, q1, q3, p90, limit in days; null where there is none.
    """
    names = frame.get_column("row").to_list()
    ends = [
        one
        for name in ("p90", "upper", "limit")
        for one in frame.get_column(name).to_list()
        if one is not None
    ]
    across = {
        "field": "row",
        "type": "nominal",
        "sort": names,
        "scale": {"domain": names},
        "axis": {"title": None, "labelLimit": 300, "ticks": False, "domain": False},
    }

    def along(name: str) -> dict[str, Any]:
        return {
            "field": name,
            "type": "quantitative",
            "scale": {"domain": [0, max([1.0, *ends]) * 1.04], "nice": False},
            "axis": {"title": "days", "tickCount": 8},
        }

    def layer(mark: dict[str, Any], start: str, end: str | None = None) -> dict[str, Any]:
        encoding = {"y": across, "x": along(start)}
        if end:
            encoding["x2"] = {"field": end}
        return {"mark": mark, "encoding": encoding}

    return {
        "width": "container",
        "height": _ROW * len(names),
        "data": {"values": frame.to_dicts()},
        "layer": [
            layer({"type": "rule", "color": MUTED, "strokeWidth": 1}, "q3", "p90"),
            layer({"type": "bar", "color": ACCENT, "opacity": 0.25, "height": 10}, "q1", "q3"),
            layer({"type": "rule", "color": ACCENT, "strokeWidth": 3}, "lower", "upper"),
            layer(
                {
                    "type": "point",
                    "shape": "circle",
                    "filled": True,
                    "color": ACCENT,
                    "size": 70,
                    "opacity": 1,
                },
                "median",
            ),
            layer(
                {"type": "tick", "color": INK, "thickness": 2, "height": 18, "orient": "vertical"}, "limit"
            ),
        ],
    }
