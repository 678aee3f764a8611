"""Moments stamped and typed, with the offset of the site; uptake time from them."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry import site
from registry.entry import times
from registry.entry.uptake_time import uptake_time

BERLIN = ZoneInfo("Europe/Berlin")
#: Central European Time was an hour ahead of UTC before 2026-03-29 01:00 UTC, two hours after it (Directive 2000/84/EC).
WINTER, SUMMER = date(2026, 1, 15), date(2026, 6, 30)


def test_a_stamp_says_the_local_time_and_its_offset():
    assert (
        times.stamp(datetime(2026, 1, 15, 8, 5, 7, 900_000, tzinfo=UTC), BERLIN)
        == "2026-01-15T09:05:07+01:00"
    )


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("9:05", "2026-06-30T09:05:00+02:00"),
        ("09:05:30", "2026-06-30T09:05:30+02:00"),
        ("0905", "2026-06-30T09:05:00+02:00"),
        (" 9.05 ", "2026-06-30T09:05:00+02:00"),
    ],
)
def test_a_typed_time_is_one_of_the_day(text, cell):
    assert times.typed(text, SUMMER, BERLIN) == cell


@pytest.mark.parametrize("text", ["", "soon", "25:00", "9:60", "12:30:61", "905", "12:3"])
def test_what_is_no_time_is_none(text):
    assert times.typed(text, WINTER, BERLIN) is None


@pytest.mark.parametrize(("day", "text"), [(date(2026, 10, 25), "02:30"), (date(2026, 3, 29), "02:30")])
def test_a_time_that_occurs_twice_or_never_carries_no_offset(day, text):
    assert times.typed(text, day, BERLIN) == f"{day}T02:30:00"


@given(st.datetimes(datetime(2020, 1, 1), datetime(2035, 1, 1), timezones=st.just(UTC)))
def test_a_stamp_is_the_moment_to_the_second(moment):
    read = times.moment(times.stamp(moment, BERLIN))

    assert read == moment.replace(microsecond=0)


@pytest.mark.parametrize(
    ("cell", "shown"),
    [("2026-06-30T09:05:30+02:00", "09:05:30"), ("2026-06-30T23:00:00", "23:00:00"), ("soon", ""), ("", "")],
)
def test_the_clock_shows_the_local_time_whatever_its_offset(cell, shown):
    assert times.clock(cell) == shown


def test_only_a_moment_without_an_offset_is_one_of_the_zone():
    assert times.moment("2026-06-30T09:05", BERLIN) == datetime(2026, 6, 30, 7, 5, tzinfo=UTC)
    assert times.moment("2026-06-30T09:05-03:00", BERLIN) == datetime(2026, 6, 30, 12, 5, tzinfo=UTC)
    assert times.moment("2026-06-30T09:05") == datetime(2026, 6, 30, 9, 5)
    assert times.moment("soon", BERLIN) is None


def test_minutes_go_on_over_a_change_of_clocks():
    begin = datetime(2026, 3, 29, 1, 50, tzinfo=BERLIN)
    # 01:50 is 00:50 UTC, 03:10 in summer time is 01:10 UTC: 20 minutes.
    assert times.minutes(begin, datetime(2026, 3, 29, 3, 10, tzinfo=BERLIN)) == 20


@pytest.fixture
def local():
    return site.parse(site.template())


@pytest.mark.parametrize(("minute", "place"), [(44, "before"), (45, "within"), (90, "within"), (91, "after")])
def test_the_place_in_the_local_window(local, minute, place):
    # The template's window for F-18 FDG is 45 to 90 min.
    injected = datetime(2026, 6, 30, 8, 0, tzinfo=UTC)
    found = uptake_time(
        local, "F-18 FDG", injected, injected.replace(hour=8 + minute // 60, minute=minute % 60)
    )

    assert (found.minutes, found.place) == (minute, place)


def test_half_of_the_activity_is_left_after_a_half_life(local):
    # F-18: 109.77 min (European Pharmacopoeia 01/2008:50700), which is 109 min 46.2 s.
    injected = datetime(2026, 6, 30, 8, 0, tzinfo=UTC)
    found = uptake_time(
        local, "F-18 FDG", injected, datetime(2026, 6, 30, 9, 49, 46, 200_000, tzinfo=UTC), 100.0
    )

    assert found.left == pytest.approx(0.5, abs=1e-6)
    assert found.activity_mbq == pytest.approx(50.0, abs=1e-4)


def test_nothing_is_said_of_the_activity_where_the_times_run_backwards_or_no_nuclide_is_known(local):
    injected = datetime(2026, 6, 30, 8, 0, tzinfo=UTC)

    assert uptake_time(local, "F-18 FDG", injected, injected.replace(hour=7)).left is None
    assert uptake_time(local, "other", injected, injected.replace(hour=9)).left is None


def test_nothing_has_decayed_at_the_moment_of_injection(local):
    injected = datetime(2026, 6, 30, 8, 0, tzinfo=UTC)
    found = uptake_time(local, "F-18 FDG", injected, injected, 100.0)

    assert (found.minutes, found.nuclide, found.left, found.activity_mbq) == (0, "F-18", 1, 100)


def test_a_tracer_that_is_not_in_the_list_has_no_nuclide(local):
    injected = datetime(2026, 6, 30, 8, 0, tzinfo=UTC)
    found = uptake_time(local, "", injected, injected, 100.0)

    assert (found.nuclide, found.left, found.activity_mbq, found.place) == ("", None, None, "")
