"""Dates and times: what is stored for a text, and which texts are held.

Expected values come from Python's own numbers, calendar and zoneinfo, and for the nights on
which clocks change from the rule of the European Union: the last Sunday of March and of
October at 01:00 UTC (Directive 2000/84/EC; from memory). In Lisbon that is 01:00 to 02:00 of
local time both times.
"""

from __future__ import annotations

import calendar
import re
from datetime import UTC, date, datetime, timedelta, timezone
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from registry.intake import Options, accept
from registry.store import Registry
from tests.build import TODAY, received

if TYPE_CHECKING:
    from collections.abc import Callable

    from registry.imports.received import Received

from tests.intake.cells import CLOCK, LISBON, few, many, send, stored

# -- dates -----------------------------------------------------------------------


@given(many(st.dates(date(1900, 1, 1), date(2200, 12, 31))))
@example([date(1900, 1, 1), date(2024, 2, 29), date(2000, 2, 29)])
@few
def test_a_date_is_stored_as_it_was_written(shared: Registry, days: list[date]):
    keys, _ = send(shared, "operators", [{"since": day.isoformat()} for day in days])
    assert stored(shared, "operators", keys, "since") == [(day,) for day in days]


def _is_calendar_date(text: str) -> bool:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return False
    try:
        return date.fromisoformat(text).year >= 1900
    except ValueError:
        return False


@given(
    many(
        st.one_of(
            st.from_regex(r"\A(19|20)[0-9]{2}[-/. ]?[0-3]?[0-9][-/. ]?[0-3]?[0-9]\Z"),
            st.from_regex(r"\A[0-3]?[0-9][-/.][0-3]?[0-9][-/.]((19|20)[0-9]{2}|[0-9]{2})\Z"),
            st.from_regex(r"\A(19|20)[0-9]{2}-[01][0-9]-[0-3][0-9]\Z"),
        ),
        most=120,
    )
)
@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_nothing_but_a_calendar_date_in_iso_form_is_a_date(shared: Registry, texts: list[str]):
    _, report = send(shared, "operators", [{"since": text} for text in texts], dry_run=True)
    refused = {p.line - 2 for p in report.problems}
    assert refused == {n for n, text in enumerate(texts) if not _is_calendar_date(text)}


NO_DATE = [
    "2025-02-30",
    "2023-02-29",
    "1900-02-29",
    "2025-13-01",
    "2025-00-10",
    "2025-3-10",
    "2025/03/10",
    "20250310",
    "10.03.2025",
    "03/04/2025",
    "2025-W10-1",
    "2025-069",
    "2025-03-10T09:30",
    "0025-03-10",
    "1899-12-31",
    "infinity",
    "-infinity",
    "epoch",
    "today",
    "now",
    "45000",
]


@pytest.mark.parametrize("text", [*NO_DATE, "2025-03-10 (BC)", "10 March 2025"])
def test_what_is_no_date_is_held(shared: Registry, text: str):
    _, report = send(shared, "operators", [{"since": text}], dry_run=True)
    assert [(p.column, p.line) for p in report.problems] == [("since", 2)]


@pytest.mark.parametrize("text", ["03/04/2025", "3.4.2025", "03/04/25"])
def test_a_date_that_reads_in_two_ways_is_said_to(shared: Registry, text: str):
    _, report = send(shared, "operators", [{"since": text}], dry_run=True)
    assert (report.problems[0].rule, "can be read in two ways" in report.problems[0].message) == (
        "ambiguous_date",
        True,
    )


# -- times -----------------------------------------------------------------------

offsets = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
instants = st.builds(
    lambda moment, zone: moment.replace(tzinfo=UTC).astimezone(zone),
    st.datetimes(datetime(1970, 1, 2), datetime(2037, 12, 30)).map(
        lambda moment: moment.replace(second=0, microsecond=0)
    ),
    offsets,
)


@given(many(instants))
@few
def test_a_time_with_an_offset_lands_on_the_local_day(shared: Registry, moments: list[datetime]):
    keys, _ = send(shared, "constancy", [CLOCK | {"done_at": moment.isoformat()} for moment in moments])
    local = [moment.astimezone(LISBON) for moment in moments]
    expected = [(one.replace(tzinfo=None), one.utcoffset() // timedelta(minutes=1)) for one in local]
    assert stored(shared, "constancy", keys, "done_at, done_at_offset_min") == expected


@pytest.mark.parametrize(
    ("text", "local", "offset"),
    [
        # Summer time in Lisbon is UTC+1, so half past eleven at night UTC is the next day there.
        ("2025-06-30T23:30Z", "2025-07-01 00:30", 60),
        ("2025-07-01T00:30+02:00", "2025-06-30 23:30", 60),
        ("2025-01-15T23:30Z", "2025-01-15 23:30", 0),
        ("2025-01-15T20:30:15-0500", "2025-01-16 01:30:15", 0),
        ("2025-07-01 09:30", "2025-07-01 09:30", 60),
        ("2025-07-01T09:30:15", "2025-07-01 09:30:15", 60),
    ],
)
def test_the_same_moment_in_other_writings(shared: Registry, text: str, local: str, offset: int):
    keys, _ = send(shared, "constancy", [CLOCK | {"done_at": text}])
    assert stored(shared, "constancy", keys, "done_at, done_at_offset_min") == [
        (datetime.fromisoformat(local), offset)
    ]


def last_sunday(year: int, month: int) -> date:
    last = date(year, month, calendar.monthrange(year, month)[1])
    return last - timedelta(days=(last.weekday() + 1) % 7)


@pytest.mark.parametrize("in_place", [False, True], ids=["staged", "read in place"])
@pytest.mark.parametrize(
    ("month", "rule", "before", "after"), [(3, "time_never", 0, 60), (10, "time_twice", 60, 0)]
)
def test_the_hour_that_clocks_skip_or_repeat_is_held(
    registry: Registry,
    as_files: Callable[..., Received],
    in_place: bool,
    month: int,
    rule: str,
    before: int,
    after: int,
):
    days = [last_sunday(year, month) for year in range(2019, 2027)]
    minutes = ["00:00", "00:59", "01:00", "01:30", "01:59", "02:00", "23:59"]
    texts = [f"{day}T{minute}" for day in days for minute in minutes]
    rows = {"constancy": [CLOCK | {"check_id": f"K{n}", "done_at": text} for n, text in enumerate(texts)]}
    sent = as_files(rows) if in_place else received(rows)
    report = accept(registry, sent, author="coordinator", today=TODAY, options=Options(held_share_max=1.0))
    within = {n for n, text in enumerate(texts) if text[11:13] == "01"}
    assert {(p.line - 2, p.column, p.rule) for p in report.problems} == {(n, "done_at", rule) for n in within}
    found = dict(registry.rows("SELECT check_id, done_at_offset_min FROM constancy"))
    assert found == {
        f"K{n}": before if text[11:13] == "00" else after for n, text in enumerate(texts) if n not in within
    }


def test_an_hour_that_occurs_twice_is_told_apart_by_its_offset(shared: Registry):
    # Also beside a row that gives none, and is held for it.
    texts = [
        "2025-10-26T01:30+01:00",
        "2025-10-26T01:30:00+00:00",
        "2025-10-26T00:30Z",
        "2025-10-26T01:30:00Z",
    ]
    keys, _ = send(shared, "constancy", [CLOCK | {"done_at": text} for text in [*texts, "2025-10-26T01:30"]])
    half_past_one = datetime(2025, 10, 26, 1, 30)
    found = stored(shared, "constancy", keys, "done_at, done_at_offset_min")
    assert found == [*((half_past_one, offset) for offset in (60, 0, 60, 0)), None]


NO_TIME = [
    "2025-03-10T24:00",
    "2025-03-10T24:00:00",
    "2025-03-10T24:00+01:00",
    "2025-03-10T25:00",
    "2025-03-10T09:60",
    "2025-03-10T09:30:60",
    "2025-03-10T9:30",
    "2025-03-10T0930",
    "2025-03-10T09.30",
    "2025-03-10T09",
    "2025-03-10t09:30",
    "2025-03-10T09:30+02",
    "2025-03-10T09:30+15:00",
    "2025-03-10T09:30+99:00",
    "2025-03-10T09:30+01:60",
    "2025-03-10T09:30 UTC",
    "2025-03-10T09:30Z+01:00",
    "2025/03/10 09:30",
    "10.03.2025 09:30",
    "2025-02-30T10:00",
    "2025-02-30T10:00Z",
    "1899-12-31T23:00",
    "infinity",
    "09:30",
]


@pytest.mark.parametrize("text", NO_TIME)
def test_what_is_no_time_is_held(shared: Registry, text: str):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": text}], dry_run=True)
    assert [(p.column, p.line) for p in report.problems] == [("done_at", 2)]


def test_hour_24_is_answered_with_the_next_day(shared: Registry):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": "2025-03-10T24:00:00"}], dry_run=True)
    assert (report.problems[0].rule, report.problems[0].hint) == ("hour_24", "Write 00:00 of the next day.")


# -- fractions of a second -------------------------------------------------------


@pytest.mark.parametrize("in_place", [False, True], ids=["staged", "read in place"])
@pytest.mark.parametrize(
    ("text", "microseconds"),
    [("15.5", 500_000), ("15.25", 250_000), ("15.000001", 1), ("15.0", 0), ("59.999999", 999_999)],
)
def test_decimals_of_a_second_are_kept_without_an_offset_too(
    registry: Registry, as_files: Callable[..., Received], in_place: bool, text: str, microseconds: int
):
    rows = {"constancy": [CLOCK | {"check_id": "K1", "done_at": f"2025-07-10T09:30:{text}"}]}
    sent = as_files(rows) if in_place else received(rows)
    report = accept(registry, sent, author="coordinator", today=TODAY)
    at = datetime(2025, 7, 10, 9, 30, int(text[:2]), microseconds)
    assert report.problems == ()
    assert registry.rows("SELECT done_at, done_at_offset_min FROM constancy") == [(at, 60)]


@pytest.mark.parametrize("text", ["2025-10-26T01:30:15.5", "2025-03-30T01:30:15.5"])
def test_decimals_do_not_hide_an_hour_that_clocks_repeat_or_skip(shared: Registry, text: str):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": text}], dry_run=True)
    assert [p.rule for p in report.problems] == ["time_twice" if "-10-" in text else "time_never"]


@pytest.mark.parametrize("text", ["09:30:15.1234567", "09:30:15,5", "09:30:15."])
def test_other_decimals_of_a_second_are_held_with_what_to_write(shared: Registry, text: str):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": f"2025-03-10T{text}"}], dry_run=True)
    assert [(p.rule, "one to six decimals" in p.message) for p in report.problems] == [("fraction", True)]


@pytest.mark.parametrize("text", ["09: 0:15", "09:3 :15", "09:30: 5", "09: 0", "09:30 15", "09:30+15"])
def test_a_time_with_a_gap_is_held_and_not_cut_short(shared: Registry, text: str):
    """DuckDB 2 casts each of these to a time without what follows the gap."""
    _, report = send(shared, "constancy", [CLOCK | {"done_at": f"2025-03-10T{text}"}], dry_run=True)
    assert [p.column for p in report.problems] == ["done_at"]


@pytest.mark.parametrize("text", ["09:30:15.5x", "09:30:15.+5", "09:30:15. 5", "09:30.5", "09:30:15.5+"])
def test_what_only_looks_like_decimals_is_held(shared: Registry, text: str):
    _, report = send(shared, "constancy", [CLOCK | {"done_at": f"2025-03-10T{text}"}], dry_run=True)
    assert [p.column for p in report.problems] == ["done_at"]
