"""Numbers as the sentences and tables print them."""

from __future__ import annotations

import pytest

from registry.numerals import grouped, measured, measured_span, signed


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


@pytest.mark.parametrize(
    ("value", "unit", "written"),
    [
        (0.0, "mm", "0.0"),
        (0.204, "mm", "0.20"),
        (-0.204, "mm", "\u22120.20"),
        (-0.001, "mm", "0.00"),
        (-4.04, "mm", "\u22124.0"),
        (123.4, "mm", "123"),
        (14.0, "d", "14"),
        (14.5, "d", "14.5"),
    ],
)
def test_a_value_has_a_true_minus_and_none_before_a_zero(value, unit, written):
    assert measured(value, unit) == written


def test_a_span_of_measured_values_needs_both():
    assert measured_span(-0.4, 3.216, "mm") == "\u22120.40 to 3.2"
    assert measured_span(None, 3.2, "mm") == ""
