"""Many roots at once: each is found, whatever the slope says, and as it would be alone."""

from __future__ import annotations

import numpy as np
import pytest

from registry.stats.roots import rising_roots

#: Cube roots of 0.027, 0.125 and 0.729, between 0 and 1.
CUBES = np.array([0.027, 0.125, 0.729])
LOW, HIGH = np.zeros(3), np.ones(3)


def excess(x):
    return x**3 - CUBES


def slope(x):
    return 3 * x**2


def test_each_root_is_found():
    """0.5 is the middle and met at once; the others take their steps all the same."""
    assert rising_roots(excess, slope, LOW, HIGH) == pytest.approx([0.3, 0.5, 0.9], rel=1e-14)


@pytest.mark.parametrize("wrong", [0.0, -1.0, 1e-9, float("nan")])
def test_a_slope_that_leads_astray_only_costs_steps(wrong):
    """No step, a step downhill, a step far out: the enclosure is halved instead."""
    found = rising_roots(excess, lambda x: np.full_like(x, wrong), LOW, HIGH)
    assert found == pytest.approx([0.3, 0.5, 0.9], rel=1e-12)


@pytest.mark.filterwarnings("error")
def test_a_slope_too_flat_to_divide_by_is_no_warning():
    """5e-324 is the smallest number there is: the step is beyond all numbers, and nobody needs to hear of it."""
    found = rising_roots(excess, lambda x: np.full_like(x, 5e-324), LOW, HIGH)
    assert found == pytest.approx([0.3, 0.5, 0.9], rel=1e-12)


@pytest.mark.parametrize("place", range(3))
def test_a_root_asked_alone_has_the_same_digits(place):
    alone = rising_roots(lambda x: x**3 - CUBES[place], slope, LOW[:1], HIGH[:1])
    assert alone[0] == rising_roots(excess, slope, LOW, HIGH)[place]


def test_a_root_at_an_end_of_its_enclosure():
    """x - 0 from 0 on, and x - 1 up to 1."""
    found = rising_roots(lambda x: x - np.array([0.0, 1.0]), np.ones_like, np.zeros(2), np.ones(2))
    assert found == pytest.approx([0, 1], abs=1e-15)
