"""Geometry of a needle and its target, checked after the procedure, never during it.

Lengths in mm. Nothing here knows left from right: coordinates come in one frame, and
whoever pools breasts mirrors them first.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chndtr, ndtr

from registry.stats.overlap import (
    SamplingProbability,
    probability_at_least,
    sampling_probability,
    sphere_cylinder_fraction,
    wedge_fraction,
)

__all__ = [
    "ErrorParts",
    "SamplingProbability",
    "decompose_error",
    "probability_at_least",
    "probability_within",
    "radius_within",
    "sampling_probability",
    "slice_sd",
    "sphere_cylinder_fraction",
    "wedge_fraction",
]

FloatArray = NDArray[np.float64]

AXES = {"x": 0, "y": 1, "z": 2}
DIRECTIONS = {"plus": 1.0, "minus": -1.0}

_NODES = 96
"""Gauss-Legendre nodes per smooth stretch."""

_REACH = 9.0
"""Standard deviations beyond which a normal density is left out."""


@dataclass(frozen=True)
class ErrorParts:
    """Targeting error split by the needle: floats, or arrays for many procedures.

    ``total`` is the length of the error, ``lateral`` its part across the needle,
    ``depth`` its part along it, positive = deeper. ``motion`` is how far the target
    itself had moved. None (NaN in arrays) where a coordinate it needs is missing, and
    for lateral and depth where the needle is oblique to the axes. Unpacks in this order.
    """

    total: Any
    lateral: Any
    depth: Any
    motion: Any

    def __iter__(self) -> Iterator[Any]:
        return iter((self.total, self.lateral, self.depth, self.motion))


def decompose_error(
    planned: ArrayLike,
    achieved: ArrayLike,
    needle_axis: str,
    needle_direction: str | None = "plus",
    seen: ArrayLike | None = None,
) -> ErrorParts:
    """Split the way from the target to the sampled point by the needle's axis.

    Parameters
    ----------
    planned
        Planned target centre, mm, shape (3,) or (n, 3).
    achieved
        Centre of the sampling aperture on the verification scan, same shape.
    needle_axis
        "x", "y", "z", or "oblique" for no split.
    needle_direction
        "plus" or "minus": sense of advance along the axis; None reads as plus.
    seen
        Target centre re-seen on the verification scan. Where all three coordinates
        are given it replaces the planned target as the reference.

    Returns
    -------
    ErrorParts
        A missing coordinate (None or NaN) of the planned or achieved point leaves the
        error None; one of the re-seen target only makes the planned one the reference.

    Raises
    ------
    ValueError
        Shapes that differ or lack three coordinates, unknown axis or direction.
    """
    if needle_axis not in (*AXES, "oblique"):
        raise ValueError(f"needle_axis must be x, y, z or oblique; got {needle_axis!r}")
    if needle_direction is not None and needle_direction not in DIRECTIONS:
        raise ValueError(f"needle_direction must be plus or minus; got {needle_direction!r}")
    plan, reached = _coordinates(planned, "planned"), _coordinates(achieved, "achieved")
    again = np.full(plan.shape, np.nan) if seen is None else _coordinates(seen, "seen")
    if not plan.shape == reached.shape == again.shape:
        raise ValueError(f"coordinates must have one shape; got {plan.shape}, {reached.shape}, {again.shape}")
    complete = np.isfinite(again).all(axis=-1, keepdims=True)
    error = reached - np.where(complete, again, plan)
    error = np.where(np.isfinite(error).all(axis=-1, keepdims=True), error, np.nan)
    along = across = np.full(error.shape[:-1], np.nan)
    if needle_axis in AXES:
        index = AXES[needle_axis]
        along = error[..., index] * DIRECTIONS[needle_direction or "plus"]
        across = _length(np.delete(error, index, axis=-1))
    return ErrorParts(*(_plain(part) for part in (_length(error), across, along, _length(again - plan))))


def slice_sd(slice_mm: float) -> float:
    """Standard uncertainty of a coordinate read from slices, across them only.

    Parameters
    ----------
    slice_mm
        Slice thickness along the coarse (compression) axis, 0 or more.

    Returns
    -------
    float
        slice / sqrt(12): the point lies anywhere in its slice, all places alike.

    Raises
    ------
    ValueError
        Negative or missing thickness.
    """
    return _not_negative(slice_mm, "slice_mm") / sqrt(12.0)


def probability_within(radius: ArrayLike, sigma: ArrayLike, bias: ArrayLike = (0.0, 0.0, 0.0)) -> Any:
    """Probability that a normal error is no longer than a radius.

    Parameters
    ----------
    radius
        mm, 0 or more, one number or an array.
    sigma
        Standard deviation, mm: one number for all axes, or one per axis.
    bias
        Mean error per axis, mm; its length sets the number of axes, 1 to 3.

    Returns
    -------
    float or array
        By the non-central chi-square distribution where the axes are alike, else by
        integration over the other axes. An axis of standard deviation 0 is fixed at
        its bias.

    Raises
    ------
    ValueError
        Negative radius or standard deviation, numbers of axes that differ.

    Sources
    -------
    Non-central chi-square of the squared length; for unequal axes a quadratic form in
    normal variables (Imhof 1961, Biometrika 48:419-426, inverts the same one).
    """
    reach = np.asarray(radius, dtype=np.float64)
    centre = np.atleast_1d(np.asarray(bias, dtype=np.float64))
    if centre.ndim != 1 or not 1 <= centre.size <= 3:
        raise ValueError("bias must hold 1 to 3 axes")
    try:
        spread = np.broadcast_to(np.asarray(sigma, dtype=np.float64), centre.shape)
    except ValueError as problem:
        raise ValueError(f"sigma must be one number or {centre.size}; got {np.size(sigma)}") from problem
    for values, name in ((reach, "radius"), (spread, "sigma")):
        if not (values >= 0).all():
            raise ValueError(f"{name} must be 0 or more")
    if not np.isfinite(centre).all():
        raise ValueError("bias must be finite numbers")
    if (spread == spread[0]).all() and spread[0] > 0:
        scaled = float((centre**2).sum()) / spread[0] ** 2
        inside = chndtr((reach / spread[0]) ** 2, float(centre.size), scaled)
    else:
        inside = np.array([_within(value, spread, centre) for value in reach.ravel()]).reshape(reach.shape)
    return inside if reach.ndim else float(inside)


def radius_within(probability: float, sigma: ArrayLike, bias: ArrayLike = (0.0, 0.0, 0.0)) -> float:
    """Radius that a normal error stays within with a given probability.

    Parameters
    ----------
    probability
        Between 0 and 1 exclusive: 0.5 for the median error, 0.95 for the usual bound.
    sigma, bias
        As :func:`probability_within`; one standard deviation at least above 0.

    Returns
    -------
    float
        mm.

    Raises
    ------
    ValueError
        As :func:`probability_within`; probability outside (0, 1), no spread at all.
    """
    if not 0.0 < probability < 1.0:
        raise ValueError(f"probability must lie between 0 and 1, both ends excluded; got {probability}")
    high = float(np.max(sigma)) + float(_length(np.atleast_1d(np.asarray(bias, dtype=np.float64))))
    if not np.max(sigma) > 0.0:
        raise ValueError("sigma must be above 0 on one axis at least")
    while probability_within(high, sigma, bias) < probability:
        high *= 2.0
    from scipy.optimize import brentq

    return float(
        brentq(lambda radius: probability_within(radius, sigma, bias) - probability, 0.0, high, xtol=1e-12)
    )


def _within(radius: float, spread: FloatArray, centre: FloatArray) -> float:
    """Ball probability with unequal axes: the widest axis exactly, the others by nodes."""
    fixed = spread == 0
    left = radius**2 - float((centre[fixed] ** 2).sum())
    if left < 0:
        return 0.0
    spread, centre = spread[~fixed], centre[~fixed]
    order = np.argsort(spread)
    spread, centre = spread[order], centre[order]
    if spread.size == 0:
        return 1.0
    squared, weight = np.array([left]), np.ones(1)
    for sd, mean in zip(spread[:-1], centre[:-1], strict=True):
        place, share = _normal_nodes(np.sqrt(squared), float(sd), float(mean))
        weight = (weight[:, None] * share).ravel()
        squared = np.maximum(squared[:, None] - place**2, 0.0).ravel()
    half = np.sqrt(squared)
    inside = ndtr((half - centre[-1]) / spread[-1]) - ndtr((-half - centre[-1]) / spread[-1])
    return float(weight @ inside)


def _normal_nodes(half: FloatArray, sd: float, mean: float) -> tuple[FloatArray, FloatArray]:
    """Nodes in [-half, half] where the normal density counts, weighted by it."""
    safe = np.maximum(half, 1e-150)
    low = np.arcsin(np.clip((mean - _REACH * sd) / safe, -1.0, 1.0))
    high = np.arcsin(np.clip((mean + _REACH * sd) / safe, -1.0, 1.0))
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    angle = (low + high)[:, None] / 2.0 + (high - low)[:, None] / 2.0 * node
    place = half[:, None] * np.sin(angle)
    density = np.exp(-(((place - mean) / sd) ** 2) / 2.0) / (sd * np.sqrt(2.0 * np.pi))
    return place, density * half[:, None] * np.cos(angle) * (high - low)[:, None] / 2.0 * weight


def _coordinates(values: ArrayLike, name: str) -> FloatArray:
    try:
        points = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as problem:
        raise ValueError(f"{name} must be coordinates in mm") from problem
    if points.ndim not in (1, 2) or points.shape[-1] != 3:
        raise ValueError(f"{name} must hold three coordinates; got shape {points.shape}")
    return points


def _length(vectors: FloatArray) -> FloatArray:
    length: FloatArray = np.sqrt((vectors**2).sum(axis=-1))
    return length


def _plain(part: FloatArray) -> Any:
    if np.ndim(part):
        return part
    return float(part) if np.isfinite(part) else None


def _not_negative(value: float, name: str) -> float:
    number = float(value)
    if not number >= 0.0 or not np.isfinite(number):
        raise ValueError(f"{name} must be 0 or more; got {value}")
    return number
