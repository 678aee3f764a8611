"""Share by number of cores: an interval and a dot for each number."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from dashboards.components.palette import ACCENT, PAPER

if TYPE_CHECKING:
    from collections.abc import Sequence

#: The axis reaches at least so far.
LEAST_TOP = 0.05


def core_points(frame: pl.DataFrame) -> dict[str, Any]:
    """Vega-Lite specification: the interval first, then the dot; open where none was positive.

    Parameters
    ----------
    frame
        cores, share, lower, upper, bound: shares from 0 to 1, null where there is none.
    """
    drawn = frame.with_columns(low=pl.coalesce("lower", "share"), high=pl.coalesce("upper", "bound", "share"))
    top = max(LEAST_TOP, *_values(drawn, "high"), *_values(drawn, "share"))
    most = int(drawn.get_column("cores").to_list()[-1])
    across = {
        "field": "cores",
        "type": "quantitative",
        "scale": {"domain": [0.5, most + 0.5], "nice": False},
        "axis": {"title": "cores", "values": list(range(1, most + 1)), "format": "d", "grid": False},
    }
    up = {
        "type": "quantitative",
        "scale": {"domain": [0, top], "nice": True},
        "axis": {"title": "malignant among the first cores, %", "format": ".0%", "tickCount": 5},
    }
    interval = {
        "mark": {"type": "rule", "color": ACCENT, "strokeWidth": 4, "opacity": 0.35},
        "encoding": {"x": across, "y": {**up, "field": "low"}, "y2": {"field": "high"}},
    }
    dot = {
        "mark": {
            "type": "point",
            "shape": "circle",
            "size": 60,
            "filled": True,
            "stroke": ACCENT,
            "strokeWidth": 1.5,
        },
        "encoding": {
            "x": across,
            "y": {**up, "field": "share"},
            "fill": {"condition": {"test": "datum.share == 0", "value": PAPER}, "value": ACCENT},
        },
    }
    return {
        "width": "container",
        "height": 280,
        "data": {"values": drawn.to_dicts()},
        "layer": [interval, dot],
    }


def _values(frame: pl.DataFrame, name: str) -> Sequence[float]:
    return [float(one) for one in frame.get_column(name).drop_nulls()]
