"""Leak tests, expected counts, phantom errors and clocks, from drawn rows; arithmetic by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from registry.errors import SiteProblem
from registry.site import parse, template
from registry.uptake import (
    TOLERANCES,
    clock_checks,
    constancy,
    leak_tests,
    phantom_checks,
    phantom_trends,
    words,
)
from tests.measures.build import at, day

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.measures.build import Drawn

MADE = "TIMESTAMP '2026-01-01', 'test', 1"


@pytest.fixture
def equipped(drawn: Drawn) -> Iterator[Drawn]:
    before = drawn.site
    yield drawn
    drawn.site = before
    drawn.run("DELETE FROM main.sources")
    drawn.run("DELETE FROM main.constancy")


def state(drawn: Drawn, **tolerances: float) -> None:
    """What the service states in its site.toml."""
    drawn.site = replace(drawn.site, numbers={**drawn.site.numbers, **tolerances})


def source(
    drawn: Drawn, key: str, on: int = 0, tested: int | None = None, kept: str | None = "in_use"
) -> None:
    drawn.run(
        "INSERT INTO main.sources (source_id, site, nuclide, activity_mbq, reference_on, leak_test_on, state, recorded_at, author, batch_id) "
        f"VALUES (?, 'A', 'Ge-68', 10, ?, ?, ?, {MADE})",
        [key, day(on), None if tested is None else day(tested), kept],
    )


def check(drawn: Drawn, kind: str, on: int, scanner: str = "S1", **cells: object) -> None:
    names = "".join(f", {name}" for name in cells)
    marks = ", ?" * len(cells)
    drawn.run(
        f"INSERT INTO main.constancy (check_id, site, scanner, done_at, kind{names}, recorded_at, author, batch_id) "
        f"VALUES (?, 'A', ?, ?, ?{marks}, {MADE})",
        [drawn.key("K"), scanner, at(on), kind, *cells.values()],
    )


def count(drawn: Drawn, on: int, counts: float, scanner: str = "S1") -> None:
    check(drawn, "counts", on, scanner, source_id="LINE", counts=counts, seconds=100)


# -- leak tests ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "standing", "days"), [(281, "not due", 1), (282, "due today", 0), (283, "overdue", -1)]
)
def test_a_leak_test_is_due_the_interval_after_the_last(equipped: Drawn, on: int, standing: str, days: int):
    """Tested on day 100, every 182 days: due on day 282."""
    state(equipped, leak_test_days=182)
    source(equipped, "LINE", tested=100)
    (one,) = leak_tests(equipped, on=day(on))

    assert (one.due_on, one.standing, one.days) == (day(282), standing, days)


def test_without_a_test_the_interval_runs_from_the_reference_day(equipped: Drawn):
    state(equipped, leak_test_days=182)
    source(equipped, "LINE", on=10)

    assert leak_tests(equipped, on=day(50))[0].due_on == day(192)


def test_a_test_after_the_day_asked_for_is_not_known_on_it(equipped: Drawn):
    state(equipped, leak_test_days=182)
    source(equipped, "LINE", tested=100)
    (one,) = leak_tests(equipped, on=day(99))

    assert (one.tested_on, one.due_on) == (None, day(182))


def test_without_an_interval_nothing_is_due(equipped: Drawn):
    source(equipped, "LINE", tested=100)
    (one,) = leak_tests(equipped, on=day(5000))

    assert (one.due_on, one.standing) == (None, "no local interval")
    assert "has stated no interval" in words.leak_tests([one])[0]


def test_disposed_sources_are_left_out_and_stored_ones_are_not(equipped: Drawn):
    for key, kept in (("GONE", "disposed"), ("KEPT", "stored"), ("EMPTY", None)):
        source(equipped, key, kept=kept)

    assert [one.source_id for one in leak_tests(equipped, on=day(0))] == ["EMPTY", "KEPT"]


def test_the_longest_overdue_stands_first(equipped: Drawn):
    state(equipped, leak_test_days=30)
    for key, tested in (("LATE", 10), ("EARLY", 90), ("LATER", 0)):
        source(equipped, key, tested=tested)

    assert [one.source_id for one in leak_tests(equipped, on=day(100))] == ["LATER", "LATE", "EARLY"]


# -- counts ----------------------------------------------------------------------------


def test_expected_counts_follow_the_decay_of_the_source(equipped: Drawn):
    """Worked values: of Ge-68 0.92612 is left after 30 days, 0.79434 after 90, 0.39308 after 365."""
    source(equipped, "LINE")
    for _ in range(6):
        count(equipped, 0, 100_000)
    for on in (30, 90, 365):
        count(equipped, on, 50_000)
    found = constancy(equipped, as_of=day(400))[6:]

    assert [one.expected for one in found] == pytest.approx([92_612, 79_434, 39_308], abs=1)
    assert [one.ratio for one in found] == pytest.approx([50 / 92.612, 50 / 79.434, 50 / 39.308], rel=2e-5)


def test_the_first_six_checks_make_the_baseline(equipped: Drawn):
    """Median of 96, 98, 100, 100, 102, 104 thousand is 100; the loss that follows does not move it."""
    source(equipped, "LINE")
    for thousands in (96, 98, 100, 100, 102, 104, *[80] * 20):
        count(equipped, 0, 1000 * thousands)
    found = constancy(equipped, as_of=day(0))

    assert [one.baseline for one in found] == [True] * 6 + [False] * 20
    assert [one.ratio for one in found[6:]] == pytest.approx([0.8] * 20)


def test_counting_alone_gives_the_limits(equipped: Drawn):
    """100 counts: exact Poisson limits 81.36 and 121.63 (Garwood), so 0.8136 and 1.2163 of 100 expected."""
    source(equipped, "LINE")
    for _ in range(7):
        count(equipped, 0, 100)
    one = constancy(equipped, as_of=day(0))[-1]

    assert (one.ratio_lower, one.ratio_upper) == pytest.approx((0.8136, 1.2163), abs=5e-5)


def test_a_check_beyond_the_local_tolerance_is_outside(equipped: Drawn):
    state(equipped, counts_tolerance=0.05)
    source(equipped, "LINE")
    for counts in (*[100_000] * 6, 95_100, 94_900, 105_100):
        count(equipped, 0, counts)

    assert [one.outside for one in constancy(equipped, as_of=day(0))[6:]] == [False, True, True]


def test_without_a_tolerance_nothing_is_judged(equipped: Drawn):
    source(equipped, "LINE")
    count(equipped, 0, 1)
    count(equipped, 0, 100_000)

    assert {one.outside for one in constancy(equipped, as_of=day(0))} == {None}


# -- phantom ---------------------------------------------------------------------------


def phantom(drawn: Drawn, on: int, x: float, y: float = 0.0, z: float = 0.0, scanner: str = "S1") -> None:
    check(drawn, "targeting", on, scanner, error_x_mm=x, error_y_mm=y, error_z_mm=z)


def test_the_length_of_a_phantom_error(equipped: Drawn):
    """2, 3, 6: 4 + 9 + 36 = 49, so 7 mm."""
    state(equipped, phantom_tolerance_mm=7)
    phantom(equipped, 0, 2, 3, 6)
    phantom(equipped, 1, 2, 3, 6.1)

    found = phantom_checks(equipped, as_of=day(1))
    assert found[0].length_mm == pytest.approx(7.0)
    assert [one.outside for one in found] == [False, True]


def test_the_trend_of_a_growing_error(equipped: Drawn):
    """0.1 mm more every 36.525 days is 1 mm a year."""
    for number in range(12):
        phantom(equipped, round(36.525 * number), 1 + 0.1 * number)
    (one,) = phantom_trends(phantom_checks(equipped, as_of=day(500)))

    assert one.slope.slope == pytest.approx(1.0, rel=0.02)
    assert "the error changes with time" in words.phantom([one])[0]


def test_each_scanner_has_a_trend_and_a_mean_of_its_own(equipped: Drawn):
    for number, x in enumerate((1, 3)):
        phantom(equipped, number, x, scanner="S1")
        phantom(equipped, number, -x, 1, scanner="S2")
    found = phantom_trends(phantom_checks(equipped, as_of=day(5)))

    assert [(one.scanner, one.mean_mm, one.p) for one in found] == [
        ("S1", (2.0, 0.0, 0.0), None),
        ("S2", (-2.0, 1.0, 0.0), None),
    ]
    assert "No trend: fewer than 10 checks" in words.phantom(found)[0]


def test_an_incomplete_error_and_a_later_one_are_left_out(equipped: Drawn):
    check(equipped, "targeting", 0, error_x_mm=1.0)
    phantom(equipped, 5, 1)

    assert phantom_checks(equipped, as_of=day(4)) == []


# -- clocks ----------------------------------------------------------------------------


def test_what_a_clock_offset_does_to_an_activity(equipped: Drawn):
    """60 s of a half-life of 109.77 min: 2 ** (1 / 109.77) - 1 = 0.634 %; behind, 2 ** (-1 / 109.77) - 1."""
    state(equipped, clock_tolerance_s=60)
    for offset in (60.0, -60.0, 61.0):
        check(equipped, "clock", 0, clock_offset_s=offset)
    found = clock_checks(equipped, as_of=day(0))

    assert [one.shift for one in found[:2]] == pytest.approx([2 ** (1 / 109.77) - 1, 2 ** (-1 / 109.77) - 1])
    assert [one.outside for one in found] == [False, False, True]


# -- tolerances ------------------------------------------------------------------------


def test_no_tolerance_has_a_default():
    assert not set(TOLERANCES) & set(parse(template()).numbers)


def test_stated_tolerances_are_named_as_local(equipped: Drawn):
    state(equipped, counts_tolerance=0.05, clock_tolerance_s=30)
    said = words.tolerances(equipped)

    assert "Local tolerances of this service, from site.toml: counts within 5 %; clock within 30 s." in said
    assert "Not stated: leak test every, phantom error up to; without one nothing is judged." in said


def test_a_tolerance_out_of_range_is_refused():
    with pytest.raises(SiteProblem, match=r"counts_tolerance.*is not a number from 0.001 to 1"):
        parse(template().replace("# counts_tolerance = ...", "counts_tolerance = 5"))
