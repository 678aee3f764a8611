"""Offsets of the aperture from the target in two planes, equal scales, on light ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards.components.chart import chart
from dashboards.components.markup import Markup, element, show
from dashboards.components.planes import judgement_styles, plane, reach
from dashboards.components.words import plural
from registry.vocabulary import labels

if TYPE_CHECKING:
    from registry.record.offsets import Axis, Geometry

#: More points than this only darken the picture; the table and the file hold all of them.
DRAWN_POINTS = 1500


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
    limits = reach(drawn, aperture_mm)
    for column, axis, field in zip(st.columns(2), geometry.across, ("first_mm", "second_mm"), strict=True):
        rows = _rows(drawn, field)
        with column:
            chart(
                plane(rows, axis.plus, aperture_mm, limits, around_target),
                title=f"Along the needle × {axis.minus}–{axis.plus}",
                description=_described(rows, axis, aperture_mm),
                frame=rows,
                file_name=f"{key} {field.removesuffix('_mm')} plane.csv",
            )
    show(_legend(_rows(drawn, "first_mm")))


def _legend(rows: pl.DataFrame) -> Markup:
    """Symbols of the judgements, for both planes at once."""
    return element("ul", *symbols(rows), class_="legend glyphs")


def symbols(rows: pl.DataFrame) -> list[Markup]:
    """Entries of a legend: the target, and each judgement that occurs with its symbol."""
    entries = [
        element("li", element("b", _GLYPHS[shape], style=f"color:{colour}", aria_hidden="true"), name)
        for name, (colour, shape) in judgement_styles(rows).items()
    ]
    return [element("li", element("b", "+", aria_hidden="true"), "target"), *entries]


#: Shape of the drawing -> the character that looks like it.
_GLYPHS = {"circle": "○", "square": "□", "triangle-up": "△", "diamond": "◇"}


def _rows(offsets: pl.DataFrame, field: str) -> pl.DataFrame:
    judged = labels("targeting", "aperture_judgement")
    return offsets.select(
        "procedure_id",
        pl.col("along_mm").round(2),
        pl.col(field).round(2).alias("across_mm"),
        pl.col("aperture_judgement").fill_null("not_judged").replace(judged).alias("judgement"),
    )


def _described(rows: pl.DataFrame, axis: Axis, aperture_mm: float | None) -> str:
    outline = f"; an outline shows the aperture of {aperture_mm:g} mm" if aperture_mm else ""
    return (
        f"{plural(rows.height, 'offset')} from the target, which stands at the centre: along the needle to the right where deeper, "
        f"across it upwards where {axis.plus}; both directions on one scale{outline}. The table beside it holds the numbers."
    )
