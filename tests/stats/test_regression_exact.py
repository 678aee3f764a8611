"""Regressions that can be worked out by hand, at the ends of what is allowed, and what is refused."""

from __future__ import annotations

from math import log, nan

import pytest

from registry.stats.regression import GeeLogistic, firth_logistic, gee_logistic


@pytest.mark.parametrize(
    ("first", "second"),
    [((0, 1), (0, 1)), ((0, 1), (0, 20)), ((0, 1), (50, 51)), ((1, 1), (3, 403)), ((0, 3), (500, 503))],
)
def test_groups_of_any_size_have_half_an_event_more_of_each_kind(first, second):
    """Saturated model: the odds of a group are (events + 1/2) / (others + 1/2), also of one unit alone."""
    (x1, n1), (x2, n2) = first, second
    found = firth_logistic(
        [0] * n1 + [1] * n2, [1] * x1 + [0] * (n1 - x1) + [1] * x2 + [0] * (n2 - x2), limits_of=[]
    )
    logits = [log((x + 0.5) / (n - x + 0.5)) for x, n in (first, second)]
    assert found.coef == pytest.approx([logits[0], logits[1] - logits[0]], abs=1e-6)


def test_one_row_has_an_intercept():
    """1 of 1: log(1.5 / 0.5)."""
    assert firth_logistic([[1]], [1], limits_of=[]).coef == pytest.approx([log(3)])


def test_a_predictor_that_changes_nothing_has_a_p_of_1():
    """1 of 4 in both groups: the odds ratio is 1, and so is the likelihood without it."""
    assert firth_logistic([0] * 4 + [1] * 4, [1, 0, 0, 0] * 2).p[1] == pytest.approx(1, abs=1e-5)


def test_where_the_marginal_model_does_not_converge_counts_caution_and_reason_remain():
    assert gee_logistic([0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 1, 1], [1, 1, 2, 3, 4, 5]) == GeeLogistic(
        None,
        None,
        None,
        None,
        None,
        5,
        True,
        "fewer than 40 clusters: the robust standard error is too small",
        "the fit does not converge: a predictor may separate the outcomes",
    )


def test_the_marginal_model_says_how_many_patients_and_whether_an_intercept_was_put_first():
    with_ones = gee_logistic([[1], [1], [1], [1]], [0, 1, 0, 1], [1, 1, 2, 3])
    without = gee_logistic([0, 0, 1, 1], [0, 1, 0, 1], [1, 2, 3, 4])
    assert (with_ones.clusters, with_ones.intercept_added, with_ones.reason) == (3, False, "")
    assert (without.clusters, without.intercept_added, without.reason) == (4, True, "")


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [
        ([1, 2], [0, -1], "y must be at least 0; got -1"),
        ([1, 2], [1, 2], "y must be 0 or 1; got 2"),
        ([1, nan], [0, 1], "X must be finite numbers; got nan"),
        ([], [], "a regression needs rows; got none"),
        ([[1, 2], [2, 4], [3, 6]], [0, 1, 0], "predictors depend on one another: leave one out"),
    ],
)
def test_the_column_at_fault_is_named(x, y, said):
    with pytest.raises(ValueError, match=f"^{said}$"):
        firth_logistic(x, y)
