"""Planned and achieved position of one procedure, as offsets along and across the needle."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards.answers import records
from dashboards.components.markup import element, show
from dashboards.components.target_plot import target_planes

if TYPE_CHECKING:
    from registry.record import ProcedureRecord


def sketch(found: ProcedureRecord) -> None:
    """Draw the offsets of the last needle placement, or say why they cannot be drawn."""
    key = found.procedure["procedure_id"]
    if not found.targeting:
        show(
            element(
                "p",
                "No needle placement is recorded, so planned and achieved position cannot be compared.",
                class_="beside",
            )
        )
        return
    drawn = records.target_offsets([key])
    if not drawn.geometries:
        show(element("p", _why_not(found), class_="beside"))
        return
    geometry = drawn.geometries[0]
    aperture = found.procedure["aperture_mm"]
    target_planes(geometry, aperture_mm=aperture, around_target=False, key=f"offsets {key}")
    outline = (
        f"The outline is the aperture of {aperture:g} mm around the position reached; its height is not to scale. "
        if aperture
        else ""
    )
    show(
        element(
            "p",
            f"{geometry.words()}. The cross is the target, the symbol the centre of the aperture. {outline}",
            class_="beside",
        )
    )


def _why_not(found: ProcedureRecord) -> str:
    last = found.targeting[-1]
    if last["achieved_x_mm"] is None:
        return "The achieved position is not recorded, so it cannot be drawn."
    if last["needle_axis"] == "oblique":
        return "The needle was oblique to the axes: the offset is not split into along and across."
    return "No registered coordinate frame is named, so directions are not known; the distance stands on the line above."
