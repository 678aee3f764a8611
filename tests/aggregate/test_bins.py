"""A median known from bins alone: it lies where they say, whatever the values and however they are shared out."""

from __future__ import annotations

from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.aggregate.bins import bin_of, binned, coarser, median_between, together

VALUES = st.floats(-5e4, 5e4, allow_nan=False).map(lambda one: round(one, 3))
PLACES = st.lists(st.lists(VALUES, max_size=40), min_size=1, max_size=5)


@pytest.mark.parametrize(
    ("value", "bounds"),
    [
        # The ladder is 1, 1.5, 2, 3, 5, 7 times a power of ten, the lower bound included.
        (1.0, (1.0, 1.5)),
        (1.49, (1.0, 1.5)),
        (7.0, (7.0, 10.0)),
        (9.99, (7.0, 10.0)),
        (10.0, (10.0, 15.0)),
        (42.0, (30.0, 50.0)),
        (-42.0, (-50.0, -30.0)),
        (0.0, (0.0, 0.0)),
        (0.0004, (0.0, 0.001)),
    ],
)
def test_which_bin_a_value_lies_in(value, bounds):
    assert bin_of(value) == pytest.approx(bounds)


@given(VALUES)
def test_a_value_lies_in_its_bin(value):
    lower, upper = bin_of(value)
    assert lower <= value <= upper


@given(PLACES)
def test_the_median_of_all_lies_between_the_bounds(places):
    everything = [value for one in places for value in one]
    found = median_between(together([binned(one) for one in places]))
    if not everything:
        assert found is None
        return
    low, high = found
    assert low <= median(everything) <= high


@given(PLACES, st.integers(2, 6))
def test_it_does_so_when_each_place_puts_its_small_bins_together(places, least):
    kept = [one for one in places if len(one) >= least]
    everything = [value for one in kept for value in one]
    found = median_between(together([coarser(binned(one), least) for one in kept]))
    if everything:
        low, high = found
        assert low <= median(everything) <= high


@given(st.lists(VALUES, max_size=60), st.integers(2, 6))
def test_no_bin_is_small_and_none_is_lost(values, least):
    made = coarser(binned(values), least)

    assert all(count >= least for *_, count in made)
    assert sum(count for *_, count in made) == (len(values) if len(values) >= least else 0)


def test_an_odd_number_gives_one_bin():
    """Values 3, 4, 12, 40, 41: the third is 12, between 10 and 15."""
    assert median_between(binned([40, 3, 12, 41, 4])) == (10.0, 15.0)


def test_an_even_number_gives_the_middle_of_two():
    """Values 3, 4, 12, 40: between (3 + 10) / 2 and (5 + 15) / 2."""
    assert median_between(binned([3, 4, 12, 40])) == (6.5, 10.0)
