"""Points of a run chart about their median: runs and crossings counted by hand, limits printed elsewhere."""

from __future__ import annotations

import pytest

from registry.stats.runs import Runs, runs

# Off the median 5: - - + + + - + - - +; the third point lies on it.
POINTS = (1, 2, 5, 9, 8, 7, 3, 9, 1, 2, 6)


def test_points_on_the_median_are_not_used():
    found = runs(POINTS)
    assert (found.median, found.used) == (5, 10)


def test_longest_run_is_numbered_among_all_points():
    found = runs(POINTS)
    assert (found.longest, found.ends) == (3, (4, 6))


def test_crossings_are_changes_of_side():
    """- - | + + + | - | + | - - | +."""
    assert runs(POINTS).crossings == 5


def test_a_run_goes_on_over_a_point_on_the_median():
    """1, then 5 on the median, then 2; the equally long 9, 8 comes later."""
    found = runs([1, 5, 2, 9, 8])
    assert (found.longest, found.ends) == (2, (1, 3))


def test_first_of_all_points_is_no_crossing():
    """The last point lies on the other side than the first; nothing comes before the first."""
    found = runs([1, 2, 8, 9])
    assert (found.crossings, found.longest, found.ends) == (1, 2, (1, 2))


@pytest.mark.parametrize(
    ("used", "longest", "crossings"), [(10, 6, 2), (12, 7, 3), (16, 7, 4), (20, 7, 6), (24, 8, 8)]
)
def test_limits_of_a_chart(used, longest, crossings):
    """Anhoej and Olesen 2014, PLoS One 9:e113825, table of limits (from memory)."""
    found = runs(range(used))
    assert (found.longest_usual, found.crossings_usual) == (longest, crossings)


def test_a_run_above_the_limit_is_long():
    """Eight low, eight high: limit 7 for 16 points."""
    assert runs([0] * 8 + [1] * 8).is_long is True


def test_a_run_at_the_limit_is_not_long():
    """Seven low, seven high: limit 7 for 14 points too."""
    assert runs([0] * 7 + [1] * 7).is_long is False


def test_fewer_crossings_than_the_limit_are_seldom():
    """One crossing of 10 points, limit 2."""
    assert runs([0] * 5 + [1] * 5).is_seldom_crossed is True


def test_as_many_crossings_as_the_limit_are_not_seldom():
    """Two crossings of 10 points, limit 2."""
    assert runs([0] * 2 + [1] * 5 + [0] * 3).is_seldom_crossed is False


def test_nine_points_have_no_limits():
    """Two of the eleven lie on the median 1."""
    found = runs([0] * 4 + [1] * 2 + [2] * 5)
    assert (found.used, found.longest_usual, found.crossings_usual) == (9, None, None)
    assert found.reason == "fewer than 10 points"


def test_without_limits_nothing_is_unusual():
    found = runs([0] * 4 + [1] * 2 + [2] * 5)
    assert (found.is_long, found.is_seldom_crossed) == (False, False)


def test_all_points_on_the_median():
    found = runs([3, 3, 3])
    assert (found.used, found.longest, found.ends, found.crossings) == (0, 0, None, 0)


def test_no_points():
    assert runs([]) == Runs(None, 0, 0, None, 0, None, None, "no points")
