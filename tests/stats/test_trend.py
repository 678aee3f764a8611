"""The median slope, against the worked example of its paper."""

import pytest

from registry.stats.trend import median_slope


def test_the_worked_example():
    """Sen 1968: t 1 2 3 4 10 12 18, x 9 15 19 20 45 55 78: slope 4, 93 % limits 26/7 and 35/8."""
    found = median_slope([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78], 0.93, fewest=7)

    assert found.slope == pytest.approx(4.0)
    assert (found.lower, found.upper) == pytest.approx((26 / 7, 35 / 8))


def test_one_value_far_out_does_not_turn_it():
    """Ten points on a line of slope 2, one of them moved by 1000."""
    values = [2.0 * one for one in range(10)]
    values[4] += 1000

    assert median_slope(range(10), values).slope == pytest.approx(2.0)


@pytest.mark.parametrize("at", [range(9), [3] * 12])
def test_too_few_points_have_no_slope(at):
    found = median_slope(at, range(len(at)))

    assert found.slope is None
    assert "fewer than 10 checks on different days" in found.reason


def test_lengths_must_agree():
    with pytest.raises(ValueError, match="length"):
        median_slope([1, 2], [1])
