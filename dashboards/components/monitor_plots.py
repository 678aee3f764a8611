"""Drawings of the monitoring page: intervals first, limits as steps, a running line with its signals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dashboards.components.palette import ACCENT, CONTRADICTION, INK, MUTED, PAPER

if TYPE_CHECKING:
    import polars as pl

HEIGHT = 260
#: The axis of shares reaches at least so far.
LEAST_TOP = 0.05


def run_chart(
    frame: pl.DataFrame,
    accepted: float,
    outer: tuple[str, ...] = ("lower 99.8", "upper 99.8"),
    inner: tuple[str, ...] = ("lower 95", "upper 95"),
) -> dict[str, Any]:
    """Vega-Lite specification: each period with its interval, the limits as steps.

    Parameters
    ----------
    frame
        period, rate, low, high, outside and the columns of limits: shares from 0 to 1, null
        where there are too few procedures.
    accepted
        The rate around which the limits lie.
    outer, inner
        Columns drawn through, and broken.
    """
    ends = [one for name in ("high", *outer) for one in frame.get_column(name).drop_nulls()]
    top = max([LEAST_TOP, *ends])
    across = {"field": "period", "type": "ordinal", "sort": None, "axis": {"title": None, "labelAngle": -45}}
    up = {
        "type": "quantitative",
        "scale": {"domain": [0, min(1.0, top)], "nice": True},
        "axis": {"title": "share, %", "format": ".0%", "tickCount": 5},
    }

    def limit(name: str, dash: list[int]) -> dict[str, Any]:
        return {
            "mark": {
                "type": "line",
                "interpolate": "step",
                "color": MUTED,
                "strokeDash": dash,
                "strokeWidth": 1.2,
            },
            "encoding": {"x": across, "y": {**up, "field": name}},
        }

    return {
        "width": "container",
        "height": HEIGHT,
        "data": {"values": frame.to_dicts()},
        "layer": [
            {
                "mark": {"type": "rule", "color": ACCENT, "strokeWidth": 4, "opacity": 0.35},
                "encoding": {"x": across, "y": {**up, "field": "low"}, "y2": {"field": "high"}},
            },
            *(limit(name.replace(".", "\\."), []) for name in outer),
            *(limit(name.replace(".", "\\."), [4, 3]) for name in inner),
            {
                "mark": {"type": "rule", "color": INK, "strokeWidth": 1, "strokeDash": [1, 2]},
                "encoding": {"y": {**up, "datum": accepted}},
            },
            {
                "mark": {"type": "point", "size": 60, "filled": True, "strokeWidth": 1.6},
                "encoding": {
                    "x": across,
                    "y": {**up, "field": "rate"},
                    "shape": {"condition": {"test": "datum.outside", "value": "diamond"}, "value": "circle"},
                    "color": {
                        "condition": {"test": "datum.outside", "value": CONTRADICTION},
                        "value": ACCENT,
                    },
                },
            },
        ],
    }


def running_line(
    frame: pl.DataFrame, *, title: str, limits: tuple[str, ...] = (), limit: float | None = None, zero: bool
) -> dict[str, Any]:
    """Vega-Lite specification: height after each procedure, its limit or limits, a mark at each signal.

    Parameters
    ----------
    frame
        number, day, height, signal (whether it signalled) and the columns of ``limits``.
    title
        Of the upright axis.
    limit
        A limit that is the same throughout.
    zero
        Whether the axis begins at 0.
    """
    days = frame.get_column("day")
    ends = [] if days.is_empty() else [_date_time(days.min()), _date_time(days.max())]
    across = {
        "field": "day",
        "type": "temporal",
        "axis": {"title": None, "format": "%Y-%m", "grid": False, "tickCount": 8},
        **({"scale": {"domain": ends}} if ends else {}),
    }
    heights = [one for name in ("height", *limits) for one in frame.get_column(name).drop_nulls()]
    heights += [] if limit is None else [limit]
    low, high = (min(heights), max(heights)) if heights else (0.0, 1.0)
    up: dict[str, Any] = {
        "type": "quantitative",
        # Stated, as the data reach the drawing after its axes.
        "scale": {
            "domain": [min(0.0, low) if zero else low, high if high > low else low + 1.0],
            "nice": True,
        },
        "axis": {"title": title, "tickCount": 5},
    }
    layers: list[dict[str, Any]] = [
        {
            "mark": {"type": "line", "color": MUTED, "strokeDash": [4, 3], "strokeWidth": 1.2},
            "encoding": {"x": across, "y": {**up, "field": name}, "order": {"field": "number"}},
        }
        for name in limits
    ]
    if limit is not None:
        layers.append(
            {
                "mark": {"type": "rule", "color": INK, "strokeWidth": 1.2, "strokeDash": [4, 3]},
                "encoding": {"y": {**up, "datum": limit}},
            }
        )
    layers.append(
        {
            "mark": {"type": "line", "color": ACCENT, "strokeWidth": 1.6, "interpolate": "step-after"},
            "encoding": {"x": across, "y": {**up, "field": "height"}, "order": {"field": "number"}},
        }
    )
    if frame.get_column("signal").any():  # a layer without rows has no extent, which the console complains of
        layers.append(
            {
                "transform": [{"filter": "datum.signal"}],
                "mark": {
                    "type": "point",
                    "shape": "diamond",
                    "size": 110,
                    "filled": True,
                    "color": CONTRADICTION,
                    "stroke": PAPER,
                },
                "encoding": {"x": across, "y": {**up, "field": "height"}},
            }
        )
    values = [{**row, "day": str(row["day"])} for row in frame.to_dicts()]
    return {"width": "container", "height": HEIGHT, "data": {"values": values}, "layer": layers}


def _date_time(day: Any) -> dict[str, int]:
    """A day as Vega-Lite writes it in a domain."""
    return {"year": day.year, "month": day.month, "date": day.day}


def fifths_plot(frame: pl.DataFrame) -> dict[str, Any]:
    """Vega-Lite specification: what was seen in each fifth of the risk with its interval, and a tick where expected.

    Parameters
    ----------
    frame
        fifth, when, observed, low, high, expected: shares from 0 to 1.
    """
    across = {
        "field": "fifth",
        "type": "ordinal",
        "axis": {"title": "fifth of the predicted risk", "labelAngle": 0},
    }
    up = {
        "type": "quantitative",
        "scale": {"nice": True, "zero": True},
        "axis": {"title": "share, %", "format": ".0%"},
    }
    layers = [
        {
            "mark": {"type": "rule", "color": ACCENT, "strokeWidth": 4, "opacity": 0.35},
            "encoding": {"x": across, "y": {**up, "field": "low"}, "y2": {"field": "high"}},
        },
        {
            "mark": {"type": "point", "shape": "circle", "size": 60, "filled": True, "color": ACCENT},
            "encoding": {"x": across, "y": {**up, "field": "observed"}},
        },
        {
            "mark": {"type": "tick", "color": CONTRADICTION, "thickness": 2.5, "width": 22},
            "encoding": {"x": across, "y": {**up, "field": "expected"}},
        },
    ]
    return {
        "data": {"values": frame.to_dicts()},
        "facet": {"column": {"field": "when", "type": "nominal", "sort": None, "header": {"title": None}}},
        "spec": {"width": 190, "height": 190, "layer": layers},
    }
