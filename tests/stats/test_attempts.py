"""First attempt against last."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest, quantile_test

from registry.stats.attempts import compare_lengths

#: Changes -4, -1, 0, +2, -6.
FIRST, LAST = (9.0, 5.0, 3.0, 1.0, 8.0), (5.0, 4.0, 3.0, 3.0, 2.0)


def test_pairs_are_counted_by_where_the_last_lay():
    found = compare_lengths(FIRST, LAST)
    assert (found.nearer, found.unchanged, found.further, found.n) == (3, 1, 1, 5)


def test_a_move_below_a_millimetre_is_a_move():
    """Half a millimetre nearer and half a millimetre further."""
    found = compare_lengths([1.0, 1.0], [0.5, 1.5])
    assert (found.nearer, found.unchanged, found.further) == (1, 0, 1)


def test_medians_of_first_last_and_change():
    """9 5 3 1 8 -> 5; 5 4 3 3 2 -> 3; -6 -4 -1 0 2 -> -1, which is not 3 - 5."""
    found = compare_lengths(FIRST, LAST)
    assert (found.first.radius, found.last.radius, found.change) == (5, 3, -1)


def test_limits_of_the_change_are_those_of_scipy():
    rng = np.random.default_rng(3)
    first, last = rng.gamma(3, 3, 60), rng.gamma(3, 1, 60)
    interval = quantile_test(last - first, q=0, p=0.5).confidence_interval(0.95)
    assert compare_lengths(first, last).change_limits == pytest.approx(
        (interval.low, interval.high), abs=1e-9
    )


def test_limits_of_the_share_are_those_of_scipy():
    found = compare_lengths(FIRST, LAST, 0.9)
    expected = binomtest(3, 5).proportion_ci(0.9, method="wilson")
    assert (found.nearer_share, *found.nearer_limits) == pytest.approx((0.6, expected.low, expected.high))


def test_five_pairs_have_no_limits_of_the_median():
    """0.5^5 = 0.031 > 0.025."""
    assert compare_lengths(FIRST, LAST).change_limits == (None, None)


def test_equal_lengths_from_other_coordinates_are_equal():
    """0.1 + 0.2 is not 0.3 in binary: a difference of 5.6e-17 is no move."""
    assert compare_lengths([0.1 + 0.2], [0.3]).unchanged == 1


def test_no_pairs():
    found = compare_lengths([], [])
    assert (found.n, found.change, found.nearer_share, found.nearer_limits) == (0, None, None, (None, None))


def test_lengths_must_pair():
    with pytest.raises(ValueError, match="same length; got first 2, last 1"):
        compare_lengths([1, 2], [1])


@pytest.mark.parametrize(("first", "last", "name"), [([-1], [1], "first"), ([1], [-1], "last")])
def test_a_length_is_not_negative(first, last, name):
    with pytest.raises(ValueError, match=f"{name} must be at least 0; got -1"):
        compare_lengths(first, last)
