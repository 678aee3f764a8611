"""One plane through the target as a Vega-Lite drawing: equal scales, scale bar, aperture outlined."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Any

from dashboards.components.palette import GROUPS
from dashboards.components.plane_marks import Encoding, ellipse, outline, scale_bar, target
from registry.vocabulary import labels

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import polars as pl

    #: Outline in mm, colour, dashes.
    Ellipse = tuple[np.ndarray | None, str, tuple[int, ...]]

HEIGHT = 280
#: More points than this are drawn smaller.
_MANY = 60


def reach(offsets: pl.DataFrame, aperture_mm: float | None) -> tuple[float, float]:
    """How far a drawing must reach from the target, mm: along the needle, and across it in either plane."""

    def furthest(*names: str) -> float:
        return max(
            (abs(value) for name in names for value in offsets.get_column(name).to_list()), default=0.0
        )

    along = max(
        furthest("along_mm"),
        (aperture_mm or 0.0) / 2 + (furthest("along_mm") if offsets.height == 1 else 0.0),
    )
    return float(max(5, ceil(1.1 * along))), float(max(5, ceil(1.15 * furthest("first_mm", "second_mm"))))


def judgement_styles(rows: pl.DataFrame) -> dict[str, tuple[str, str]]:
    """Judgement -> its colour and shape, for those that occur, in the order of the code list."""
    names = list(labels("targeting", "aperture_judgement").values())
    present = set(rows.get_column("judgement"))
    return {name: GROUPS[names.index(name)] for name in names if name in present}


def plane(
    rows: pl.DataFrame,
    up: str,
    aperture_mm: float | None,
    limits: tuple[float, float],
    around_target: bool,
    *,
    right: str = "",
    ellipses: Sequence[Ellipse] = (),
) -> dict[str, Any]:
    """Vega-Lite specification of one plane.

    Parameters
    ----------
    rows
        procedure_id, along_mm, across_mm, judgement.
    up
        What plus means on the axis across the needle.
    aperture_mm
        Length of the aperture to outline; None outlines nothing.
    limits
        From :func:`reach`.
    around_target
        Outline it around the target, or around the first position reached.
    right
        What right means where the plane does not hold the needle; empty where right is deeper.
    ellipses
        Outline (mm, shape (k, 2)), colour and dashes of each; an outline of None draws nothing.
    """
    titles = (f"mm, right = {right}", f"mm, up = {up}")
    if not right:
        titles = ("mm along the needle, right = deeper", f"mm across, up = {up}")
    along, across = _axes(limits, titles)
    layers = [
        *outline(rows, aperture_mm, around_target, along, across),
        _points(rows, along, across, faint=bool(ellipses)),
        *(layer for one in ellipses for layer in ellipse(*one, along, across)),
        target(along, across),
    ]
    return {"width": "container", "height": HEIGHT, "layer": [*layers, *scale_bar(limits[0], along)]}


def _axes(limits: tuple[float, float], titles: tuple[str, str]) -> tuple[Encoding, Encoding]:
    """Both axes with as many pixels per mm as the tighter of the two directions allows."""
    a, b = limits
    wide, high = f"max({a}, {b} * width / height)", f"max({b}, {a} * height / width)"
    along = {
        "field": "along_mm",
        "type": "quantitative",
        "scale": {
            "domainMin": {"expr": f"-{wide}"},
            "domainMax": {"expr": wide},
            "nice": False,
            "zero": False,
        },
        # A label moved in from the edge would not stand at its tick.
        "axis": {"title": titles[0], "tickCount": 7, "labelFlush": False},
    }
    across = {
        "field": "across_mm",
        "type": "quantitative",
        "scale": {
            "domainMin": {"expr": f"-{high}"},
            "domainMax": {"expr": high},
            "nice": False,
            "zero": False,
        },
        "axis": {"title": titles[1], "tickCount": 7, "labelFlush": False},
    }
    return along, across


def _points(rows: pl.DataFrame, along: Encoding, across: Encoding, *, faint: bool) -> Encoding:
    styles = judgement_styles(rows)
    few = rows.height <= _MANY

    def channel(part: int) -> Encoding:
        scale = {"domain": list(styles), "range": [style[part] for style in styles.values()]}
        return {"field": "judgement", "type": "nominal", "scale": scale, "legend": None}

    return {
        "data": {"values": rows.to_dicts()},
        "mark": {
            "type": "point",
            "filled": False,
            "size": 60 if few else 22,
            "strokeWidth": 1.8 if few else 1.1,
            "opacity": 1 if few else 0.4 if faint else 0.7,
        },
        "encoding": {
            "x": along,
            "y": across,
            "color": channel(0),
            "shape": channel(1),
            "tooltip": [
                {"field": "procedure_id", "title": "procedure"},
                {"field": "along_mm", "title": "along, mm"},
                {"field": "across_mm", "title": "across, mm"},
                {"field": "judgement", "title": "judged"},
            ],
        },
    }
