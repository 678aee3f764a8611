"""Offsets of the procedures behind a targeting measure, drawn where the frame is registered."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards.answers import counted, records
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.tables import table
from dashboards.components.target_plot import DRAWN_POINTS, target_planes
from registry.stats.vectors import order_statistic_ranks

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Quantile of the error that is shown beside the median.
HIGH = 0.95


def offsets_of_measure(measure: str) -> None:
    """Planes for the geometry with most procedures (others can be chosen), and what cannot be drawn."""
    kept = counted.procedures(measure).filter(pl.col("excluded_because").is_null())
    if not kept.height:
        show(element("p", "No procedures with a verified position.", class_="beside"))
        return
    found = records.target_offsets(kept.get_column("procedure_id").to_list())
    _error_table(kept.get_column("measured").sort().to_list())
    if found.without_frame:
        text = f"{words.plural(found.without_frame, 'procedure')} without a registered coordinate frame: directions are not known, so only the total error is given."
        show(element("p", text, class_="beside attention"))
    if found.oblique:
        show(
            element(
                "p",
                f"{words.plural(found.oblique, 'procedure')} with an oblique needle: not split into along and across, and not drawn.",
                class_="beside",
            )
        )
    if not found.geometries:
        return
    texts = [f"{one.words()}: {words.plural(one.offsets.height, 'procedure')}" for one in found.geometries]
    chosen = st.selectbox("Geometry", range(len(texts)), format_func=texts.__getitem__)
    geometry = found.geometries[chosen]
    lengths = geometry.offsets.get_column("aperture_mm").drop_nulls()
    aperture = lengths.mode().sort().last() if lengths.len() else None
    target_planes(geometry, aperture_mm=aperture, around_target=True, key="targeting offsets")
    outline = (
        f"The outline is the most frequent aperture, {aperture:g} mm; its height is not to scale. "
        if aperture
        else ""
    )
    newest = f"The newest {DRAWN_POINTS} are drawn. " if geometry.offsets.height > DRAWN_POINTS else ""
    show(
        element(
            "p",
            f"The cross is the target. {outline}{newest}Both directions and both planes have one scale.",
            class_="beside",
        )
    )


def _error_table(errors: Sequence[float]) -> None:
    """Number, median and 95th percentile of the total error, each with its order-statistic interval."""
    rows = []
    for name, q in (("Median", 0.5), ("95th percentile", HIGH)):
        low, high = order_statistic_ranks(len(errors), q)
        value = pl.Series(errors).quantile(q, "linear")
        rows.append([name, words.count(len(errors)), f"{value:.1f}", _rank(errors, low), _rank(errors, high)])
    table(
        "Total error, mm, with 95 % order-statistic limits",
        ["Total error, mm", "n", "Value", "Lower limit", "Upper limit"],
        rows,
        frozenset({1, 2, 3, 4}),
    )


def _rank(errors: Sequence[float], rank: int | None) -> str:
    return "too few for a limit" if rank is None else f"{errors[rank - 1]:.1f}"
