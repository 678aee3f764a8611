"""Arcs of rings: the library's arccos, and points of the ring counted one by one."""

from __future__ import annotations

import numpy as np
import pytest

from registry.stats.ring_arcs import InSectors, arccos, arcsin, in_cylinder

COUNTED = 20_000
#: Direction, distance of the centre of a ring, its radius, radius of the cylinder: the needle
#: outside, inside and on the ring; a cylinder that holds all of it, and one that holds nothing.
RINGS = [
    (20.0, 4.0, 3.0, 5.0),
    (130.0, 2.0, 5.0, 4.0),
    (250.0, 3.0, 3.0, 2.0),
    (300.0, 1.0, 2.0, 9.0),
    (75.0, 9.0, 2.0, 3.0),
    (180.0, 0.0, 2.0, 3.0),
]
#: Start and width in degrees: narrow, across the cut at 180, half a turn, wide, and two at once.
CUTS = [
    [(0, 30)],
    [(165, 30)],
    [(-75, 180)],
    [(40, 290)],
    [(10, 60), (200, 120)],
    [(95, 30), (np.nan, np.nan)],
]


def ring(direction: float, distance: float, radius: float) -> tuple[np.ndarray, ...]:
    angle = np.radians(direction)
    first, second = (
        np.full((1, 1, 1), distance * one, dtype=np.float32) for one in (np.cos(angle), np.sin(angle))
    )
    return first, second, np.full((1, 1), radius, dtype=np.float32)


def counted(
    direction: float, distance: float, radius: float, reach: float, cuts: list[tuple[float, float]]
) -> float:
    """Share of evenly spread points of the ring that lie within reach of the needle and in a sector."""
    around = 2 * np.pi * (np.arange(COUNTED) + 0.5) / COUNTED
    place = distance * np.exp(1j * np.radians(direction)) + radius * np.exp(1j * around)
    seen = np.degrees(np.angle(place))
    within = np.zeros(COUNTED, dtype=bool)
    for start, width in cuts:
        within |= (seen - start) % 360.0 < width
    return float(np.mean(within & (np.abs(place) <= reach)))


def test_angles_are_those_of_the_library():
    cosine = np.linspace(-1, 1, 100_001).astype(np.float32)
    assert np.abs(arccos(cosine) - np.arccos(cosine.astype(np.float64))).max() < 1.5e-5
    assert np.abs(arcsin(cosine) - np.arcsin(cosine.astype(np.float64))).max() < 1.5e-5


def test_what_lies_beyond_one_counts_as_one():
    assert arccos(np.array([-7.0, -1.0, 1.0, 3.0], dtype=np.float32)).tolist() == pytest.approx(
        [np.pi, np.pi, 0.0, 0.0], abs=3e-7
    )


@pytest.mark.parametrize("one", RINGS)
def test_arc_within_the_cylinder_is_the_share_of_its_points(one: tuple[float, ...]):
    *place, reach = one
    (found,) = in_cylinder(*ring(*place), np.array([[reach]], dtype=np.float32))
    assert found[0, 0, 0, 0] == pytest.approx(counted(*one, [(0.0, 360.0)]), abs=2 / COUNTED)


@pytest.mark.parametrize("cuts", CUTS)
@pytest.mark.parametrize("one", RINGS)
def test_arc_within_sectors_is_the_share_of_its_points(
    one: tuple[float, ...], cuts: list[tuple[float, float]]
):
    *place, reach = one
    start, width = (np.array([[cut[side] for cut in cuts]]) for side in (0, 1))
    (found,) = InSectors(start, width)(*ring(*place), np.array([[reach]], dtype=np.float32))
    real = [cut for cut in cuts if not np.isnan(cut[0])]
    assert found[0, 0, 0, 0] == pytest.approx(counted(*one, real), abs=4 / COUNTED)


def test_targets_with_fewer_sectors_than_others_keep_those_of_the_others():
    """Two targets in one question: sectors of 60 and 120 degrees, and one of 30 alone."""
    cuts = [[(10.0, 60.0), (200.0, 120.0)], [(95.0, 30.0), (np.nan, np.nan)]]
    start, width = (np.array([[cut[side] for cut in own] for own in cuts]) for side in (0, 1))
    places = [ring(*one[:3]) for one in RINGS[1:3]]
    first, second = (np.concatenate([place[axis] for place in places]) for axis in (0, 1))
    radius = np.concatenate([place[2] for place in places], axis=1)
    reach = np.array([[one[3] for one in RINGS[1:3]]], dtype=np.float32)
    (found,) = InSectors(start, width)(first, second, radius, reach)
    expected = [counted(*RINGS[1], cuts[0]), counted(*RINGS[2], cuts[1][:1])]
    assert found[0, :, 0, 0] == pytest.approx(expected, abs=4 / COUNTED)
