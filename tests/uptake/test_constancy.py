"""Sources on a day and count rates over time, from drawn rows; arithmetic by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.uptake import constancy, sources
from tests.measures.build import at, day

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.measures.build import Drawn

MADE = "TIMESTAMP '2026-01-01', 'test', 1"


@pytest.fixture
def equipped(drawn: Drawn) -> Iterator[Drawn]:
    yield drawn
    drawn.run("DELETE FROM main.sources")
    drawn.run("DELETE FROM main.constancy")


def source(drawn: Drawn, key: str, nuclide: str, mbq: float, on: int, state: str | None = "in_use") -> None:
    drawn.run(
        f"INSERT INTO main.sources (source_id, site, nuclide, activity_mbq, reference_on, state, recorded_at, author, batch_id) "
        f"VALUES (?, 'A', ?, ?, ?, ?, {MADE})",
        [key, nuclide, mbq, day(on), state],
    )


def check(drawn: Drawn, key: str, on: int, counts: float, seconds: float = 100, scanner: str = "S1") -> None:
    drawn.run(
        f"INSERT INTO main.constancy (check_id, site, scanner, done_at, kind, source_id, counts, seconds, recorded_at, author, batch_id) "
        f"VALUES (?, 'A', ?, ?, 'counts', 'LINE', ?, ?, {MADE})",
        [key, scanner, at(on), counts, seconds],
    )


def test_a_source_on_a_day(equipped: Drawn):
    """Worked value: of Ge-68 (270.95 d) 0.79434 is left after 90 days; 18.5 MBq are 14.695."""
    source(equipped, "LINE", "Ge-68", 18.5, 0)
    (one,) = sources(equipped, on=day(90))

    assert one.left == pytest.approx(0.79434, abs=5e-6)
    assert one.activity_mbq == pytest.approx(18.5 * 0.79434, abs=1e-4)
    assert one.half_life == "270.95 d; ENSDF evaluation and ICRP Publication 107"


@pytest.mark.parametrize(
    ("nuclide", "on", "reason"),
    [("other", 90, "no half-life for this nuclide"), ("Ge-68", 91, "the reference day lies after it")],
)
def test_why_a_source_has_no_activity(equipped: Drawn, nuclide: str, on: int, reason: str):
    source(equipped, "LINE", nuclide, 18.5, on)
    (one,) = sources(equipped, on=day(90))

    assert (one.activity_mbq, one.left, one.reason) == (None, None, reason)


def test_an_empty_state_is_said_to_be_one(equipped: Drawn):
    source(equipped, "LINE", "Ge-68", 18.5, 0, None)

    assert sources(equipped, on=day(0))[0].state == "not recorded"


def test_a_count_rate_is_that_of_the_decayed_source(equipped: Drawn):
    """10 MBq: 100,000 counts in 100 s are 100 per s and MBq; after 90 d 7.9434 MBq, 79,434 counts are as many."""
    source(equipped, "LINE", "Ge-68", 10.0, 0)
    check(equipped, "K1", 0, 100_000)
    check(equipped, "K2", 90, 79_434)
    found = constancy(equipped, as_of=day(100))

    assert [one.cps_per_mbq for one in found] == pytest.approx([100, 100], rel=1e-5)
    assert [one.relative for one in found] == pytest.approx([1, 1], rel=1e-5)


def test_a_loss_shows_against_the_median_of_the_scanner(equipped: Drawn):
    """Rates 100, 92, 100 of one scanner: 0.92 of its median; another scanner has a median of its own."""
    source(equipped, "LINE", "Ge-68", 10.0, 0)
    for place, counts in enumerate((100_000, 92_000, 100_000)):
        check(equipped, f"K{place}", 0, counts)
    check(equipped, "other", 0, 50_000, scanner="S2")
    found = {one.check_id: one.relative for one in constancy(equipped, as_of=day(0))}

    assert found == pytest.approx({"K0": 1, "K1": 0.92, "K2": 1, "other": 1})


def test_a_later_check_does_not_count(equipped: Drawn):
    source(equipped, "LINE", "Ge-68", 10.0, 0)
    check(equipped, "K1", 5, 100_000)

    assert constancy(equipped, as_of=day(4)) == []
