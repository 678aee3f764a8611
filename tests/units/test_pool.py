"""Units brought together, from their counts alone."""

from __future__ import annotations

import pytest

from registry.units.pool import pool


def test_the_crude_proportion_has_wilson_limits_at_95_per_cent():
    """4 of 20: (0.2 + 1.9207 / 20 +- 1.96 sqrt(0.2 x 0.8 / 20 + 3.8415 / 1600)) / (1 + 3.8415 / 20)."""
    made = pool([(1, 10), (3, 10)])

    assert (made.x, made.n, made.crude, made.confidence) == (4, 20, 0.2, 0.95)
    assert (made.crude_lower, made.crude_upper) == pytest.approx((0.08066, 0.41602), abs=1e-5)


def test_who_has_no_procedure_is_no_unit():
    assert pool([(1, 10), (0, 0), (3, 10)]).units == 2


def test_without_a_procedure_there_is_no_proportion():
    made = pool([(0, 0)])

    assert (made.units, made.crude, made.crude_lower) == (0, None, None)


@pytest.mark.parametrize(
    ("counts", "why"),
    [
        ([(1, 10), (2, 10), (3, 10), (1, 10)], "fewer than 5 units"),
        ([(1, 10), (2, 10), (3, 10), (1, 10), (2, 10)], ""),
        ([(0, 10), (0, 10)], ""),
    ],
)
def test_why_no_rate_of_a_further_unit_is_predicted(counts, why):
    """Of four, of five, and where there is no model that could predict."""
    assert pool(counts).why_no_prediction == why
