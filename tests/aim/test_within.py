"""Chance of a small error: closed forms of the normal vector, counts, words."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from scipy.stats import ncx2

from registry.aim.bases import PARTS
from registry.aim.within import sentence, within

#: Eight corners of a cube: mean 0, variance 8/7 of the edge's square on each axis, no covariance.
CORNERS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=np.float64)


def frame(errors: np.ndarray) -> pl.DataFrame:
    return pl.DataFrame(dict(zip(PARTS, errors.T, strict=True)))


def test_the_chance_is_that_of_a_normal_vector_with_their_mean_and_spread():
    """Sixteen errors: twice the corners times 3, moved by (1, 2, 2): variance 9 * 16/15, squared length of the mean 9."""
    errors = np.vstack([CORNERS, CORNERS]) * 3 + [1.0, 2.0, 2.0]
    variance = 9 * 16 / 15

    for one in within(frame(errors)):
        assert one.chance == pytest.approx(ncx2.cdf(one.reach_mm**2 / variance, 3, 9 / variance))


def test_turning_the_errors_changes_no_chance():
    """Unequal spread along turned axes: the length does not know in which directions it was measured."""
    errors = np.random.default_rng(3).normal(size=(40, 3)) * [1.0, 4.0, 2.0] + [1.0, 0.0, 2.0]
    angle = 0.7
    turn = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]]
    ) @ np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]])
    straight, turned = within(frame(errors)), within(frame(errors @ turn.T))

    assert [one.chance for one in turned] == pytest.approx([one.chance for one in straight], abs=1e-6)
    assert [one.x for one in turned] == [one.x for one in straight]


def test_counts_include_an_error_of_just_that_length():
    errors = np.array([[3.0, 4.0, 0.0], [3.0, 4.0, 0.1], [0.0, 0.0, 10.0]])
    five, ten = within(frame(errors))

    assert (five.x, five.n, ten.x) == (1, 3, 3)
    assert five.chance is None


def test_the_bootstrap_holds_the_truth_as_often_as_it_says():
    """Samples of 60 from one normal distribution: 40 intervals of 95 % miss the truth at most 7 times but for 1 in 1,000."""
    draw = np.random.default_rng(5)
    truth = ncx2.cdf(25 / 9, 3, 1 / 9)
    missed = 0
    for _ in range(40):
        (five, _) = within(frame(draw.normal(size=(60, 3)) * 3 + [1.0, 0.0, 0.0]))
        low, high = five.chance_limits
        assert low is not None
        assert high is not None
        missed += not low <= truth <= high
    assert missed <= 7


def test_words_give_counts_only_below_the_minimum():
    (five, _) = within(frame(CORNERS * 2))

    assert sentence(five, 9) == "Within 5 mm: 8 of 8; too few for more than counts."
    assert sentence(five, 8).startswith("Within 5 mm: 8 of 8, 100.0 % (")
