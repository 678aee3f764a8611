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


def test_the_number_of_points_is_told_with_and_without_a_slope():
    assert median_slope(range(10), range(10)).n == 10
    assert median_slope(range(9), range(9)).n == 9


def test_the_slope_is_not_the_intercept():
    """Two points, (1, 10) and (2, 13): slope 3, intercept 7; two are enough where two are asked for."""
    found = median_slope([1, 2], [10, 13], fewest=2)

    assert found.slope == pytest.approx(3.0)


def test_fewer_than_two_are_asked_for_in_vain():
    assert "fewer than 2 checks" in median_slope([1], [1], fewest=1).reason


def test_limits_are_wider_at_a_higher_level():
    """Sen 1968, the same example: 93 % limits 26/7 and 35/8; those of 60 % lie inside."""
    at, values = [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]
    narrow = median_slope(at, values, 0.6, fewest=7)

    assert narrow.lower is not None
    assert narrow.upper is not None
    assert 26 / 7 < narrow.lower <= 4.0 <= narrow.upper < 35 / 8


@pytest.mark.parametrize(
    ("at", "values", "name"), [([1, float("nan")], [1, 2], "at"), ([1, 2], [1, float("nan")], "values")]
)
def test_a_missing_number_is_named(at, values, name):
    with pytest.raises(ValueError, match=rf"^{name} "):
        median_slope(at, values)
