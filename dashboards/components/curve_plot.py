"""Cumulative incidence as stepped lines with their limits as bands."""

from __future__ import annotations

from typing import Any

import polars as pl

from dashboards.components.palette import GROUPS, MUTED

#: The axis reaches at least so far, so that a flat line is not blown up.
LEAST_TOP = 0.01


def stepped_curves(frame: pl.DataFrame, last: int) -> dict[str, Any]:
    """Vega-Lite specification: a stepped line and a band per estimate, named at its end.

    Parameters
    ----------
    frame
        estimate, days, incidence, lower, upper.
    last
        Day at which the axis ends.
    """
    names = frame.get_column("estimate").unique(maintain_order=True).to_list()

    def by_estimate(marks: list[Any]) -> dict[str, Any]:
        scale = {"domain": names, "range": marks[: len(names)]}
        return {"field": "estimate", "type": "nominal", "scale": scale, "legend": None}

    highest = frame.select(pl.max_horizontal(pl.col("incidence").max(), pl.col("upper").max())).item()
    top = max(float(highest or 0.0), LEAST_TOP)
    colour = by_estimate([colour for colour, _ in GROUPS])
    ticks = [0, 182, 365, 547, 730, 912, last]
    days = {
        "field": "days",
        "type": "quantitative",
        "scale": {"domain": [0, last], "nice": False},
        "axis": {"title": "days since the biopsy", "values": ticks, "format": "d"},
    }
    level = {
        "field": "incidence",
        "type": "quantitative",
        "scale": {"domain": [0, top], "nice": True},
        "axis": {"title": "cancer found, %", "format": ".0%", "tickCount": 5},
    }
    band = {
        "mark": {"type": "area", "interpolate": "step-after", "opacity": 0.1, "line": False, "color": MUTED},
        "encoding": {
            "x": days,
            "y": {**level, "field": "lower"},
            "y2": {"field": "upper"},
            "detail": {"field": "estimate", "type": "nominal"},
        },
    }
    # The edges of a band are broken like the line that it belongs to, so that greyscale tells whose it is.
    edges = [
        {
            "mark": {"type": "line", "interpolate": "step-after", "strokeWidth": 1},
            "encoding": {
                "x": days,
                "y": {**level, "field": end},
                "color": colour,
                "strokeDash": by_estimate([[1, 0], [6, 4], [2, 3]]),
            },
        }
        for end in ("lower", "upper")
    ]
    line = {
        "mark": {"type": "line", "interpolate": "step-after", "strokeWidth": 2},
        "encoding": {
            "x": days,
            "y": level,
            "color": colour,
            "strokeDash": by_estimate([[1, 0], [6, 4], [2, 3]]),
        },
    }
    name = {
        "transform": [{"filter": f"datum.days == {last}"}],
        "mark": {"type": "text", "align": "right", "dx": -8, "dy": -9, "fontSize": 13, "fontWeight": 600},
        "encoding": {"x": days, "y": level, "color": colour, "text": {"field": "estimate"}},
    }
    return {
        "width": "container",
        "height": 320,
        "data": {"values": frame.to_dicts()},
        "layer": [band, *edges, line, name],
    }
