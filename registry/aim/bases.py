"""The three directions in which vectors are counted: those of the needle, or of the breast."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from registry.record.offsets import AXES, Axis, along, axes_across, axis_of, towards

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from registry.site import Frame

#: The first direction of a basis of the needle.
DEEPER = Axis("needle", "deeper", "shallower")
#: Columns of a vector in the directions of a basis.
PARTS = ("first_mm", "second_mm", "third_mm")
#: What a vector can be: the way from target to aperture, or how far the target had moved.
KINDS = ("error", "motion")


@dataclass(frozen=True)
class Basis:
    """Three directions of one registered frame.

    With a ``needle_axis`` the first is along the needle, positive = deeper, and the others lie
    across it; without one they are the axes of the frame, so that needles along any axis, and
    oblique ones, can be pooled.
    """

    frame: Frame
    needle_axis: str = ""

    @property
    def directions(self) -> tuple[Axis, Axis, Axis]:
        """What plus and minus mean, in the order of a vector's parts."""
        if not self.needle_axis:
            x, y, z = (axis_of(self.frame, axis) for axis in AXES)
            return x, y, z
        second, third = (axis_of(self.frame, axis) for axis in axes_across(self.needle_axis))
        return DEEPER, second, third

    @property
    def uncorrected(self) -> tuple[str, ...]:
        """Axes to which the register gives no anatomical direction: left and right are pooled as they come."""
        axes = axes_across(self.needle_axis) if self.needle_axis else list(AXES)
        return tuple(axis for axis in axes if self.frame.direction(axis) == "none")

    @property
    def name(self) -> str:
        """The basis in words."""
        if self.needle_axis:
            return f"Along and across a needle along {self.needle_axis}, frame {self.frame.code}"
        return f"Directions of the breast, all needles, frame {self.frame.code}"


def bases(rows: pl.DataFrame, frames: Mapping[str, Frame]) -> list[tuple[Basis, int]]:
    """The bases in which errors can be counted, and how many errors each holds.

    Parameters
    ----------
    rows
        From :func:`registry.aim.vectors`.
    frames
        The frame register of site.toml.

    Returns
    -------
    list
        Those of the needle first, then those of the breast; in each the one with most
        procedures first. Empty where no procedure has a registered frame.
    """
    kept = rows.filter(pl.col("excluded_because").is_null() & pl.col("frame").is_in(list(frames)))
    needles = kept.filter(pl.col("needle_axis").is_in(AXES))
    counted = [
        (Basis(frames[code], axis), n)
        for code, axis, n in needles.group_by("frame", "needle_axis").len().iter_rows()
    ]
    bodies = [(Basis(frames[code]), n) for code, n in kept.group_by("frame").len().iter_rows()]
    return _most_first(counted) + _most_first(bodies)


def _most_first(found: Iterable[tuple[Basis, int]]) -> list[tuple[Basis, int]]:
    return sorted(found, key=lambda one: (-one[1], one[0].frame.code, one[0].needle_axis))


def points(rows: pl.DataFrame, basis: Basis, kind: str = "error") -> pl.DataFrame:
    """Vectors in the directions of a basis.

    Parameters
    ----------
    rows
        From :func:`registry.aim.vectors`.
    basis
        Its frame, and its needle axis where it has one, choose the procedures.
    kind
        ``error`` or ``motion``.

    Returns
    -------
    DataFrame
        procedure_id, index_date, first_mm, second_mm, third_mm, aperture_mm, aperture_judgement;
        one row per procedure whose vector of this kind counts.

    Raises
    ------
    ValueError
        Another kind.
    """
    if kind not in KINDS:
        raise ValueError(f"kind must be error or motion; got {kind!r}")
    chosen = (pl.col("frame") == basis.frame.code) & pl.col(f"{kind}_mm").is_not_null()
    parts = [towards(basis.frame, axis, kind) for axis in AXES]
    if basis.needle_axis:
        chosen &= pl.col("needle_axis") == basis.needle_axis
        across = [towards(basis.frame, axis, kind) for axis in axes_across(basis.needle_axis)]
        parts = [along(basis.needle_axis, kind), *across]
    named = [part.alias(name) for part, name in zip(parts, PARTS, strict=True)]
    return rows.filter(chosen).select(
        "procedure_id", "index_date", *named, "aperture_mm", "aperture_judgement"
    )
