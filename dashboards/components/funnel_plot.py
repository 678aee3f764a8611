"""A funnel: limits of chance around the rate of all, and one mark for each operator or site."""

from __future__ import annotations

from typing import Any

import polars as pl

from dashboards.components.palette import ACCENT, ATTENTION, INK, MUTED, PAPER, RULE
from registry.units.frames import around, axis


def funnel_plot(units: pl.DataFrame, lines: pl.DataFrame, rate: float) -> dict[str, Any]:
    """Vega-Lite specification: limits first, then intervals, then marks, then the codes.

    Parameters
    ----------
    units
        name, n, rate, lower, upper, kind (``other``, ``flagged`` or ``own``).
    lines
        n, low_998, low_95, high_95, high_998: shares from 0 to 1.
    rate
        Share of all units together.
    """
    most = max(int(units.get_column("n").to_list()[i]) for i in range(units.height))
    bottom, top = axis(units, lines)
    across = {
        "field": "n",
        "type": "quantitative",
        "scale": {"domain": [0, most * 1.08], "nice": False},
        "axis": {"title": "procedures in the denominator", "format": "d", "grid": False, "tickCount": 6},
    }
    up = {
        "type": "quantitative",
        "scale": {"domain": [bottom, top], "nice": False},
        "axis": {"title": "share, %", "format": ".0%" if top - bottom > 0.08 else ".1%", "tickCount": 5},
    }
    drawn = {"values": units.to_dicts()}
    return {
        "width": "container",
        "height": 340,
        "layer": [
            *(_line(lines, name, across, up, style) for name, style in _LINES),
            {
                "data": {"values": [{"rate": rate}]},
                "mark": {"type": "rule", "color": INK, "strokeWidth": 1},
                "encoding": {"y": {**up, "field": "rate"}},
            },
            {
                "data": drawn,
                "mark": {"type": "rule", "color": ACCENT, "strokeWidth": 3, "opacity": 0.3},
                "encoding": {"x": across, "y": {**up, "field": "lower"}, "y2": {"field": "upper"}},
            },
            {
                "data": drawn,
                "mark": {"type": "point", "size": 85, "filled": True, "strokeWidth": 2, "opacity": 1},
                "encoding": {
                    "x": across,
                    "y": {**up, "field": "rate"},
                    "shape": {"field": "kind", "scale": _scale(_SHAPES), "legend": None},
                    "fill": {"field": "kind", "scale": _scale(_FILLS), "legend": None},
                    "stroke": {"field": "kind", "scale": _scale(_STROKES), "legend": None},
                },
            },
            *(_names(near, units, across, up, top - bottom) for near in (False, True)),
        ],
    }


_KINDS = ("other", "flagged", "own")
_SHAPES = ("circle", "diamond", "square")
_FILLS = (ACCENT, ATTENTION, PAPER)
_STROKES = (PAPER, INK, ACCENT)
#: 95 % drawn through, 99.8 % broken, so that they part in greyscale.
_LINES = (
    ("low_95", {"color": MUTED, "strokeDash": [1, 0]}),
    ("high_95", {"color": MUTED, "strokeDash": [1, 0]}),
    ("low_998", {"color": MUTED, "strokeDash": [5, 4]}),
    ("high_998", {"color": MUTED, "strokeDash": [5, 4]}),
)


def _names(
    is_close: bool, units: pl.DataFrame, across: dict[str, Any], up: dict[str, Any], span: float
) -> dict[str, Any]:
    """The codes above their marks, or below where the mark before is close by."""
    most = max(units.get_column("n").to_list())
    rows: dict[bool, list[dict[str, Any]]] = {True: [], False: []}
    before: dict[str, Any] | None = None
    for row in units.sort("n", "rate").to_dicts():
        near = (
            before is not None
            and row["n"] - before["n"] < 0.09 * most
            and abs(row["rate"] - before["rate"]) < 0.09 * span
        )
        rows[near].append(row)
        before = None if near else row
    mark = {"type": "text", "dx": 9, "dy": 13 if is_close else -9, "align": "left", "fontSize": 12}
    return {
        "data": {"values": rows[is_close]},
        "mark": mark,
        "encoding": {"x": across, "y": {**up, "field": "rate"}, "text": {"field": "name"}},
    }


def _scale(marks: tuple[str, ...]) -> dict[str, Any]:
    return {"domain": list(_KINDS), "range": list(marks)}


def _line(
    lines: pl.DataFrame, name: str, across: dict[str, Any], up: dict[str, Any], style: dict[str, Any]
) -> dict[str, Any]:
    return {
        "data": {"values": lines.select("n", name).to_dicts()},
        "mark": {"type": "line", "strokeWidth": 1.2, "interpolate": "monotone", "clip": True, **style},
        "encoding": {"x": across, "y": {**up, "field": name}},
    }


def learning_plot(points: pl.DataFrame) -> dict[str, Any]:
    """Vega-Lite specification: interval and dot for each class of procedure number, in their order.

    Parameters
    ----------
    points
        numbers (a label), share, lower, upper, bound: shares from 0 to 1, null where there is none.
    """
    drawn = points.with_columns(
        low=pl.coalesce("lower", "share"), high=pl.coalesce("upper", "bound", "share")
    )
    seen = drawn.filter(pl.col("share").is_not_null())
    bottom, top = around([float(one) for name in ("low", "high") for one in seen.get_column(name)])
    across = {
        "field": "numbers",
        "type": "ordinal",
        "sort": points.get_column("numbers").to_list(),
        "axis": {"title": "number of the procedure in the operator's experience", "labelAngle": 0},
    }
    up = {
        "type": "quantitative",
        "scale": {"domain": [bottom, top], "nice": False},
        "axis": {
            "title": "share, %",
            "format": ".0%" if top - bottom > 0.08 else ".1%",
            "tickCount": 5,
            "gridColor": RULE,
        },
    }
    return {
        "width": "container",
        "height": 260,
        "data": {"values": drawn.to_dicts()},
        "layer": [
            {
                "mark": {"type": "rule", "color": ACCENT, "strokeWidth": 4, "opacity": 0.35},
                "encoding": {"x": across, "y": {**up, "field": "low"}, "y2": {"field": "high"}},
            },
            {
                "mark": {"type": "point", "size": 70, "filled": True, "color": ACCENT, "opacity": 1},
                "encoding": {"x": across, "y": {**up, "field": "share"}},
            },
        ],
    }
