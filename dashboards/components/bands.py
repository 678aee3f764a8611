"""Probabilities as bands: from the least to the most, the middle as a dot, credible limits as a thin line."""

from __future__ import annotations

from typing import Any

import polars as pl

from dashboards.components.palette import ACCENT, INK, MUTED, PAPER

_ROW = 30


def bands_plot(frame: pl.DataFrame) -> dict[str, Any]:
    """Vega-Lite specification: one row per figure on a shared axis from 0 to 1.

    Parameters
    ----------
    frame
        figure, low, middle, high, lower, upper: the band with its middle (may be empty), and
        the outermost credible limits (may be empty).
    """
    x = {"type": "quantitative", "scale": {"domain": [0, 1]}}
    axis = {"format": ".0%", "title": None, "tickCount": 5, "grid": True}
    y = {
        "field": "figure",
        "type": "nominal",
        "sort": frame["figure"].to_list(),
        "axis": {"title": None, "labelLimit": 330, "ticks": False, "domain": False, "labelPadding": 10},
    }
    return {
        "width": "container",
        "height": _ROW * frame.height,
        "data": {"values": frame.to_dicts()},
        "encoding": {"y": y},
        "layer": [
            {
                "transform": [{"filter": "datum.lower !== null"}],
                "mark": {"type": "rule", "color": MUTED, "strokeWidth": 1.2},
                "encoding": {"x": {**x, "field": "lower", "axis": axis}, "x2": {"field": "upper"}},
            },
            {
                "mark": {"type": "bar", "color": ACCENT, "opacity": 0.35, "height": 11, "minBandSize": 2},
                "encoding": {"x": {**x, "field": "low", "axis": axis}, "x2": {"field": "high"}},
            },
            {
                "transform": [{"filter": "datum.middle !== null"}],
                "mark": {
                    "type": "point",
                    "filled": True,
                    "size": 75,
                    "color": ACCENT,
                    "stroke": PAPER,
                    "strokeWidth": 1,
                    "opacity": 1,
                },
                "encoding": {"x": {**x, "field": "middle", "axis": axis}},
            },
        ],
    }


def calibration_plot(frame: pl.DataFrame) -> dict[str, Any]:
    """Vega-Lite specification: observed share against predicted probability, limits as lines, and the diagonal.

    Parameters
    ----------
    frame
        predicted, observed, lower, upper, procedures.
    """
    scale = {"domain": [0, 1], "nice": False}

    def axis(title: str) -> dict[str, Any]:
        return {"format": ".0%", "title": title, "tickCount": 5}

    x = {
        "field": "predicted",
        "type": "quantitative",
        "scale": scale,
        "axis": axis("Predicted, mean of the bin"),
    }
    y = {"type": "quantitative", "scale": scale, "axis": axis("Really sampled")}
    return {
        "width": 340,
        "height": 340,
        "data": {"values": frame.to_dicts()},
        "layer": [
            {
                "data": {"values": [{"a": 0, "b": 0}, {"a": 1, "b": 1}]},
                "mark": {"type": "line", "color": MUTED, "strokeDash": [4, 3], "strokeWidth": 1},
                "encoding": {
                    "x": {"field": "a", "type": "quantitative"},
                    "y": {"field": "b", "type": "quantitative"},
                },
            },
            {
                "mark": {"type": "rule", "color": ACCENT, "strokeWidth": 2},
                "encoding": {"x": x, "y": {**y, "field": "lower"}, "y2": {"field": "upper"}},
            },
            {
                "mark": {
                    "type": "point",
                    "filled": True,
                    "size": 60,
                    "color": ACCENT,
                    "opacity": 1,
                    "stroke": INK,
                    "strokeWidth": 0.5,
                },
                "encoding": {"x": x, "y": {**y, "field": "observed"}},
            },
        ],
    }
