"""Errors in the three planes of a basis, each with the region of the mean and that of single errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards.components.chart import chart
from dashboards.components.markup import Markup, element, show
from dashboards.components.palette import ACCENT, INK
from dashboards.components.planes import plane, reach
from dashboards.components.tables import table
from dashboards.components.target_plot import DRAWN_POINTS, symbols
from dashboards.components.words import plural
from registry.aim.bases import PARTS
from registry.numerals import signed
from registry.vocabulary import labels

if TYPE_CHECKING:
    from registry.aim import Basis, Mean, Plane
    from registry.record.offsets import Axis

_SOLID: tuple[int, ...] = ()
_DASHED = (6, 4)
_HEIGHT = 340
"""Pixels; many points need more room than one."""


def aim_planes(
    vectors: pl.DataFrame, planes: tuple[Plane, Plane, Plane], basis: Basis, mean: Mean | None
) -> None:
    """Draw three planes with equal scales, and the mean with its covariance beside the last.

    Parameters
    ----------
    vectors
        From ``registry.aim.points``.
    planes
        From ``registry.aim.planes``, of the same vectors.
    basis
        Directions of the vectors.
    mean
        Their mean; None or without figures draws no table.
    """
    drawn = vectors.tail(DRAWN_POINTS)
    lengths = vectors.get_column("aperture_mm").drop_nulls()
    aperture = lengths.mode().sort().last() if basis.needle_axis and lengths.len() else None
    along, across = _limits(drawn, planes, aperture)
    places = [*st.columns(2), *st.columns(2)]
    for place, one in zip(places, planes, strict=False):
        with place:
            _draw(drawn, one, basis, aperture, (along if one.right == 0 else across, across))
    with places[-1]:
        show(_legend(drawn, planes[0]))
        _beside(vectors, aperture)
    if mean is not None:
        mean_table(mean, basis)


def _limits(drawn: pl.DataFrame, planes: tuple[Plane, ...], aperture: float | None) -> tuple[float, float]:
    """How far the drawings reach, mm: in the first direction, and in the two others."""
    corners = [
        pl.DataFrame(
            {PARTS[one.right]: one.single_outline[:, 0], PARTS[one.up]: one.single_outline[:, 1]},
        )
        for one in planes
        if one.single_outline is not None
    ]
    both = pl.concat([drawn.select(PARTS), *corners], how="diagonal").fill_null(0.0)
    return reach(
        both.rename({"first_mm": "along_mm", "second_mm": "first_mm", "third_mm": "second_mm"}), aperture
    )


def _draw(
    drawn: pl.DataFrame, one: Plane, basis: Basis, aperture: float | None, limits: tuple[float, float]
) -> None:
    right, up = basis.directions[one.right], basis.directions[one.up]
    holds_needle = bool(basis.needle_axis) and one.right == 0
    title = f"{'Along the needle' if holds_needle else _ends(right).capitalize()} \u00d7 {_ends(up)}"
    if basis.needle_axis and not holds_needle:
        title += ", seen along the needle"
    judged = labels("targeting", "aperture_judgement")
    rows = drawn.select(
        "procedure_id",
        pl.col(PARTS[one.right]).round(2).alias("along_mm"),
        pl.col(PARTS[one.up]).round(2).alias("across_mm"),
        pl.col("aperture_judgement").fill_null("not_judged").replace(judged).alias("judgement"),
    )
    spec = plane(
        rows,
        up.plus,
        aperture if holds_needle else None,
        limits,
        True,
        right="" if holds_needle else right.plus,
        ellipses=((one.single_outline, INK, _DASHED), (one.mean_outline, ACCENT, _SOLID)),
    )
    named = {"along_mm": f"{right.plus}_mm", "across_mm": f"{up.plus}_mm"}
    chart(
        {**spec, "height": _HEIGHT},
        title=title,
        description=_described(rows, right, up, one),
        frame=rows.rename(named) if len(set(named.values())) == len(named) else rows,
        file_name=f"targeting errors {basis.frame.code} {basis.needle_axis or 'breast'} {one.right}{one.up}.csv",
    )


def _ends(axis: Axis) -> str:
    return f"{axis.minus}\u2013{axis.plus}"


def _described(rows: pl.DataFrame, right: Axis, up: Axis, one: Plane) -> str:
    ellipses = "No ellipse is drawn: too few errors."
    if one.mean is not None:
        ellipses = (
            f"A solid ellipse bounds where the mean lies, around {signed(one.mean[0])} mm {right.plus} and {signed(one.mean[1])} mm {up.plus}; "
            "a dashed one where 95 % of single errors lie."
        )
    return (
        f"{plural(rows.height, 'error')}, target at the centre: to the right where {right.plus}, upwards where {up.plus}; "
        f"both directions on one scale. {ellipses} The table below it holds the numbers."
    )


def _legend(rows: pl.DataFrame, one: Plane) -> Markup:
    judged = labels("targeting", "aperture_judgement")
    named = rows.select(
        pl.col("aperture_judgement").fill_null("not_judged").replace(judged).alias("judgement")
    )
    entries = symbols(named)
    if one.mean is not None:
        entries += [
            element(
                "li",
                element("b", "\u2014", style=f"color:{ACCENT}", aria_hidden="true"),
                "where the mean lies: 95 % region in this plane",
            ),
            element(
                "li",
                element("b", "\u2013\u2009\u2013", style=f"color:{INK}", aria_hidden="true"),
                "where single errors lie: 95 % of them, if they are normal",
            ),
        ]
    return element("ul", *entries, class_="legend glyphs")


def _beside(vectors: pl.DataFrame, aperture: float | None) -> None:
    parts = ["The cross is the target; all planes have equal scales in both directions."]
    if aperture:
        parts.append(
            f"The outline is the most frequent aperture, {aperture:g} mm; its height is not to scale."
        )
    if vectors.height > DRAWN_POINTS:
        parts.append(f"The newest {DRAWN_POINTS} are drawn; the ellipses are of all {vectors.height}.")
    parts.append("One region of a mean in twenty leaves out 0 by chance alone.")
    parts.append("A mean close to the target does not mean that single needles come close to it.")
    show(element("p", " ".join(parts), class_="beside"))


def mean_table(mean: Mean, basis: Basis) -> None:
    """Mean, joint limits, standard deviation and covariance of vectors, one row per direction."""
    if mean.mean is None or mean.limits is None or mean.sd is None or mean.covariance is None:
        return
    names = [axis.plus for axis in basis.directions]
    rows = [
        [
            name,
            signed(value),
            f"{signed(low or 0.0)} to {signed(high or 0.0)}",
            f"{sd:.1f}",
            *(signed(part) for part in row),
        ]
        for name, value, (low, high), sd, row in zip(
            names, mean.mean, mean.limits, mean.sd, mean.covariance, strict=True
        )
    ]
    table(
        "Mean error; standard deviation and covariance of single errors",
        [
            "Direction",
            "Mean, mm",
            "Joint 95 % limits",
            "SD, mm",
            *(f"{name}, mm\u00b2" for name in names),
        ],
        rows,
        frozenset(range(1, 4 + len(names))),
        caption_seen=True,
    )
