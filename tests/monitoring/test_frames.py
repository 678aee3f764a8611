"""What the drawings of a watched measure are made of."""

from __future__ import annotations

from datetime import date

import polars as pl
import pytest

from registry.monitoring import point
from registry.monitoring.cumulative import Signal
from registry.monitoring.frames import EXACT, path_frame, period_frame
from tests.monitoring.test_periods import watched

FIRST = date(2025, 1, 1)


def test_exact_limits_stand_in_rising_order():
    """20 of 50 at an accepted 10 % is beyond any limit."""
    found = point("2025-Q1", FIRST, 20, 50, 0.1)
    (row,) = period_frame([found], 10).to_dicts()

    assert (row["period"], row["x"], row["n"], row["rate"], row["outside"]) == ("2025-Q1", 20, 50, 0.4, True)
    assert (row["low"], row["high"]) == (found.low, found.high)
    (low, high), (near_low, near_high) = EXACT
    assert (row[low], row[near_low], row[near_high], row[high]) == found.limits


def test_limits_of_three_errors():
    """0.1 and n = 50: 0 and 0.1 + 3 sqrt(0.1 x 0.9 / 50) = 0.2273; 11 of 50 lie inside, 12 outside."""
    inside, outside = period_frame(
        [point("one", FIRST, 11, 50, 0.1), point("two", FIRST, 12, 50, 0.1)], 10, exact=False
    ).to_dicts()

    assert (inside["lower 3 errors"], inside["upper 3 errors"]) == pytest.approx((0.0, 0.2273), abs=5e-5)
    assert (inside["outside"], outside["outside"]) == (False, True)
    assert not any("99.8" in name for name in inside)


@pytest.mark.parametrize(("n", "shown"), [(10, True), (9, False), (0, False)])
@pytest.mark.parametrize("exact", [True, False])
def test_below_the_minimum_there_are_counts_only(n: int, shown: bool, exact: bool):
    """All with the event at an accepted 10 %: outside, where it is looked at."""
    (row,) = period_frame([point("one", FIRST, n, n, 0.1)], 10, exact=exact).to_dicts()

    assert (row.pop("x"), row.pop("n"), row.pop("period")) == (n, n, "one")
    assert row.pop("outside") is shown
    assert {value is not None for value in row.values()} == {shown}


def test_a_path_is_numbered_from_one_and_marked_where_it_signalled():
    days = [date(2025, 1, 1), date(2025, 1, 2), date(2025, 1, 3)]
    signal = Signal("P001", days[1], days[0], ("P000", "P001"), ("P001",))
    frame = path_frame(watched(days), [1.0, 2.0, 0.5], [signal])

    assert frame.rows() == [
        (1, days[0], "P000", 1.0, False),
        (2, days[1], "P001", 2.0, True),
        (3, days[2], "P002", 0.5, False),
    ]
    assert frame.columns == ["number", "day", "procedure_id", "height", "signal"]


def test_a_path_of_nothing_has_no_rows():
    frame = path_frame(watched([]), [], [])

    assert (frame.height, frame.schema["height"]) == (0, pl.Float64)


def test_a_period_without_procedures_has_counts_only_whatever_the_minimum():
    (row,) = period_frame([point("one", FIRST, 0, 0, 0.1)], 0).to_dicts()

    assert (row["n"], row["rate"], row["upper 95"], row["outside"]) == (0, None, None, False)


def test_many_periods_below_the_minimum_may_come_first():
    found = [point(str(number), FIRST, 0, 1, 0.1) for number in range(150)]
    frame = period_frame([*found, point("last", FIRST, 20, 50, 0.1)], 10)

    assert frame["rate"].to_list() == [None] * 150 + [0.4]
