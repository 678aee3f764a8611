"""Tissue markers: which shape, and how far from the target."""

from __future__ import annotations

import numpy as np

from synthetic_data.columns import Columns, Rng, blank, code, pick, rank_within
from synthetic_data.results import COMPLETED
from synthetic_data.setting import Setting

#: Plain shapes; none is the name of a product.
SHAPES = (
    "arc",
    "bar",
    "bead",
    "bell",
    "coil",
    "cross",
    "cube",
    "cup",
    "disc",
    "drop",
    "hook",
    "leaf",
    "loop",
    "ring",
)


def _shift(setting: Setting, rng: Rng, axis: np.ndarray) -> np.ndarray:
    """Shift of the marker, x y z: length by the published classes, direction mostly along the compression."""
    given = setting("procedure", "marker")
    near, middle, far = given["within_5_mm"], given["from_6_to_10_mm"], given["over_20_mm"]
    count = axis.shape[0]
    kind = pick(rng, [near, middle, 1.0 - near - middle - far, far], count)
    low = np.array([0.3, 5.2, 10.2, 20.2])[kind]
    high = np.array([4.8, 9.8, 19.8, 36.0])[kind]
    length = low + rng.random(count) * (high - low)
    direction = rng.normal(0.0, 0.35, (count, 3))
    direction[np.arange(count), axis] *= 3.0
    return direction * (length / np.sqrt((direction**2).sum(axis=1)))[:, None]


def markers(setting: Setting, rows: Columns, found: Columns, axis: np.ndarray) -> Columns:
    """Marker, mammogram and shift of each procedure, as in procedures.csv; the shape as a number of SHAPES."""
    rng, given, count = setting.stream("markers"), setting("procedure", "marker"), rows.rows
    names = ("placed", "failed", "not_placed")
    weights = [given["placed"], given["failed"], 1.0 - given["placed"] - given["failed"]]
    marker = np.array([code("procedures", "marker", name) for name in names])[pick(rng, weights, count)]
    marker = np.where(rows["status"] == COMPLETED, blank(rng, marker, given["not_recorded"]), -1)
    placed = marker == code("procedures", "marker", "placed")
    film = pick(rng, [given["mammogram"], 1.0 - given["mammogram"]], count)
    film = np.where(placed, blank(rng, film, given["mammogram_not_recorded"]), -1)
    measured = placed & (film == 0) & (rng.random(count) < given["shift_recorded"])
    shift = np.where(measured[:, None], _shift(setting, rng, axis), np.nan)
    return Columns(
        marker=marker,
        marker_shape=_shapes(rng, rows, found, placed),
        post_mammogram=film,
        marker_reference=np.where(measured, pick(rng, [0.8, 0.2], count), -1),
        marker_shift_x_mm=shift[:, 0],
        marker_shift_y_mm=shift[:, 1],
        marker_shift_z_mm=shift[:, 2],
    )


def _shapes(rng: Rng, rows: Columns, found: Columns, placed: np.ndarray) -> np.ndarray:
    """A shape that no other marker of the same breast has."""
    number = np.flatnonzero(placed)
    breast = rows["patient"][number] * 2 + found["laterality"][rows["finding"][number]]
    rank = rank_within(breast)
    shape = np.where(rank < len(SHAPES), (rank + rows["patient"][number]) % len(SHAPES), -1)
    shapes = np.full(rows.rows, -1)
    shapes[number] = np.where(rng.random(number.shape[0]) < 0.9, shape, -1)
    return shapes
