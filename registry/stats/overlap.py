"""Share of a lesion that a sampled volume takes in: a sphere and a cylinder, in mm.

The lesion is a sphere; the sampled volume is a cylinder around the needle, as wide as
the tissue the vacuum draws in (which is local), as long as the aperture.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from math import inf, pi, radians, sqrt

import numpy as np
from scipy.optimize import brentq
from scipy.special import chndtr, ndtr

from registry.stats.arguments import FloatArray

_NODES = 64
"""Gauss-Legendre nodes per smooth stretch."""

HOURS = tuple(range(1, 13))

_QUARTERS = (-11.25, -3.75, 3.75, 11.25)
"""Middles of the four quarters of an hour's 30 degrees, from its own middle."""


@dataclass(frozen=True)
class SamplingProbability:
    """What a targeting error leaves of the aim, averaged over the error.

    ``centre_inside`` is the probability that the centre of the lesion lies in the
    sampled volume, ``touched`` that any of it does, ``expected_fraction`` the mean
    share of it that does: not the share at the mean offset.
    """

    centre_inside: float
    touched: float
    expected_fraction: float


def sphere_cylinder_fraction(
    sphere_radius: float,
    cylinder_radius: float,
    lateral_offset: float = 0.0,
    axial_window: float | tuple[float, float] | None = None,
) -> float:
    """Share of a sphere inside a cylinder around the needle.

    Parameters
    ----------
    sphere_radius
        Radius of the lesion, above 0.
    cylinder_radius
        Radius of the sampled volume around the needle axis, 0 or more.
    lateral_offset
        Distance of the lesion's centre from the needle axis, 0 or more.
    axial_window
        Length of the sampled volume, centred on the lesion, or its two ends along the
        needle from the lesion's centre; None for no end.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        Radii, offset or length out of range.

    Sources
    -------
    Integral over the distance t from the line through the lesion's centre: arc inside
    the cylinder times chord inside the window. Checked by Viviani's body and by the
    centred closed form 1 - (1 - rho^2 / R^2)^1.5.
    """
    radius, rho, offset, (low, high) = _shape(sphere_radius, cylinder_radius, lateral_offset, axial_window)
    edges = {0.0, radius, abs(rho - offset), rho + offset}
    edges |= {sqrt(max(0.0, radius**2 - end**2)) for end in (low, high) if abs(end) < radius}
    inside = sorted(edge for edge in edges if 0.0 <= edge <= radius)
    volume = 0.0
    for start, stop in pairwise(inside):
        t, weight = _smooth_nodes(start, stop)
        half = np.sqrt(np.maximum(radius**2 - t**2, 0.0))
        chord = np.maximum(np.minimum(half, high) - np.maximum(-half, low), 0.0)
        volume += float(np.sum(weight * t * _arc(t, rho, offset) * chord))
    return min(1.0, volume / (4.0 / 3.0 * pi * radius**3))


def wedge_fraction(
    sphere_radius: float,
    cylinder_radius: float,
    lateral_offset: float,
    offset_hour: float,
    sampled_hours: Iterable[int] | str,
    *,
    axial_window: float | tuple[float, float] | None = None,
) -> float:
    """Share of a sphere inside the sampled hours of the cylinder around the needle.

    Parameters
    ----------
    sphere_radius, cylinder_radius, lateral_offset, axial_window
        As :func:`sphere_cylinder_fraction`.
    offset_hour
        Clock direction, seen from the hub, in which the lesion's centre lies off the
        needle axis; 0 to 12, fractions allowed.
    sampled_hours
        Aperture directions used, 1 to 12, each taken as 30 degrees wide; or "all".

    Returns
    -------
    float
        0 to 1; 0 for no hour. All hours give :func:`sphere_cylinder_fraction`, to
        about 1e-5.

    Raises
    ------
    ValueError
        As :func:`sphere_cylinder_fraction`; hours outside 1..12.
    """
    radius, rho, offset, (low, high) = _shape(sphere_radius, cylinder_radius, lateral_offset, axial_window)
    hours = _hours(sampled_hours)
    if not 0.0 <= float(offset_hour) <= 12.0:
        raise ValueError(f"offset_hour must lie in 0..12; got {offset_hour}")
    bottom, top = max(low, -radius), min(high, radius)
    if not hours or bottom >= top:
        return 0.0
    node, weight = _legendre()
    # quarters of an hour: a ray that only grazes the sphere bends the integrand inside one
    middles = [30.0 * (hour - float(offset_hour)) + part for hour in hours for part in _QUARTERS]
    angle = (np.radians(middles)[:, None] + radians(3.75) * node).ravel()
    angle_weight = np.tile(weight * radians(3.75), len(middles))
    # slices where the sphere's edge meets the cylinder's edge or its axis
    bends = [sqrt(max(0.0, radius**2 - c**2)) for c in (rho - offset, rho + offset, offset)]
    cuts = sorted({bottom, top} | {side for z in bends for side in (z, -z) if bottom < side < top})
    volume = 0.0
    for start, stop in pairwise(cuts):
        z, slice_weight = _smooth_nodes(start, stop)
        reach = np.maximum(radius**2 - z**2, 0.0)[:, None] - (offset * np.sin(angle)) ** 2
        half = np.sqrt(np.maximum(reach, 0.0))
        far = np.clip(offset * np.cos(angle) + half, 0.0, rho)
        near = np.clip(offset * np.cos(angle) - half, 0.0, rho)
        area = np.where(reach > 0.0, (far**2 - near**2) / 2.0, 0.0)
        volume += float(slice_weight @ area @ angle_weight)
    return min(1.0, volume / (4.0 / 3.0 * pi * radius**3))


def sampling_probability(
    sphere_radius: float,
    cylinder_radius: float,
    aperture_length: float,
    *,
    sigma_lateral: float,
    sigma_depth: float,
    bias_lateral: float = 0.0,
    bias_depth: float = 0.0,
) -> SamplingProbability:
    """What share of a lesion is sampled on average, given how targeting errs.

    Parameters
    ----------
    sphere_radius, cylinder_radius
        As :func:`sphere_cylinder_fraction`.
    aperture_length
        Length of the sampled volume along the needle, above 0.
    sigma_lateral
        Standard deviation of the error in each direction across the needle, above 0.
    sigma_depth
        Standard deviation along the needle, above 0.
    bias_lateral, bias_depth
        Mean error across (its length, 0 or more) and along the needle.

    Returns
    -------
    SamplingProbability
        For normal errors, independent across and along the needle.

    Raises
    ------
    ValueError
        Lengths out of range; without any error use :func:`sphere_cylinder_fraction`.

    Sources
    -------
    A point of the lesion is sampled when its distance from the needle axis (Rice) and
    along it (normal) both fall inside; averaged over the sphere.
    """
    radius, rho, offset, (low, high) = _shape(sphere_radius, cylinder_radius, bias_lateral, aperture_length)
    _check_errors(sigma_lateral, sigma_depth, bias_depth)

    def across(reach: FloatArray | float, distance: FloatArray | float) -> FloatArray:
        inside = chndtr((reach / sigma_lateral) ** 2, 2.0, (distance / sigma_lateral) ** 2)
        return np.asarray(inside, dtype=np.float64)

    def along(end: FloatArray | float) -> FloatArray:
        """Mean over the depth error of how much of -inf..end lies below: a smooth ramp."""
        scaled = (end - bias_depth) / sigma_depth
        ramp: FloatArray = sigma_depth * (scaled * ndtr(scaled) + np.exp(-(scaled**2) / 2.0) / sqrt(2.0 * pi))
        return ramp

    t, ring = _smooth_nodes(0.0, radius)
    angle, turn = _smooth_nodes(0.0, pi)
    distance = np.sqrt(
        np.maximum(t[:, None] ** 2 + offset**2 + 2.0 * offset * t[:, None] * np.cos(angle), 0.0)
    )
    half = np.sqrt(np.maximum(radius**2 - t**2, 0.0))
    depth = along(high + half) - along(high - half) - along(low + half) + along(low - half)
    total = float((ring * t * depth) @ across(rho, distance) @ turn) * 2.0
    between = float(ndtr((high - bias_depth) / sigma_depth) - ndtr((low - bias_depth) / sigma_depth))
    centre = float(across(rho, offset)) * between
    touched = float(across(rho + radius, offset)) * between
    # past an end the sphere reaches less far across; where the error does not come counts nothing
    likely = bias_depth - 9.0 * sigma_depth, bias_depth + 9.0 * sigma_depth
    for end, away in ((low, -1.0), (high, 1.0)):
        start, stop = np.clip(sorted((end, end + away * radius)), *likely)
        z, weight = _smooth_nodes(float(start), float(stop))
        reach = rho + np.sqrt(np.maximum(radius**2 - (z - end) ** 2, 0.0))
        density = np.exp(-(((z - bias_depth) / sigma_depth) ** 2) / 2.0) / (sigma_depth * sqrt(2.0 * pi))
        touched += float(np.sum(weight * density * across(reach, offset)))
    return SamplingProbability(centre, min(1.0, touched), min(1.0, total / (4.0 / 3.0 * pi * radius**3)))


def probability_at_least(
    share: float,
    sphere_radius: float,
    cylinder_radius: float,
    aperture_length: float,
    *,
    sigma_lateral: float,
    sigma_depth: float,
    bias_lateral: float = 0.0,
    bias_depth: float = 0.0,
) -> float:
    """Probability that at least a stated share of a lesion is sampled, given how targeting errs.

    Parameters
    ----------
    share
        Above 0, at most 1.
    sphere_radius, cylinder_radius, aperture_length, sigma_lateral, sigma_depth, bias_lateral, bias_depth
        As :func:`sampling_probability`.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        As :func:`sampling_probability`; share out of range.

    Sources
    -------
    At each depth the share falls with the distance from the needle axis, so that it is
    reached within one distance, whose probability is Rice's; averaged over the depth.
    """
    if not 0.0 < share <= 1.0:
        raise ValueError(f"share must lie above 0, at most 1; got {share}")
    radius, rho, offset, (low, high) = _shape(sphere_radius, cylinder_radius, bias_lateral, aperture_length)
    _check_errors(sigma_lateral, sigma_depth, bias_depth)

    def left(z: float, distance: float) -> float:
        return sphere_cylinder_fraction(radius, rho, distance, (low - z, high - z)) - share

    def furthest(z: float) -> float:
        """Distance within which the share is reached at a depth; -1 where it never is."""
        # 1e-9: a lesion that just fits is inside.
        if left(z, 0.0) < -1e-9:
            return -1.0
        return float(brentq(lambda distance: left(z, distance) + 1e-9, 0.0, rho + radius, xtol=1e-9))

    whole = furthest(0.0) if high >= radius else -1.0
    # where the aperture begins to cut the lesion, and where the needle axis itself just holds the share
    edges = {low - radius, high + radius, *(end + side for end in (low, high) for side in (-radius, radius))}
    edges |= {_turning(lambda z: left(z, 0.0), 0.0, end) for end in (low - radius, high + radius)}
    reach = 9.0 * sigma_depth
    cuts = sorted(
        {bias_depth - reach, bias_depth + reach} | {e for e in edges if abs(e - bias_depth) < reach}
    )
    total = 0.0
    for start, stop in pairwise(cuts):
        middle = (start + stop) / 2.0
        if left(middle, 0.0) < -1e-9:
            continue
        z, weight = _smooth_nodes(start, stop)
        # between its ends the aperture cuts nothing off, and the distance is one
        uncut = high - abs(middle) >= radius
        distance = np.full(z.shape, whole) if uncut else np.array([furthest(float(one)) for one in z])
        inside = np.where(
            distance >= 0.0,
            chndtr((np.maximum(distance, 0.0) / sigma_lateral) ** 2, 2.0, (offset / sigma_lateral) ** 2),
            0.0,
        )
        density = np.exp(-(((z - bias_depth) / sigma_depth) ** 2) / 2.0) / (sigma_depth * sqrt(2.0 * pi))
        total += float(np.sum(weight * density * inside))
    return min(1.0, total)


def _turning(function: Callable[[float], float], inner: float, outer: float) -> float:
    """Where a function that falls from inner to outer passes 0; inner where it never stands above."""
    if function(inner) < 0.0:
        return inner
    near, far = inner, outer
    for _ in range(60):
        middle = (near + far) / 2.0
        near, far = (middle, far) if function(middle) >= 0.0 else (near, middle)
    return near


def _shape(
    radius: float, rho: float, offset: float, window: float | tuple[float, float] | None
) -> tuple[float, float, float, tuple[float, float]]:
    if not 0.0 < radius < inf:
        raise ValueError(f"sphere_radius must be above 0; got {radius}")
    for value, name in ((rho, "cylinder_radius"), (offset, "lateral_offset")):
        if not 0.0 <= value < inf:
            raise ValueError(f"{name} must be 0 or more; got {value}")
    if window is None:
        return float(radius), float(rho), float(offset), (-inf, inf)
    ends = np.asarray(window, dtype=np.float64)
    if ends.ndim == 0:
        ends = np.array([-ends / 2.0, ends / 2.0])
    if ends.shape != (2,) or not ends[0] < ends[1]:
        raise ValueError(f"axial_window must be a length above 0 or two rising ends; got {window}")
    return float(radius), float(rho), float(offset), (float(ends[0]), float(ends[1]))


def _check_errors(sigma_lateral: float, sigma_depth: float, bias_depth: float) -> None:
    for value, name in ((sigma_lateral, "sigma_lateral"), (sigma_depth, "sigma_depth")):
        if not 0.0 < value < inf:
            raise ValueError(f"{name} must be above 0; got {value}")
    if not -inf < bias_depth < inf:
        raise ValueError(f"bias_depth must be a finite number; got {bias_depth}")


def _hours(hours: Iterable[int] | str) -> tuple[int, ...]:
    if isinstance(hours, str):
        if hours != "all":
            raise ValueError(f"sampled_hours must be 'all' or hours 1 to 12; got {hours!r}")
        return HOURS
    chosen = tuple(sorted(set(hours)))
    if not set(chosen) <= set(HOURS):
        raise ValueError(f"sampled_hours must be hours 1 to 12; got {chosen}")
    return chosen


def _arc(t: FloatArray, rho: float, offset: float) -> FloatArray:
    """Angle of the circle of radius t, offset from the needle axis, that lies within rho."""
    if offset == 0.0:
        return np.where(t <= rho, 2.0 * pi, 0.0)
    cosine = (t**2 + offset**2 - rho**2) / np.maximum(2.0 * t * offset, np.finfo(float).tiny)
    return 2.0 * np.arccos(np.clip(cosine, -1.0, 1.0))


@cache
def _legendre() -> tuple[FloatArray, FloatArray]:
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    return node, weight


def _smooth_nodes(start: float, stop: float) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes after t = middle + half sin(angle), which smooths root ends."""
    node, weight = _legendre()
    angle, half = node * pi / 2.0, (stop - start) / 2.0
    return start + half * (1.0 + np.sin(angle)), half * np.cos(angle) * weight * pi / 2.0
