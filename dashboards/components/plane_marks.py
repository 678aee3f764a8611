"""What stands in a plane besides the points: the target, the aperture, the scale bar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dashboards.components.palette import INK, MUTED, PAPER

if TYPE_CHECKING:
    import numpy as np
    import polars as pl

#: Lengths that a scale bar may have, mm.
_BARS = (1, 2, 5, 10, 20, 50)
#: Two thin strokes: a filled mark would hide the points nearest to the target.
_CROSS = "M-1,0L1,0M0,-1L0,1"

Encoding = dict[str, Any]


def outline(
    rows: pl.DataFrame, aperture_mm: float | None, around_target: bool, along: Encoding, across: Encoding
) -> list[Encoding]:
    """A thin rectangle as long as the aperture; nothing where its length is not known."""
    if aperture_mm is None or not rows.height:
        return []
    centre = (0.0, 0.0) if around_target else rows.select("along_mm", "across_mm").row(0)
    half, thin = aperture_mm / 2, 1.5
    box = {
        "along_mm": centre[0] - half,
        "along_end": centre[0] + half,
        "across_mm": centre[1] - thin,
        "across_end": centre[1] + thin,
    }
    return [
        {
            "data": {"values": [box]},
            "mark": {"type": "rect", "fill": None, "stroke": MUTED, "strokeWidth": 1.2},
            "encoding": {
                "x": along,
                "x2": {"field": "along_end"},
                "y": across,
                "y2": {"field": "across_end"},
            },
        }
    ]


def target(along: Encoding, across: Encoding) -> Encoding:
    """The target as a cross at the centre."""
    return {
        "data": {"values": [{"along_mm": 0, "across_mm": 0}]},
        "mark": {
            "type": "point",
            "shape": _CROSS,
            "size": 420,
            "stroke": INK,
            "strokeWidth": 1.6,
            "filled": False,
            "opacity": 1,
        },
        "encoding": {"x": along, "y": across},
    }


def ellipse(
    outline: np.ndarray | None, colour: str, dash: tuple[int, ...], along: Encoding, across: Encoding
) -> list[Encoding]:
    """A closed outline in mm, shape (k, 2), right and up; nothing where there is none."""
    if outline is None:
        return []
    corners = [
        {"along_mm": float(right), "across_mm": float(up), "corner": place}
        for place, (right, up) in enumerate(outline)
    ]
    place = {"x": along, "y": across, "order": {"field": "corner", "type": "quantitative"}}
    # A paper-coloured line below it keeps it apart from many points.
    strokes = (
        {"stroke": PAPER, "strokeWidth": 5},
        {"stroke": colour, "strokeWidth": 2, "strokeDash": list(dash)},
    )
    return [
        {"data": {"values": corners}, "mark": {"type": "line", **stroke}, "encoding": place}
        for stroke in strokes
    ]


def scale_bar(along_reach: float, along: Encoding) -> list[Encoding]:
    """A bar of a round length and its name, at the lower left."""
    length = next((bar for bar in reversed(_BARS) if bar <= 0.6 * along_reach), _BARS[0])
    start = -0.94 * along_reach
    bar = {"along_mm": start, "along_end": start + length, "words": f"{length} mm"}
    return [
        {
            "data": {"values": [bar]},
            "mark": {"type": "rule", "stroke": INK, "strokeWidth": 2.5},
            "encoding": {"x": along, "x2": {"field": "along_end"}, "y": {"value": {"expr": "height - 9"}}},
        },
        {
            "data": {"values": [{**bar, "along_mm": start + length / 2}]},
            "mark": {"type": "text", "baseline": "bottom"},
            "encoding": {"x": along, "y": {"value": {"expr": "height - 12"}}, "text": {"field": "words"}},
        },
    ]
