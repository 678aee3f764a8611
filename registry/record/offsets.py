"""Where the aperture came to lie, seen from the target, along and across the needle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from registry import facts
from registry.people import Action, require
from registry.sqlfiles import queries

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.site import Frame, Site
    from registry.store import Registry

AXES = ("x", "y", "z")
#: Anatomical direction -> the opposite one.
_OPPOSITE = {
    "lateral": "medial",
    "medial": "lateral",
    "cranial": "caudal",
    "caudal": "cranial",
    "anterior": "posterior",
    "posterior": "anterior",
}


@dataclass(frozen=True)
class Axis:
    """One direction across the needle: name of the axis, and what plus and minus mean in the breast."""

    name: str
    plus: str
    minus: str


@dataclass(frozen=True)
class Geometry:
    """Procedures whose offsets may be drawn in one picture.

    ``offsets`` has procedure_id, started_on, along_mm (positive = deeper), first_mm and
    second_mm (the two directions of ``across``), aperture_mm, aperture_judgement.
    """

    frame: str
    needle_axis: str
    compression_axis: str
    across: tuple[Axis, Axis]
    offsets: pl.DataFrame

    def words(self) -> str:
        """Needle, compression and frame in one line."""
        return (
            f"Needle along {self.needle_axis}, compression along {self.compression_axis}, frame {self.frame}"
        )


@dataclass(frozen=True)
class Offsets:
    """All geometries, the one with most procedures first, and how many cannot be drawn and why."""

    geometries: tuple[Geometry, ...]
    without_frame: int
    oblique: int


def offsets(registry: Registry, procedure_ids: Sequence[str]) -> Offsets:
    """Offsets of the last needle placement of the named procedures.

    Directions across the needle are taken from the frame register of site.toml. Where a
    frame counts towards the patient's left or right, right breasts are mirrored, as errors
    of the two breasts pooled as they come would cancel.

    Parameters
    ----------
    registry
        An open registry.
    procedure_ids
        Procedures to draw, such as those that ``targeting_error_mm`` kept.

    Returns
    -------
    Offsets
        No geometry where none of the procedures has a registered frame.
    """
    require(Action.RECORD, registry)
    sql = f"WITH {facts.attempts()}\n{queries('record')['offsets'].sql}"
    found = registry.frame(sql, {"procedure_ids": list(procedure_ids)})
    registered = found.filter(pl.col("frame").is_in(list(registry.site.frames)))
    straight = registered.filter(pl.col("needle_axis") != "oblique")
    groups = straight.partition_by(["frame", "needle_axis", "compression_axis"], maintain_order=True)
    made = [_geometry(registry.site, group) for group in groups]
    made.sort(key=lambda one: (-one.offsets.height, one.words()))
    return Offsets(tuple(made), found.height - registered.height, registered.height - straight.height)


def _geometry(site: Site, rows: pl.DataFrame) -> Geometry:
    frame, needle, compression = rows.select("frame", "needle_axis", "compression_axis").row(0)
    registered = site.frames[frame]
    across = axes_across(needle)
    # The coarse axis of tomographic imaging comes second, so that it is the vertical of the second picture.
    across.sort(key=lambda axis: axis == compression)
    made = rows.select(
        "procedure_id",
        "started_on",
        along(needle, "error").alias("along_mm"),
        towards(registered, across[0], "error").alias("first_mm"),
        towards(registered, across[1], "error").alias("second_mm"),
        "aperture_mm",
        "aperture_judgement",
    )
    first, second = (axis_of(registered, name) for name in across)
    return Geometry(frame, needle, compression, (first, second), made)


def axes_across(needle_axis: str) -> list[str]:
    """The two axes across a needle along x, y or z."""
    return [axis for axis in AXES if axis != needle_axis]


def along(needle_axis: str, what: str) -> pl.Expr:
    """Part along the needle of ``error`` or ``motion``, mm, positive = deeper; an empty direction reads as plus."""
    sign = pl.when(pl.col("needle_direction") == "minus").then(-1.0).otherwise(1.0)
    return pl.col(f"{what}_{needle_axis}_mm") * sign


def towards(frame: Frame, axis: str, what: str) -> pl.Expr:
    """Part of ``error`` or ``motion`` on one axis, mm, counted as :func:`axis_of` names it.

    Where the frame counts towards the patient's left or right, it is turned towards lateral,
    so that the two breasts can be pooled. An axis without an anatomical direction stays as it is.
    """
    part = pl.col(f"{what}_{axis}_mm")
    lateral_of = {"left": "L", "right": "R"}.get(frame.direction(axis))
    if lateral_of is None:
        return part
    return pl.when(pl.col("laterality") == lateral_of).then(part).otherwise(-part)


def axis_of(frame: Frame, axis: str) -> Axis:
    """What plus and minus on an axis mean in the breast; ``x plus`` where the register gives no direction."""
    plus = frame.direction(axis)
    if plus in ("left", "right"):
        plus = "lateral"
    return Axis(axis, plus if plus in _OPPOSITE else f"{axis} plus", _OPPOSITE.get(plus, f"{axis} minus"))
