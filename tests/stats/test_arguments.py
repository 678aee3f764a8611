"""What is refused, and which value the sentence names."""

from __future__ import annotations

import numpy as np
import pytest

from registry.stats.arguments import events_of_trials, numbers, same_length, whole_counts


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (["two"], r"lengths must be numbers; got \['two'\]"),
        ([1.0, float("nan")], "lengths must be finite numbers; got nan"),
        ([1.0, float("inf")], "lengths must be finite numbers; got inf"),
        ([3.0, 2.0, 1.5], "lengths must be at least 2; got 1.5"),
    ],
)
def test_the_first_wrong_number_is_named(values, said):
    with pytest.raises(ValueError, match=said):
        numbers(values, "lengths", minimum=2.0)


def test_a_number_equal_to_the_minimum_is_allowed():
    assert numbers([2.0], "lengths", minimum=2.0) == 2.0


def test_without_a_minimum_any_finite_number_is_allowed():
    assert list(numbers([-7.5, 0.0], "change")) == [-7.5, 0.0]


@pytest.mark.parametrize(("values", "named"), [([1.0, 2.5], "2.5"), ([1.0, 0.5], "0.5")])
def test_a_fraction_is_no_count(values, named):
    with pytest.raises(ValueError, match=f"events must be whole numbers; got {named}"):
        whole_counts(values, "events")


def test_columns_of_one_length_have_that_length():
    assert same_length(first=np.zeros(4), last=np.ones(4)) == 4


@pytest.mark.parametrize("lengths", [(1, 2), (2, 1), (2, 2, 3)])
def test_columns_of_other_lengths_are_named(lengths):
    columns = {name: np.zeros(length) for name, length in zip("abc", lengths, strict=False)}
    said = ", ".join(f"{name} {column.size}" for name, column in columns.items())
    with pytest.raises(ValueError, match=f"columns must have the same length; got {said}"):
        same_length(**columns)


@pytest.mark.parametrize("shape", [(), (2, 2)])
def test_a_column_has_one_dimension(shape):
    with pytest.raises(ValueError, match=f"table must be one-dimensional; got {len(shape)} dimensions"):
        same_length(table=np.zeros(shape))


def test_the_pair_with_too_many_events_is_named():
    with pytest.raises(ValueError, match=r"events must lie in 0..trials; got 4 of 3"):
        events_of_trials([3, 4], [3, 3])


def test_one_number_of_trials_serves_all_events():
    x, n = events_of_trials([0, 1, 2], 2)
    assert (list(x), list(n)) == ([0, 1, 2], [2, 2, 2])


def test_shapes_that_do_not_fit_are_named():
    with pytest.raises(ValueError, match=r"same shape; got \(2,\), \(3,\)"):
        events_of_trials([1, 1], [1, 1, 1])
