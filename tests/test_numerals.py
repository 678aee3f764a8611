"""Numbers as the sentences and tables print them."""

from __future__ import annotations

import pytest

from registry.numerals import grouped, signed


@pytest.mark.parametrize(
    ("number", "shown"),
    [(0, "0"), (999, "999"), (1000, "1\u202f000"), (2816.4, "2\u202f816"), (1234567, "1\u202f234\u202f567")],
)
def test_thousands_stand_apart_by_a_space_that_does_not_break(number, shown):
    assert grouped(number) == shown


@pytest.mark.parametrize(
    ("value", "shown"), [(0.04, "0.0"), (-0.04, "0.0"), (1.25, "+1.2"), (-3.0, "\u22123.0"), (10.0, "+10.0")]
)
def test_a_difference_has_a_sign_unless_it_rounds_to_0(value, shown):
    assert signed(value) == shown


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [(-0.4, 0, "0"), (-0.6, 0, "\u22121"), (0.004, 2, "0.00"), (0.006, 2, "+0.01")],
)
def test_whether_it_rounds_to_0_is_judged_at_the_decimals_shown(value, decimals, shown):
    assert signed(value, decimals) == shown
