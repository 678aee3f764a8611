"""One unit against the others: Fisher's own table, and the chance of any among several."""

from __future__ import annotations

from math import nan

import pytest

from registry.stats.monitoring import funnel_limits
from registry.stats.outlying import against_others, chance_of_any, smaller_tail


def test_two_units_are_fishers_table_of_the_lady_tasting_tea():
    """Fisher 1935: 3 of 4 against 1 of 4; two-sided 34 of 70 tables are no more probable."""
    found = against_others([3, 1], [4, 4])

    assert found.p == pytest.approx([34 / 70, 34 / 70])


def test_a_large_unit_is_compared_with_the_others_alone():
    """30 of 100 against 10 of 100 and 20 of 100: the others have 30 of 200."""
    found = against_others([30, 10, 20], [100, 100, 100])

    assert found.rate[0] == pytest.approx(30 / 200)
    assert found.expected[0] == pytest.approx(15.0)


def test_a_unit_with_less_than_a_tenth_stays_in_the_rate_it_is_compared_with():
    """9 of 1009 procedures: the rate is that of all 1009."""
    found = against_others([5, 100], [9, 1000])

    assert found.rate[0] == pytest.approx(105 / 1009)
    assert found.rate[1] == pytest.approx(5 / 9)


def test_a_unit_with_just_a_tenth_is_compared_with_the_others_alone():
    """10 of 100 procedures: the others have 18 of 90."""
    assert against_others([5, 18], [10, 90]).rate[0] == pytest.approx(18 / 90)


def test_units_come_in_columns():
    with pytest.raises(ValueError, match="one-dimensional"):
        against_others(1, 2)


@pytest.mark.parametrize(("events", "tail"), [(2, 56), (8, 56), (5, 638)])
def test_the_smaller_tail_counts_the_number_itself(events, tail):
    """Of ten tosses: 1 + 10 + 45 = 56 of 1024 have at most two heads, 638 at most five."""
    assert smaller_tail([events], [10], 0.5) == pytest.approx([tail / 1024])


@pytest.mark.parametrize("rate", [0.0, 1.0, -0.1])
def test_a_rate_at_its_ends_has_no_tails(rate):
    with pytest.raises(ValueError, match="rate must lie between 0 and 1"):
        smaller_tail([0], [10], rate)


def test_a_unit_without_others_is_compared_with_nothing():
    found = against_others([3, 0], [10, 0])

    assert found.p == pytest.approx([nan, nan], nan_ok=True)


def test_twelve_units_at_95_per_cent():
    assert chance_of_any(12, 0.95) == pytest.approx(0.4596, abs=5e-5)


def test_no_unit_cannot_lie_outside():
    assert chance_of_any(0, 0.95) == 0


@pytest.mark.parametrize(("units", "level"), [(-1, 0.95), (3, 0.0), (3, 1.0)])
def test_nonsense_is_refused(units, level):
    with pytest.raises(ValueError, match="must"):
        chance_of_any(units, level)


@pytest.mark.parametrize(
    ("n", "levels", "said"),
    [
        ([0, 5], (0.025, 0.975), "n must be at least 1"),
        ([5], (0.025, 1.0), "levels must lie between 0 and 1"),
        ([5], (0.0, 0.975), "levels must lie between 0 and 1"),
    ],
)
def test_one_impossible_size_or_level_among_others_is_named(n, levels, said):
    with pytest.raises(ValueError, match=said):
        funnel_limits(n, 0.1, levels)
