"""Months and quarters of what is watched: where they begin and end, what they hold, how fast it came."""

from __future__ import annotations

from datetime import date, timedelta
from math import sqrt

import polars as pl
import pytest

from registry.measures import load_measures
from registry.monitoring.periods import about_the_median, last_quarters, point, points, volumes
from registry.monitoring.watched import Watched

MEASURE = load_measures()["discordance"]


def watched(days: list[date], events: list[int] | None = None, since: date | None = None) -> Watched:
    during = pl.DataFrame(
        {
            "procedure_id": [f"P{number:03}" for number in range(len(days))],
            "day": days,
            "event": events or [0] * len(days),
        },
        schema_overrides={"day": pl.Date, "event": pl.Int64},
    )
    return Watched(MEASURE, False, during.clear(), during, since, {}, date(2026, 6, 30), "stamp")


def test_quarters_are_cut_to_what_is_watched():
    """From 10 February, the last procedure on 5 May; two events of three in the first quarter."""
    days = [date(2025, 2, 10), date(2025, 3, 31), date(2025, 3, 31), date(2025, 4, 1), date(2025, 5, 5)]
    made = points(watched(days, [1, 0, 1, 0, 0], date(2025, 2, 10)), 0.1)

    assert [(one.period, one.first, one.x, one.n) for one in made] == [
        ("2025-Q1", date(2025, 2, 10), 2, 3),
        ("2025-Q2", date(2025, 4, 1), 0, 2),
    ]


def test_months_without_a_procedure_stand_between_the_others():
    days = [date(2024, 11, 30), date(2024, 12, 31), date(2025, 2, 1)]
    made = points(watched(days), 0.1, "month")

    assert [(one.period, one.first, one.n) for one in made] == [
        ("2024-11", date(2024, 11, 30), 1),
        ("2024-12", date(2024, 12, 1), 1),
        ("2025-01", date(2025, 1, 1), 0),
        ("2025-02", date(2025, 2, 1), 1),
    ]
    assert (made[2].rate, made[2].low, made[2].limits, made[2].beyond) == (None, None, None, False)


def test_nothing_watched_has_no_periods():
    assert (points(watched([]), 0.1), volumes(watched([]))) == ((), ())


def spread(counts: list[int]) -> list[date]:
    """So many procedures in each quarter of 2025; the last falls on the 90th day of its quarter."""
    firsts = [date(2025, 1, 1), date(2025, 4, 1), date(2025, 7, 1)]
    days = []
    for first, count in zip(firsts, counts, strict=False):
        days += [first] * (count - 1) + [first + timedelta(days=89)]
    return days


def test_volumes_are_per_30_days_with_limits_of_three_errors():
    """9 in the 90 days of the first quarter, 18 in 90 of the second: 27 in six times 30 days are 4.5.

    Each of them has three times 30 days: 4.5 -+ 3 sqrt(4.5 / 3).
    """
    first, second = volumes(watched(spread([9, 18]), since=date(2025, 1, 1)))

    assert (first.period, first.n, first.days, first.per_30_days) == ("2025-Q1", 9, 90, pytest.approx(3))
    assert (second.period, second.n, second.days, second.per_30_days) == ("2025-Q2", 18, 90, pytest.approx(6))
    assert (first.lower, first.upper) == pytest.approx((4.5 - 3 * sqrt(1.5), 4.5 + 3 * sqrt(1.5)))
    assert not (first.beyond or second.beyond)


def test_a_quarter_beyond_the_limits_is_marked_and_no_other():
    """30, 30 and 60 in 90 days each (91 in the second): about 13.3 -+ 6.3 per 30 days, and 10, 9.9, 20."""
    made = volumes(watched(spread([30, 30, 60]), since=date(2025, 1, 1)))

    assert [one.beyond for one in made] == [False, False, True]


def test_one_period_has_no_pace_to_be_set_beside():
    assert volumes(watched(spread([9]), since=date(2025, 1, 1))) == ()


@pytest.mark.parametrize(
    ("end", "name", "first"),
    [
        (date(2025, 3, 31), "2025-Q1", date(2025, 1, 1)),
        (date(2025, 4, 1), "2025-Q2", date(2025, 4, 1)),
        (date(2025, 12, 31), "2025-Q4", date(2025, 10, 1)),
        (date(2025, 1, 1), "2025-Q1", date(2025, 1, 1)),
    ],
)
def test_the_last_quarter_is_that_of_the_day(end, name, first):
    assert last_quarters(end, 1) == ((name, first),)


def test_eight_quarters_are_two_years():
    found = last_quarters(date(2025, 4, 1))

    assert len(found) == 8
    assert found[0] == ("2023-Q3", date(2023, 7, 1))


def test_runs_are_of_the_periods_with_enough_procedures():
    """Rates 0, 1, 1, 0.5 of 1, 1, 1 and 2: all four lie around 0.75; with two at least one is left, on itself."""
    found = [
        point(f"2025-0{number}", date(2025, number, 1), x, n, 0.5)
        for number, (x, n) in enumerate([(0, 1), (1, 1), (1, 1), (1, 2)], 1)
    ]

    assert (about_the_median(found).median, about_the_median(found).used) == (0.75, 4)
    assert (about_the_median(found, 2).median, about_the_median(found, 2).used) == (0.5, 0)


def test_the_pace_counts_both_days():
    """11 procedures from 1 to 10 January are 11 in ten days; watched since 22 December, in twenty."""
    days = [date(2025, 1, 1)] * 10 + [date(2025, 1, 10)]

    assert watched(days).per_year == pytest.approx(11 * 365.25 / 10)
    assert watched(days, since=date(2024, 12, 22)).per_year == pytest.approx(11 * 365.25 / 20)
    assert watched(days[:1]).per_year is None
    assert watched([date(2025, 1, 1)] * 2).per_year == pytest.approx(2 * 365.25)
