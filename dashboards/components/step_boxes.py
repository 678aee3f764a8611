"""A share that is known only in steps: flat lines, and boxes inside which nothing is known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from dashboards.components.palette import ACCENT, GROUPS, INK

if TYPE_CHECKING:
    from collections.abc import Sequence

#: The axis reaches at least so far, so that a flat line is not blown up.
LEAST_TOP = 0.01

#: After which amount, up to which, from which share, to which.
Step = tuple[float, float, float, float]


def boxes(steps: Sequence[Step], last: float) -> pl.DataFrame:
    """The rises as a table, those that begin at the last amount or beyond it left out."""
    names = ("after", "up_to", "share_before", "share_then")
    kept = [tuple(map(float, step)) for step in steps if step[0] < last]
    return pl.DataFrame(kept, schema=dict.fromkeys(names, pl.Float64), orient="row")


def levels(steps: Sequence[Step], end: float) -> list[dict[str, float]]:
    """The flat stretches between the rises, up to where anything is known."""
    drawn, place, level = [], 0.0, 0.0
    for after, until, before, then in steps:
        if after >= end:
            break
        drawn.append({"from": place, "to": float(after), "share": before})
        place, level = float(until), then
    drawn.append({"from": place, "to": float(end), "share": level})
    return [one for one in drawn if one["from"] < one["to"]]


def step_boxes(
    steps: Sequence[Step],
    *,
    end: float,
    last: float,
    amount: str,
    share: str,
    ticks: Sequence[float] | None = None,
    models: pl.DataFrame | None = None,
) -> dict[str, Any]:
    """Vega-Lite specification: a horizontal line where the share is known, a box where it rises.

    Nothing joins the two ends of a box: inside it the estimate is not determined.

    Parameters
    ----------
    steps
        In order.
    end
        Amount up to which anything is known.
    last
        Amount at which the axis ends.
    amount, share
        Titles of the axes.
    ticks
        Amounts marked on the axis.
    models
        amount, share, model: lines to compare with, one per model.
    """
    rises = boxes(steps, last).with_columns(pl.col("up_to").clip(upper_bound=last)).to_dicts()
    tops = [LEAST_TOP, *(one["share_then"] for one in rises)]
    if models is not None and models.height:
        tops += models.get_column("share").to_list()
    axis = {"title": amount, **({"values": list(ticks), "format": "d"} if ticks else {})}
    across = {"type": "quantitative", "scale": {"domain": [0, last], "nice": False}, "axis": axis}
    up = {
        "type": "quantitative",
        "scale": {"domain": [0, max(tops)], "nice": True},
        "axis": {"title": share, "format": ".0%" if max(tops) > 0.05 else ".1%", "tickCount": 5},
    }
    box = {
        "data": {"values": rises},
        "mark": {"type": "rect", "fill": ACCENT, "fillOpacity": 0.16, "stroke": ACCENT, "strokeWidth": 1},
        "encoding": {
            "x": {**across, "field": "after"},
            "x2": {"field": "up_to"},
            "y": {**up, "field": "share_before"},
            "y2": {"field": "share_then"},
        },
    }
    line = {
        "data": {"values": levels(steps, min(end, last))},
        "mark": {"type": "rule", "color": ACCENT, "strokeWidth": 2.5},
        "encoding": {
            "x": {**across, "field": "from"},
            "x2": {"field": "to"},
            "y": {**up, "field": "share"},
        },
    }
    layers = [box, line]
    if models is not None and models.height:
        layers += model_lines(models, across, up)
    return {"width": "container", "height": 280, "layer": layers}


def model_lines(models: pl.DataFrame, across: dict[str, Any], up: dict[str, Any]) -> list[dict[str, Any]]:
    """Dashed lines to compare with, each named at its end."""
    names = models.get_column("model").unique(maintain_order=True).to_list()
    colours = [INK, GROUPS[1][0]][: len(names)]
    by_model = {"field": "model", "type": "nominal", "legend": None}
    colour = {**by_model, "scale": {"domain": names, "range": colours}}
    dash = {**by_model, "scale": {"domain": names, "range": [[6, 4], [2, 3]][: len(names)]}}
    data = {"values": models.to_dicts()}
    line = {
        "data": data,
        "mark": {"type": "line", "strokeWidth": 1.5, "point": False},
        "encoding": {
            "x": {**across, "field": "amount"},
            "y": {**up, "field": "share"},
            "color": colour,
            "strokeDash": dash,
        },
    }
    ends = models.group_by("model", maintain_order=True).last().to_dicts()
    name = {
        "data": {"values": ends},
        "mark": {"type": "text", "align": "right", "dx": -6, "dy": -8, "fontSize": 12},
        "encoding": {
            "x": {**across, "field": "amount"},
            "y": {**up, "field": "share"},
            "color": colour,
            "text": {"field": "model"},
        },
    }
    return [line, name]
