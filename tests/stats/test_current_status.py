"""One look at each unit: the share that never falls."""

from __future__ import annotations

import numpy as np
import pytest

from registry.stats.interval_censoring import current_status, turnbull


def test_adjacent_violators_are_pooled():
    """0, 1, 0, 1, 1 at times 1 to 5: the 1 before the 0 falls, and both become 1/2."""
    found = current_status([1, 2, 3, 4, 5], [0, 1, 0, 1, 1])

    assert found.share.tolist() == [0, 0.5, 0.5, 1, 1]


def test_equal_looks_are_weighed_by_their_number():
    """3 of 4 at time 1, 0 of 2 at time 2: pooled 3/6."""
    found = current_status([1, 1, 1, 1, 2, 2], [1, 1, 1, 0, 0, 0])

    assert (found.time.tolist(), found.share.tolist()) == ([1, 2], [0.5, 0.5])


def test_it_is_what_the_intervals_come_to():
    """Turnbull's estimate of the same looks, each as (0, time] or beyond the time."""
    rng = np.random.default_rng(1)
    time = rng.integers(1, 12, 80).astype(float)
    event = (rng.exponential(6.0, 80) <= time).astype(int)
    found = current_status(time, event)
    other = turnbull(np.where(event, 0.0, time), np.where(event, time, np.inf))
    reached = dict(zip([until for _, until in other.innermost], np.cumsum(other.mass), strict=True))

    for until, share in reached.items():
        if np.isfinite(until):
            assert found.share[found.time == until][0] == pytest.approx(share, abs=1e-4)


def test_a_look_on_the_day_itself_is_a_look():
    """One of two at time 0, both at half a day."""
    found = current_status([0, 0, 0.5, 0.5], [1, 0, 1, 1])

    assert (found.time.tolist(), found.share.tolist()) == ([0, 0.5], [0.5, 1])


def test_units_are_counted_also_where_looks_coincide():
    assert current_status([1, 1, 2], [0, 1, 1]).n == 3


def test_no_units_have_no_looks():
    found = current_status([], [])

    assert (found.time.size, found.share.size, found.n) == (0, 0, 0)


def test_impossible_input_is_named():
    with pytest.raises(ValueError, match="event must be 0 or 1; got 2"):
        current_status([1.0], [2])


@pytest.mark.parametrize(
    ("time", "event", "said"),
    [
        ([1.0, 2.0], [1, 2], "event must be 0 or 1; got 2"),
        ([1.0, -2.0], [1, 0], "time must be at least 0"),
        ([1.0, 2.0], [1], "same length"),
    ],
)
def test_what_is_at_fault_is_named(time, event, said):
    with pytest.raises(ValueError, match=said):
        current_status(time, event)


@pytest.mark.parametrize(
    ("left", "right", "said"),
    [
        ([1.0, 3.0], [1.0, 2.0], "right must not lie before left; got 3 to 2"),
        ([1.0, 3.0], [2.0, np.nan], "right must be a number or infinite"),
    ],
)
def test_one_impossible_interval_among_others_is_named(left, right, said):
    with pytest.raises(ValueError, match=said):
        turnbull(left, right)
