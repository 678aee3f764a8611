"""From what is recorded to the geometry: where the target lay, how uncertain that is, which hours."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.stats.sampled_share import Placed, Sectors
from registry.targeting import AXES, DIRECTIONS, slice_sd

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.sampling.files import Setting
    from registry.site import Frame

FloatArray = np.ndarray

ALL_AROUND, SOME_HOURS, NOT_KNOWN, NOT_PLACED = range(4)
"""How the sampled hours are known: all, some that can be placed, none recorded, no place in the frame."""

_HOUR, _HOURS = 30.0, 12
#: Direction of the patient -> vector (left, posterior, cranial); lateral and medial by breast.
_BODY = {
    "left": (1, 0, 0),
    "right": (-1, 0, 0),
    "posterior": (0, 1, 0),
    "anterior": (0, -1, 0),
    "cranial": (0, 0, 1),
    "caudal": (0, 0, -1),
}
_BY_BREAST = {
    ("lateral", "L"): "left",
    ("medial", "L"): "right",
    ("lateral", "R"): "right",
    ("medial", "R"): "left",
}


@dataclass(frozen=True)
class Geometry:
    """Targets with their sampled volumes.

    ``radii`` are those of the volume at the three reaches of the tissue, shape (3, n).
    ``hours`` says per target how the sampled hours are known; ``sectors`` holds them,
    NaN where they are not needed, and for the unknown ones one hour away from the target.
    """

    placed: Placed
    radii: FloatArray
    hours: np.ndarray
    sectors: Sectors


def geometry(rows: pl.DataFrame, setting: Setting, frames: Mapping[str, Frame]) -> Geometry:
    """Geometry of the rows that the measure keeps.

    Parameters
    ----------
    rows
        Rows of ``sampling_probability`` with no reason to be left out.
    setting
        Local numbers.
    frames
        Frame register of the site.
    """
    basis, is_placed = _bases(rows, frames)
    error = rows.select("error_x_mm", "error_y_mm", "error_z_mm").to_numpy()
    # Seen from the aperture the target lies where the error came from.
    first, second, along = (-(basis[:, place] * error).sum(axis=1) for place in range(3))
    variance = (variances(rows, setting) ** 2).sum(axis=0)
    spread = np.sqrt((np.abs(basis) * variance[:, None, :]).sum(axis=2))
    placed = Placed(
        sphere_radius=rows["size_mm"].to_numpy() / 2.0,
        aperture_length=rows["aperture_mm"].to_numpy(),
        first=first,
        second=second,
        along=along,
        sd_first=spread[:, 0],
        sd_second=spread[:, 1],
        sd_along=spread[:, 2],
    )
    radius = rows["outer_diameter_mm"].to_numpy() / 2.0
    hours, sectors = _hours(rows["sampled_hours"], is_placed, np.degrees(np.arctan2(second, first)))
    return Geometry(placed, radius + np.array(setting.reach_mm)[:, None], hours, sectors)


def variances(rows: pl.DataFrame, setting: Setting) -> FloatArray:
    """Standard uncertainties by source, target and axis, mm, shape (3, n, 3).

    The sources are the reading of the target, the reading of the aperture, and the motion
    of a target that was not seen again; the axes are x, y and z.
    """
    slices = slice_sd(1.0) * rows["slice_mm"].to_numpy()
    measured = rows["measurement_sd_mm"].to_numpy()
    coarse = rows["compression_axis"].replace_strict(AXES, return_dtype=pl.Int64).to_numpy()
    reading = np.where(coarse[:, None] == np.arange(3), slices[:, None], measured[:, None])
    moved = np.where(rows["is_seen_again"].to_numpy(), 0.0, setting.motion_sd_mm or 0.0)
    return np.stack([reading, reading, np.repeat(moved[:, None], 3, axis=1)])


def _bases(rows: pl.DataFrame, frames: Mapping[str, Frame]) -> tuple[FloatArray, np.ndarray]:
    """Hour 3, hour 12 and the needle as vectors in the frame, and whether hours can be placed there."""
    names = ["frame", "laterality", "needle_axis", "needle_direction"]
    kinds = rows.select(names).unique(maintain_order=True)
    made = [
        _basis(frames.get(frame), breast, axis, sense) for frame, breast, axis, sense in kinds.iter_rows()
    ]
    kind = rows.select(names).join(
        kinds.with_row_index("kind"), on=names, how="left", nulls_equal=True, maintain_order="left"
    )["kind"]
    chosen = kind.to_numpy()
    basis = np.array([vectors for vectors, _ in made]).reshape(-1, 3, 3)
    return basis[chosen], np.array([known for _, known in made], dtype=bool)[chosen]


def _basis(frame: Frame | None, breast: str, axis: str, sense: str | None) -> tuple[FloatArray, bool]:
    needle = np.zeros(3)
    needle[AXES[axis]] = DIRECTIONS[sense or "plus"]
    up = _up(frame, axis)
    turned = None if frame is None or up is None else _handedness(frame, breast)
    # Without the sense of advance nobody knows from which side the hub looks.
    if up is None or turned is None or sense is None:
        others = [number for name, number in AXES.items() if name != axis]
        return np.array([np.eye(3)[others[0]], np.eye(3)[others[1]], needle]), False
    # Looking from the hub along the needle with hour 12 up, hour 3 is to the right.
    return np.array([turned * np.cross(needle, up), up, needle]), True


def _up(frame: Frame | None, axis: str) -> FloatArray | None:
    """Direction of hour 12; None where it is not stated or does not lie across the needle."""
    name, _, sense = (frame.hour_12 if frame else "none").partition("_")
    if name not in AXES or name == axis:
        return None
    up: FloatArray = np.eye(3)[AXES[name]] * DIRECTIONS[sense]
    return up


def _handedness(frame: Frame, breast: str) -> float | None:
    """1 where the axes of the frame are right-handed in the body, -1 where left-handed, None if not known."""
    vectors = []
    for name in AXES:
        direction = frame.direction(name)
        vectors.append(_BODY.get(_BY_BREAST.get((direction, breast), direction)))
    if any(vector is None for vector in vectors):
        return None
    turned = float(np.round(np.linalg.det(np.array(vectors, dtype=np.float64))))
    return turned or None


@cache
def runs(text: str | None) -> tuple[tuple[float, float], ...] | None:
    """Hours as stretches (start, width) in degrees from hour 3 towards hour 12; empty for all, None if unknown.

    Parameters
    ----------
    text
        ``all``, or hours 1 to 12 separated by semicolons, as in the data dictionary.
    """
    if text is None or not text.strip():
        return None
    if text.strip() == "all":
        return ()
    chosen = {int(part) % _HOURS for part in text.split(";") if part.strip()}
    if len(chosen) == _HOURS:
        return ()
    found = []
    for hour in sorted(chosen):
        if (hour - 1) % _HOURS not in chosen:
            length = next(n for n in range(1, _HOURS + 1) if (hour + n) % _HOURS not in chosen)
            # Hours run clockwise, angles the other way: the last hour of a stretch comes first.
            start = 90.0 - _HOUR * (hour + length - 1) - _HOUR / 2.0
            found.append((start, _HOUR * length))
    return tuple(found)


def _hours(recorded: pl.Series, is_placed: np.ndarray, towards: FloatArray) -> tuple[np.ndarray, Sectors]:
    """How the hours of each target are known, and its sectors."""
    texts = recorded.unique(maintain_order=True).to_list()
    place = {text: number for number, text in enumerate(texts)}
    number = np.array([place[text] for text in recorded.to_list()], dtype=np.int64)
    known = [runs(text) for text in texts]
    most = max([1, *(len(one) for one in known if one)])
    table = np.full((max(len(texts), 1), 2, most), np.nan)
    for row, one in enumerate(known):
        for column, (start, width) in enumerate(one or ()):
            table[row, :, column] = start, width
    state = np.array(
        [NOT_KNOWN if one is None else SOME_HOURS if one else ALL_AROUND for one in known], dtype=int
    )
    hours = state[number] if texts else np.zeros(0, dtype=int)
    hours = np.where((hours == SOME_HOURS) & ~is_placed, NOT_PLACED, hours)
    sectors = table[number].copy() if texts else np.empty((0, 2, most))
    unknown = hours >= NOT_KNOWN
    sectors[unknown] = np.nan
    sectors[unknown, 0, 0] = towards[unknown] + 180.0 - _HOUR / 2.0
    sectors[unknown, 1, 0] = _HOUR
    return hours, Sectors(sectors[:, 0], sectors[:, 1])
