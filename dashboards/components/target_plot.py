"""Offsets of the aperture from the target in two planes, equal scales, on light ground."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Any

import polars as pl
import streamlit as st

from dashboards.components.chart import chart
from dashboards.components.palette import GROUPS, INK, MUTED
from registry.vocabulary import labels

if TYPE_CHECKING:
    from registry.record.offsets import Axis, Geometry

#: More points than this only darken the picture; the table and the file hold all of them.
DRAWN_POINTS = 1500
_HEIGHT = 230
_BARS = (1, 2, 5, 10, 20, 50)


def target_planes(geometry: Geometry, *, aperture_mm: float | None, around_target: bool, key: str) -> None:
    """Draw both planes side by side.

    Parameters
    ----------
    geometry
        Procedures with one frame, needle axis and compression axis.
    aperture_mm
        Length of the aperture that is outlined; None outlines nothing.
    around_target
        Outline the aperture around the target (many procedures) or around the position
        reached (one procedure).
    key
        Name of the CSV files, without ending.
    """
    drawn = geometry.offsets.tail(DRAWN_POINTS)
    reach = _reach(drawn, aperture_mm)
    for column, axis, field in zip(st.columns(2), geometry.across, ("first_mm", "second_mm"), strict=True):
        rows = _rows(drawn, field)
        coarse = ", the axis of compression" if axis.name == geometry.compression_axis else ""
        with column:
            chart(
                _plane(rows, axis, aperture_mm, reach, around_target),
                title=f"Along the needle, and across it towards {axis.plus} or {axis.minus}{coarse}",
                description=_described(rows, axis, aperture_mm),
                frame=rows,
                file_name=f"{key} {field.removesuffix('_mm')} plane.csv",
            )


def _rows(offsets: pl.DataFrame, field: str) -> pl.DataFrame:
    judged = labels("targeting", "aperture_judgement")
    return offsets.select(
        "procedure_id",
        pl.col("along_mm").round(2),
        pl.col(field).round(2).alias("across_mm"),
        pl.col("aperture_judgement").fill_null("not_judged").replace(judged).alias("judgement"),
    )


def _reach(offsets: pl.DataFrame, aperture_mm: float | None) -> float:
    """Half the height of the picture, mm, so that every point and the aperture have room."""
    widest = max(
        (offsets.get_column(name).abs().max() or 0.0) for name in ("along_mm", "first_mm", "second_mm")
    )
    return float(max(5, ceil(1.12 * max(float(widest), (aperture_mm or 0.0) / 2))))


def _described(rows: pl.DataFrame, axis: Axis, aperture_mm: float | None) -> str:
    outline = f"; an outline shows the aperture of {aperture_mm:g} mm" if aperture_mm else ""
    return (
        f"Offsets of {rows.height} procedures from the target, which stands at the centre: along the needle to the right where deeper, "
        f"across it upwards where {axis.plus}; both directions on one scale{outline}. The table beside it holds the numbers."
    )


def _plane(
    rows: pl.DataFrame, axis: Axis, aperture_mm: float | None, reach: float, around_target: bool
) -> dict[str, Any]:
    # Pixels per mm are those of the height, whatever width the page gives.
    along = {
        "field": "along_mm",
        "type": "quantitative",
        "scale": {
            "domainMin": {"expr": f"-{reach} * width / height"},
            "domainMax": {"expr": f"{reach} * width / height"},
            "nice": False,
            "zero": False,
        },
        "axis": {"title": "along the needle, mm (right = deeper)", "tickCount": 6},
    }
    across = {
        "field": "across_mm",
        "type": "quantitative",
        "scale": {"domain": [-reach, reach], "nice": False},
        "axis": {"title": f"mm (up = {axis.plus})", "tickCount": 6},
    }
    layers = [
        *_outline(rows, aperture_mm, around_target, along, across),
        _target(along, across),
        _points(rows, along, across),
    ]
    layers += _scale_bar(reach, along, across)
    return {"width": "container", "height": _HEIGHT, "layer": layers}


def _outline(
    rows: pl.DataFrame,
    aperture_mm: float | None,
    around_target: bool,
    along: dict[str, Any],
    across: dict[str, Any],
) -> list[dict[str, Any]]:
    if aperture_mm is None:
        return []
    centre = (0.0, 0.0) if around_target or not rows.height else rows.select("along_mm", "across_mm").row(0)
    half, thin = aperture_mm / 2, 2.0
    box = {
        "along_mm": centre[0] - half,
        "along_end": centre[0] + half,
        "across_mm": centre[1] - thin,
        "across_end": centre[1] + thin,
    }
    return [
        {
            "data": {"values": [box]},
            "mark": {"type": "rect", "filled": False, "stroke": MUTED, "strokeWidth": 1.2},
            "encoding": {
                "x": along,
                "x2": {"field": "along_end"},
                "y": across,
                "y2": {"field": "across_end"},
            },
        }
    ]


def _target(along: dict[str, Any], across: dict[str, Any]) -> dict[str, Any]:
    return {
        "data": {"values": [{"along_mm": 0, "across_mm": 0}]},
        "mark": {
            "type": "point",
            "shape": "cross",
            "size": 170,
            "stroke": INK,
            "strokeWidth": 1.4,
            "filled": False,
        },
        "encoding": {"x": along, "y": across},
    }


def _points(rows: pl.DataFrame, along: dict[str, Any], across: dict[str, Any]) -> dict[str, Any]:
    names = list(labels("targeting", "aperture_judgement").values())
    present = [name for name in names if name in set(rows.get_column("judgement"))]
    styles = [GROUPS[names.index(name)] for name in present]
    legend = {"title": None, "orient": "bottom", "columns": 1, "symbolOpacity": 1, "labelLimit": 260}
    return {
        "data": {"values": rows.to_dicts()},
        "mark": {"type": "point", "filled": False, "size": 42, "strokeWidth": 1.4, "opacity": 0.75},
        "encoding": {
            "x": along,
            "y": across,
            "color": {
                "field": "judgement",
                "type": "nominal",
                "scale": {"domain": present, "range": [colour for colour, _ in styles]},
                "legend": legend,
            },
            "shape": {
                "field": "judgement",
                "type": "nominal",
                "scale": {"domain": present, "range": [shape for _, shape in styles]},
                "legend": legend,
            },
            "tooltip": [
                {"field": "procedure_id", "title": "procedure"},
                {"field": "along_mm", "title": "along, mm"},
                {"field": "across_mm", "title": "across, mm"},
                {"field": "judgement", "title": "judged"},
            ],
        },
    }


def _scale_bar(reach: float, along: dict[str, Any], across: dict[str, Any]) -> list[dict[str, Any]]:
    length = next((bar for bar in reversed(_BARS) if bar <= 0.45 * reach), _BARS[0])
    start, level = -0.92 * reach, -0.9 * reach
    bar = {"along_mm": start, "along_end": start + length, "across_mm": level, "words": f"{length} mm"}
    middle = {**bar, "along_mm": start + length / 2}
    return [
        {
            "data": {"values": [bar]},
            "mark": {"type": "rule", "stroke": INK, "strokeWidth": 2},
            "encoding": {"x": along, "x2": {"field": "along_end"}, "y": across},
        },
        {
            "data": {"values": [middle]},
            "mark": {"type": "text", "dy": -8},
            "encoding": {"x": along, "y": across, "text": {"field": "words"}},
        },
    ]
