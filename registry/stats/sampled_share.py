"""How much of many targets lies in what was sampled, when positions are uncertain; lengths in mm.

The target is a sphere, the sampled volume a cylinder around the centre of the aperture,
or sectors of one. :mod:`registry.stats.overlap` has the closed forms and the quadrature
for one target whose error is alike in both directions across the needle; here the three
directions differ, sectors are cut out, and there may be a hundred thousand targets.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields
from functools import cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from registry.stats.arguments import FloatArray
from registry.stats.ring_arcs import InSectors, Single, in_cylinder

Pair = tuple[FloatArray, FloatArray]
Work = Callable[[slice], Pair]

_SEED = 20260630
_CHUNK = 128
"""Targets worked out at once: few enough for the cache of a core, and enough that threads seldom wait for one another."""
_ROUNDING = 1e-5
"""A share that differs from the stated one by single precision only is not below it."""


@dataclass(frozen=True)
class Placed:
    """Targets seen from the centre of the aperture; arrays of one length.

    ``first`` and ``second`` are the place of the centre of the target across the needle,
    ``along`` its place along it, each with the standard deviation of its error (normal,
    independent). ``aperture_length`` is the length of the sampled volume.
    """

    sphere_radius: FloatArray
    aperture_length: FloatArray
    first: FloatArray
    second: FloatArray
    along: FloatArray
    sd_first: FloatArray
    sd_second: FloatArray
    sd_along: FloatArray

    @property
    def size(self) -> int:
        """Number of targets."""
        return int(self.sphere_radius.shape[0])

    def at(self, chosen: NDArray[np.bool_] | slice) -> Placed:
        """Some of the targets, by mask or slice."""
        return Placed(*(getattr(self, one.name)[chosen] for one in fields(self)))


@dataclass(frozen=True)
class Sectors:
    """Sectors of the cylinder, seen from the needle: ``start`` and ``width`` in degrees.

    Angles run from the direction of ``first`` towards that of ``second``. Shape
    (targets, sectors); NaN where a target has fewer sectors than another.
    """

    start: FloatArray
    width: FloatArray

    def at(self, chosen: NDArray[np.bool_] | slice) -> Sectors:
        """Those of some of the targets."""
        return Sectors(self.start[chosen], self.width[chosen])


@dataclass(frozen=True)
class Rule:
    """How finely the error is averaged: points across the needle, along it, and repeats.

    ``across`` is a Fibonacci number above 2: the points are those of a Fibonacci lattice.
    Each of the ``repeats`` is shifted by chance (seeded); their spread is the numerical error.
    ``rings`` cut the target into nodes of Gauss and Legendre around the needle's direction.
    """

    across: int = 21
    along: int = 6
    repeats: int = 4
    rings: int = 8


#: For many targets at once, good to about 0.01, of which more rings would take nothing away; and for
#: one, good to about 0.001.
MANY, ONE = Rule(), Rule(across=377, along=55, repeats=8, rings=48)


@dataclass(frozen=True)
class Shares:
    """Per cylinder radius and target, shape (radii, targets).

    ``expected`` is the mean share of the target inside, ``probability`` that of a share
    of at least the stated one; beside each its numerical error (standard error).
    """

    expected: FloatArray
    probability: FloatArray
    expected_error: FloatArray
    probability_error: FloatArray


def sampled_shares(
    placed: Placed,
    cylinder_radii: FloatArray,
    at_least: float,
    sectors: Sectors | None = None,
    rule: Rule = MANY,
    each: Callable[[Work, list[slice]], Iterable[Pair]] = map,
) -> Shares:
    """Mean share of each target inside, and the probability that a stated share is.

    Parameters
    ----------
    placed
        The targets.
    cylinder_radii
        Radius of the sampled volume, 0 or more, shape (radii, targets).
    at_least
        The stated share, above 0, at most 1.
    sectors
        Where the volume is cut to sectors; None for the whole cylinder.
    rule
        How finely to average.
    each
        Carries out the parts of the work in their order: ``map``, or that of a pool of threads.

    Returns
    -------
    Shares

    Raises
    ------
    ValueError
        Shapes that differ; a radius, length or standard deviation out of range.

    Sources
    -------
    Randomly shifted lattice rule over the error (Cranley and Patterson 1976, SIAM J Numer
    Anal 13:904-914); within it the share is a sum over rings around the centre of the
    target: arc inside the cylinder times chord inside the aperture.
    """
    _check(placed, cylinder_radii, at_least, sectors)
    points = _points(rule)
    parts = [slice(start, start + _CHUNK) for start in range(0, placed.size, _CHUNK)]

    def work(part: slice) -> Pair:
        cut = None if sectors is None else sectors.at(part)
        return _averaged(placed.at(part), cylinder_radii[:, part], at_least, cut, points)

    found = list(each(work, parts))
    shape = (len(cylinder_radii), rule.repeats, 0)
    mean, chance = (
        np.concatenate([np.empty(shape), *(one[place] for one in found)], axis=2) for place in (0, 1)
    )
    return Shares(mean.mean(axis=1), chance.mean(axis=1), _spread(mean), _spread(chance))


def _spread(repeated: FloatArray) -> FloatArray:
    """Standard error of the mean over the repeats."""
    repeats = repeated.shape[1]
    error: FloatArray = repeated.std(axis=1, ddof=1) / sqrt(repeats)
    return error


def _check(placed: Placed, radii: FloatArray, at_least: float, sectors: Sectors | None) -> None:
    for one in fields(placed):
        values = getattr(placed, one.name)
        if values.shape != (placed.size,):
            raise ValueError(f"{one.name} must have shape ({placed.size},); got {values.shape}")
        low = 0.0 if one.name not in ("first", "second", "along") else -np.inf
        if not (np.isfinite(values) & (values >= low)).all():
            raise ValueError(f"{one.name} must be finite numbers{'' if low else ', 0 or more'}")
    if not ((placed.sphere_radius > 0).all() and (placed.aperture_length > 0).all()):
        raise ValueError("sphere_radius and aperture_length must be above 0")
    if radii.ndim != 2 or radii.shape[1] != placed.size or not (np.isfinite(radii) & (radii >= 0)).all():
        raise ValueError(f"cylinder_radii must be 0 or more, shape (radii, {placed.size}); got {radii.shape}")
    if not 0.0 < at_least <= 1.0:
        raise ValueError(f"at_least must lie above 0, at most 1; got {at_least}")
    if sectors is not None:
        if not sectors.start.shape == sectors.width.shape or sectors.start.shape[:1] != (placed.size,):
            raise ValueError("sectors must have one row per target")
        if (sectors.width <= 0).any() or (sectors.width > 360).any():
            raise ValueError("width of a sector must lie above 0, at most 360 degrees")


@dataclass(frozen=True)
class _Points:
    """Standard normal errors: across (repeats, points, 2) and along (repeats, points)."""

    across: Single
    along: Single
    rings: int


@cache
def _points(rule: Rule) -> _Points:
    before, last = 1, 2
    while last < rule.across:
        before, last = last, before + last
    if last != rule.across or rule.repeats < 2:
        raise ValueError(f"across must be a Fibonacci number and repeats 2 or more; got {rule}")
    rng = np.random.Generator(np.random.PCG64(_SEED))
    number = np.arange(last)
    lattice = np.stack([number / last, (number * before % last) / last], axis=1)
    across = (lattice + rng.random((rule.repeats, 1, 2))) % 1.0
    steps = (np.arange(rule.along) + rng.random((rule.repeats, 1))) / rule.along
    low, high = 1e-9, 1.0 - 1e-9
    return _Points(
        ndtri(np.clip(across, low, high)).astype(np.float32),
        ndtri(np.clip(steps, low, high)).astype(np.float32),
        rule.rings,
    )


def _averaged(
    placed: Placed, radii: FloatArray, at_least: float, sectors: Sectors | None, points: _Points
) -> tuple[FloatArray, FloatArray]:
    """Mean share and share of shares that reach the stated one: shape (radii, repeats, targets)."""
    first, second = (
        (getattr(placed, name)[:, None, None] + getattr(placed, f"sd_{name}")[:, None, None] * error).astype(
            np.float32
        )
        for name, error in (("first", points.across[..., 0]), ("second", points.across[..., 1]))
    )
    along = placed.along[:, None, None] + placed.sd_along[:, None, None] * points.along
    radius = placed.sphere_radius.astype(np.float32)
    rings = _rings(points.rings)
    chords = _chords(rings, radius, along.astype(np.float32), placed.aperture_length.astype(np.float32))
    ring = rings.distance[:, None] * radius
    mean, chance = [], []
    inside: Callable[[Single, Single, Single, Single], Iterator[Single]]
    inside = in_cylinder if sectors is None else InSectors(sectors.start, sectors.width)
    for arc in inside(first, second, ring, radii.astype(np.float32)):
        share = np.matmul(chords, arc.transpose(1, 2, 0, 3))
        mean.append(share.mean(axis=(2, 3)))
        chance.append((share >= at_least - _ROUNDING).mean(axis=(2, 3)))
    return np.stack(mean).swapaxes(1, 2).astype(np.float64), np.stack(chance).swapaxes(1, 2)


@dataclass(frozen=True)
class _Rings:
    """Rings of a unit sphere around the needle's direction: distance, half chord, weight."""

    distance: Single
    half_chord: Single
    weight: Single


@cache
def _rings(number: int) -> _Rings:
    """Nodes in the share of the volume that lies outside a ring, in which all of it is alike."""
    node, weight = np.polynomial.legendre.leggauss(number)
    outside = (1.0 + node) / 2.0
    half = np.cbrt(outside)
    return _Rings(
        np.sqrt(1.0 - half**2).astype(np.float32), half.astype(np.float32), (weight / 2.0).astype(np.float32)
    )


def _chords(rings: _Rings, radius: Single, along: Single, length: Single) -> Single:
    """Weight of each ring times the part of its chord inside the aperture: (targets, repeats, along, rings)."""
    half = (radius[:, None] * rings.half_chord)[:, None, None, :]
    end = (length / 2.0)[:, None, None, None]
    place = along[..., None]
    inside = np.minimum(half, end - place) - np.maximum(-half, -end - place)
    kept: Single = np.maximum(inside, 0.0) / (2.0 * half) * rings.weight
    return kept
