"""Running sums of a yes/no outcome: run lengths by hand, steps by hand, and what is refused.

From a rate of 1/3 towards 2/3 an event adds log 2 and any other unit takes log 2 off, so
that the sum walks on whole steps and its run length is that of a walk kept above 0.
"""

from __future__ import annotations

from math import inf, log

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.sparse import csc_array, eye_array
from scipy.sparse.linalg import spsolve

from registry.stats.cusum import (
    bernoulli_cusum,
    bernoulli_cusum_arl,
    bernoulli_cusum_run_length,
    lattice_cusum,
    lattice_cusum_run_length,
    lattice_step,
    risk_adjusted_scores,
)

STEP = log(2)


@pytest.mark.parametrize(
    ("steps", "rate", "arl"),
    [
        # the first event signals: 1 / p
        (0.5, 0.3, 1 / 0.3),
        (1, 0.3, 1 / 0.3),
        # two events more than others: (1 + p) / p^2
        (1.0004, 0.3, 1.3 / 0.09),
        (2, 0.3, 1.3 / 0.09),
        # three more: E0 = 2 + E1, E1 = 1 + (E2 + E0) / 2, E2 = 1 + E1 / 2, so that E1 = 10
        (2.0004, 0.5, 12),
        (3, 0.5, 12),
    ],
)
def test_the_run_length_of_even_steps_is_that_of_a_walk(steps, rate, arl):
    assert bernoulli_cusum_arl(1 / 3, 2 / 3, steps * STEP, rate) == pytest.approx(arl)


def test_two_events_within_34_units_signal():
    """From 2 % towards 4 %: up log 2 = 0.6931, down 0.0206; limit 0.7.

    33 units without an event leave 0.0127 of the first one, and a second signals; the 34th
    leaves nothing. E0 = 1/p + E1, and E1 = (1 - q^34)/p + q^34 E0.
    """
    soon = 1 - 0.98**34
    assert bernoulli_cusum_arl(0.02, 0.04, 0.7, 0.02) == pytest.approx((1 + soon) / 0.02 / soon)


def test_a_step_between_two_heights_is_shared_by_them():
    """From 0.1 % up by 692.5 downward steps to a limit of 1500: exact on a lattice of half steps.

    There an event goes up by 1385, any other unit down by 2, and 3000 signals. A whole step more or
    less would change the mean by 1.5 in 1000.
    """
    p0, size = 0.001, 3000
    p1 = brentq(lambda p: log(p / p0) / -log((1 - p) / (1 - p0)) - 692.5, 0.0019, 0.0021, xtol=1e-16)
    limit = -1500 * log((1 - p1) / (1 - p0))
    height = np.arange(size)
    rises = height + 1385 < size
    onward = csc_array(
        (
            np.concatenate([np.full(size, 1 - p0), np.full(rises.sum(), p0)]),
            (
                np.concatenate([height, height[rises]]),
                np.concatenate([np.maximum(height - 2, 0), height[rises] + 1385]),
            ),
        ),
        shape=(size, size),
    )
    expected = spsolve((eye_array(size) - onward).tocsc(), np.ones(size))[0]

    assert bernoulli_cusum_arl(p0, p1, limit, p0) == pytest.approx(expected, rel=5e-4)


def test_the_median_of_a_sum_with_uneven_steps():
    """The first event of 0.3 signals: 0.7^2 = 0.49 are left after two units; the mean is 1 / 0.3."""
    found = bernoulli_cusum_run_length(0.02, 0.04, 0.6, 0.3)
    assert (found.arl, found.median) == (pytest.approx(1 / 0.3), 2)


def test_a_whole_step_for_less_than_a_doubling():
    """m = 3 where p (1 - p)^2 is that of 1/4: p^2 - 1.75 p + 0.5625 = 0, p = (1.75 - sqrt(0.8125)) / 2.

    From 0.25 to 0.4 the ratio of the steps is log 1.6 / log 1.25 = 2.1, so m = floor(3.1).
    """
    step = lattice_step(0.25, 0.4)
    assert (step.m, step.p1) == (3, pytest.approx((1.75 - 0.8125**0.5) / 2))


@pytest.mark.parametrize("limit", [0, -1, inf, float("nan")])
def test_the_limit_of_a_sum_is_a_number_above_0(limit):
    with pytest.raises(ValueError, match=f"^limit must be a number above 0; got {limit}$"):
        bernoulli_cusum([0, 1], 0.1, 0.2, limit)


def test_a_limit_ten_million_steps_high_is_out_of_reach():
    """A step down takes about 1e-7 off; from 0 to 3 there are thirty million of them."""
    with pytest.raises(ValueError, match="^limit is out of reach for these rates; got 3$"):
        bernoulli_cusum_arl(1e-7, 2e-7, 3, 1e-7)


@pytest.mark.parametrize("rate", [0, 1, 1.5])
@pytest.mark.parametrize(
    "run_length",
    [
        lambda rate: bernoulli_cusum_arl(0.1, 0.2, 1, rate),
        lambda rate: bernoulli_cusum_run_length(0.1, 0.2, 1, rate),
        lambda rate: lattice_cusum_run_length(2, 1, rate),
    ],
)
def test_a_run_length_needs_a_true_rate_that_can_be(run_length, rate):
    with pytest.raises(ValueError, match=f"^p must lie between 0 and 1, both ends excluded; got {rate}$"):
        run_length(rate)


@pytest.mark.parametrize(
    ("p0", "p1", "said"),
    [
        (0, 0.1, "p0 must lie between 0 and 1, both ends excluded; got 0"),
        (0.1, 1, "p1 must lie between 0 and 1, both ends excluded; got 1"),
        (0.1, 0.1, "p1 must be above p0; got 0.1 and 0.1"),
    ],
)
def test_rates_out_of_order_are_named(p0, p1, said):
    with pytest.raises(ValueError, match=f"^{said}$"):
        bernoulli_cusum([0, 1], p0, p1, 1)


@pytest.mark.parametrize(
    ("outcomes", "said"),
    [
        ([0, -1], "outcomes must be at least 0; got -1"),
        ([1, 2], "outcomes must be 0 or 1; got 2"),
    ],
)
def test_the_outcome_at_fault_is_named(outcomes, said):
    with pytest.raises(ValueError, match=f"^{said}$"):
        bernoulli_cusum(outcomes, 0.1, 0.2, 1)


@pytest.mark.parametrize(
    ("m", "limit", "said"),
    [
        (1, 5, "m must be a whole number of 2 or more; got 1"),
        (2.5, 5, "m must be a whole number of 2 or more; got 2.5"),
        (3, 0, "limit must be a whole number of 1 or more; got 0"),
        (3, 2.5, "limit must be a whole number of 1 or more; got 2.5"),
    ],
)
def test_the_step_or_limit_at_fault_is_named(m, limit, said):
    with pytest.raises(ValueError, match=f"^{said}$"):
        lattice_cusum([0, 1], m, limit)


@pytest.mark.parametrize(
    ("risks", "ratio", "said"),
    [
        ([0.1, float("nan")], 2, "^risks must be finite numbers; got nan$"),
        ([0.1, 1], 2, "^risks must lie between 0 and 1, both ends excluded$"),
        ([0.1], 2, "same length"),
        ([0.1, 0.2], 0, "^odds_ratio must be positive and other than 1; got 0$"),
        ([0.1, 0.2], 1, "^odds_ratio must be positive and other than 1; got 1$"),
    ],
)
def test_the_risk_or_ratio_at_fault_is_named(risks, ratio, said):
    with pytest.raises(ValueError, match=said):
        risk_adjusted_scores(risks, [1, 0], ratio)
