"""Median, quartiles and interval of the median by hand."""

import pytest

from registry.stats.quantiles import spread


def test_quantiles_interpolate_between_order_statistics():
    """Ten values 0 to 9: position q * 9."""
    found = spread([9, 0, 1, 2, 3, 4, 5, 6, 7, 8])

    assert (found.n, found.median, found.q1, found.q3) == (10, 4.5, 2.25, 6.75)
    assert (found.p5, found.p95) == pytest.approx((0.45, 8.55))


def test_the_interval_of_the_median_is_made_of_values():
    """2 P(at most 1 of 10 below) = 2 * 11/1024 = 0.0215; at most 2 would be 0.109: ranks 2 and 9."""
    found = spread(range(10))

    assert (found.lower, found.upper) == (1, 8)


def test_five_values_are_too_few_for_an_interval():
    """2 * 0.5^5 = 0.0625 > 0.05; six have one."""
    assert (spread(range(5)).lower, spread(range(5)).upper) == (None, None)
    assert (spread(range(6)).lower, spread(range(6)).upper) == (0, 5)


def test_no_values():
    found = spread([])

    assert (found.n, found.median, found.lower) == (0, None, None)


def test_a_missing_value_is_refused():
    with pytest.raises(ValueError, match="values must be finite"):
        spread([1.0, float("nan")])
