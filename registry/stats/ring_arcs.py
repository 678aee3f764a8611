"""Arcs of rings around targets that lie in a cylinder around the needle, or in sectors of one.

Single precision, for a hundred thousand targets: shapes are (rings, targets, repeats, errors),
rings first because the arithmetic is fastest along the last axes, which they leave alone. A ring
of radius t lies around a point at distance d from the needle, in the plane across it; lengths
in mm, angles in radians (0042).
"""

from __future__ import annotations

from collections.abc import Iterator
from math import pi
from typing import Any

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from registry.stats.arguments import FloatArray

Single = NDArray[np.float32]

_PI, _HALF_PI = np.float32(pi), np.float32(pi / 2.0)
_DEGREE = 4
"""Of the polynomial in :func:`arccos`."""
_SIGN = np.int32(-(2**31))
"""The bit of a single that holds its sign."""
_NEAR_ZERO = np.float32(1e-12)


def in_cylinder(first: Single, second: Single, ring: Single, radii: Single) -> Iterator[Single]:
    """Share of each ring within each radius of the cylinder.

    Parameters
    ----------
    first, second
        Centres of the rings across the needle, shape (targets, repeats, errors).
    ring
        Radii of the rings, shape (rings, targets).
    radii
        Radii of the cylinder, shape (radii, targets).

    Yields
    ------
    array
        One per radius, 0 to 1, shape (rings, targets, repeats, errors); made anew each time.
    """
    for half in _half_arcs(np.sqrt(first**2 + second**2), ring[:, :, None, None], radii):
        yield np.multiply(half, np.float32(1.0 / pi), out=half)


class InSectors:
    """The same, only of what lies within the sectors: ``start`` and ``width`` in degrees, (targets, sectors).

    Angles run from the direction of ``first`` towards that of ``second``; NaN is no sector.

    Seen from the needle, let psi be the angle of a direction from that of the ring's centre.
    Its line meets the ring, counted from the ring's point nearest the needle, at
    pi - psi - beta and, where the needle stands outside the ring, at beta - psi too, with
    sin beta = (d / t) sin psi. So the arc between psi = 0 and a ray, within the arc c that
    lies inside the cylinder, is max(0, c - pi + psi + beta) + min(c, beta - psi), and a
    sector is the difference of its two rays. Beyond the tangent beta is a right angle, and the
    two parts add up to c, whatever psi is.
    """

    def __init__(self, start: FloatArray, width: FloatArray) -> None:
        none = np.isnan(start)
        self._start, self._width = np.where(none, 0.0, start), np.where(none, 0.0, width)

    def __call__(self, first: Single, second: Single, ring: Single, radii: Single) -> Iterator[Single]:
        """As :func:`in_cylinder`."""
        distance, t = np.sqrt(first**2 + second**2), ring[:, :, None, None]
        centre = np.arctan2(second, first)
        ratio = distance * (1.0 / t)
        outside = (ratio > 1.0).astype(np.float32)
        # from outside no line beyond a right angle meets the ring
        furthest = np.subtract(_PI, _HALF_PI * outside)
        rays: list[tuple[Single, Single, Single]] = []
        turns = np.zeros_like(centre)
        for start, width in zip(self._start.T, self._width.T, strict=True):
            if not width.any():
                continue
            low = _wrapped(np.radians(start).astype(np.float32)[:, None, None] - centre)
            high = low + np.radians(width).astype(np.float32)[:, None, None]
            past = (high > _PI).astype(np.float32)
            high -= 2.0 * _PI * past
            turns += past
            rays += [(-np.sign(low), *_met(low, ratio, furthest, outside))]
            rays += [(np.sign(high), *_met(high, ratio, furthest, outside))]
        for half in _half_arcs(distance, t, radii):
            kept: Single = np.float32(2.0) * turns * half
            for sign, far, near in rays:
                arc = half + far
                np.maximum(arc, np.float32(0.0), out=arc)
                arc += np.minimum(half, near)
                arc *= sign
                kept += arc
            kept *= np.float32(0.5 / pi)
            yield kept


def _met(psi: Single, ratio: Single, furthest: Single, outside: Single) -> tuple[Single, Single]:
    """Where the line of a ray meets the ring: far place less pi, and near place (0 where the needle is inside)."""
    turned = np.abs(psi)
    sine = ratio * np.sin(turned)
    # beyond the tangent beta stays a right angle, which needs no sine of its own
    sine += outside * (turned > _HALF_PI).astype(np.float32)
    beta = arcsin(sine)
    seen = np.minimum(turned, furthest)
    near = beta - seen
    near *= outside
    beta += seen
    beta -= _PI
    return beta, near


def _half_arcs(distance: Single, t: Single, radii: Single) -> Iterator[Single]:
    """Half the arc of each ring inside each cylinder, 0 to pi: arccos((d^2 + t^2 - radius^2) / 2 d t)."""
    base = distance * (np.float32(0.5) / t)
    inverse = 1.0 / np.maximum(distance, _NEAR_ZERO)
    for radius in radii:
        cosine = inverse * ((t**2 - (radius**2)[:, None, None]) / (2.0 * t))
        cosine += base
        yield arccos(cosine)


def arcsin(sine: Single) -> Single:
    """Angle of each sine, as :func:`arccos`."""
    angle = arccos(sine)
    np.subtract(_HALF_PI, angle, out=angle)
    return angle


def arccos(cosine: Single) -> Single:
    """Angle of each cosine, 0 to pi, to about 1.5e-5; three times as fast as that of the library.

    Parameters
    ----------
    cosine
        Contiguous; what lies beyond 1 and -1 counts as these, which give 0 and pi exactly.

    Sources
    -------
    The form of Abramowitz and Stegun 1964, 4.4.45: sqrt(1 - x) times a polynomial for x of
    0 or more, whose coefficients are worked out here; the other half by symmetry.
    """
    size = np.abs(cosine)
    np.minimum(size, np.float32(1.0), out=size)
    angle = size * _COEFFICIENTS[-1]
    for one in _COEFFICIENTS[-2:0:-1]:
        angle += one
        angle *= size
    angle += _COEFFICIENTS[0]
    np.subtract(np.float32(1.0), size, out=size)
    np.sqrt(size, out=size)
    angle *= size
    # pi / 2 - angle gets the sign of the cosine, by its bit: a choice by element would cost more
    np.subtract(_HALF_PI, angle, out=angle)
    sign = np.bitwise_and(cosine.view(np.int32), _SIGN, out=size.view(np.int32))
    np.bitwise_xor(angle.view(np.int32), sign, out=angle.view(np.int32))
    np.subtract(_HALF_PI, angle, out=angle)
    return angle


def _coefficients() -> list[np.float32]:
    """Of arccos(x) / sqrt(1 - x) between 0 and 1, by interpolation in Chebyshev's points."""

    def smooth(place: Any) -> Any:
        return np.arccos((place + 1.0) / 2.0) / np.sqrt((1.0 - place) / 2.0)

    found = chebyshev.chebinterpolate(smooth, _DEGREE)
    series = np.polynomial.Chebyshev(found, domain=[0.0, 1.0])
    return [np.float32(one) for one in series.convert(kind=np.polynomial.Polynomial).coef]


_COEFFICIENTS = _coefficients()


def _wrapped(angle: Single) -> Single:
    """The same direction, from -pi to pi."""
    turn = np.float32(2.0 * pi)
    wrapped: Single = angle - turn * np.round(angle / turn).astype(np.float32)
    return wrapped
