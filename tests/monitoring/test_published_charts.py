"""Published charts, drawn into a registry and asked for with the functions that the pages call."""

from __future__ import annotations

import json
from datetime import date
from itertools import pairwise
from math import exp
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from registry import monitoring
from registry.monitoring.model import RiskModel
from tests.measures.many import Group, draw

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = date(2026, 1, 1)
PUBLISHED = {
    row["id"]: row
    for row in json.loads(
        (Path(__file__).parents[1] / "published" / "statistics_checks.json").read_text("utf-8")
    )
}
FIRST_YEAR = 2015


def month(number: int) -> date:
    """The tenth of the month with that number, from 0."""
    return date(FIRST_YEAR + number // 12, number % 12 + 1, 10)


def by_month(drawn: Drawn, row: dict[str, object], **asked: object) -> tuple[monitoring.Point, ...]:
    """The samples of a published chart as months, in the way the page Monitoring asks for them."""
    x, n = row["input"]["x"], row["input"]["n"]  # type: ignore[index]
    draw(drawn, [Group(events, n, month(number)) for number, events in enumerate(x)])
    made = monitoring.cumulative(drawn, "tissue_obtained", as_of=AS_OF, **asked)  # type: ignore[arg-type]
    return monitoring.points(made.watched, made.accepted.rate, "month")


@pytest.mark.parametrize("name", ["qc.p_chart.cans", "qc.p_chart_revised.cans"])
def test_the_fraction_nonconforming_chart_of_the_text_book(drawn: Drawn, name: str):
    """Montgomery: centre 0.2313, limits 0.0524 and 0.4102; without samples 15 and 23: 0.215, 0.0407, 0.3893."""
    row = PUBLISHED[name]
    found = by_month(drawn, row)

    assert len(found) == len(row["input"]["x"])
    for one in found:
        assert one.three_errors == pytest.approx((row["printed"]["lcl"], row["printed"]["ucl"]), abs=5e-5)


def test_the_samples_beyond_the_limits_of_the_text_book(drawn: Drawn):
    """Samples 15 and 23, and no other."""
    found = by_month(drawn, PUBLISHED["qc.p_chart.cans"])

    assert [number for number, one in enumerate(found, 1) if one.beyond_errors] == [15, 23]


def test_limits_lie_around_an_accepted_rate_that_is_given(drawn: Drawn):
    """0.1 and n = 50: 0.1 + 3 sqrt(0.1 x 0.9 / 50) = 0.2273; below, 0."""
    found = by_month(drawn, PUBLISHED["qc.p_chart.cans"], accepted=0.1)

    assert found[0].three_errors == pytest.approx((0.0, 0.2273), abs=5e-5)


def test_the_steps_of_the_risk_adjusted_chart_as_printed(drawn: Drawn):
    """Steiner 2000, page 446: 0.67 and 0.26 for an event at S = 0 and 50, -0.43 and -0.024 without.

    Logit p = -3.68 + 0.077 S, odds doubled. S is drawn as the size, 0.77 per 10 mm.
    """
    steps = [(0, 1), (50, 1), (50, 0), (0, 0)]
    draw(drawn, [Group(event, 1, date(2020, 1, 1 + i), size_mm=s) for i, (s, event) in enumerate(steps)])
    model = RiskModel(
        {"assessment": ("4",), "approach": ("not recorded",), "guidance": ("pet_tracer",)},
        0.0,
        (-3.68, 0.77, 0.0),
        (),
        0,
        0,
        date(2020, 1, 1),
        date(2020, 1, 1),
        (),
    )
    made = monitoring.adjusted(
        drawn, "tissue_obtained", as_of=AS_OF, watched_from=date(2020, 1, 1), limit=4.5, model=model
    )
    heights = (0.0, *made.path)

    printed = dict(zip([(0, 0), (0, 1), (50, 0), (50, 1)], (-0.024, 0.669, -0.433, 0.26), strict=True))
    assert [b - a for a, b in pairwise(heights)] == pytest.approx([printed[one] for one in steps], abs=5e-4)


def test_the_expected_events_are_those_of_the_kept_model(drawn: Drawn):
    """Two at S = 0 and two at S = 50: 2 / (1 + exp(3.68)) + 2 / (1 + exp(3.68 - 3.85))."""
    draw(drawn, [Group(1, 2, date(2020, 1, 1), size_mm=s) for s in (0, 50)])
    model = RiskModel(
        {"assessment": ("4",), "approach": ("not recorded",), "guidance": ("pet_tracer",)},
        0.0,
        (-3.68, 0.77, 0.0),
        (),
        0,
        0,
        date(2020, 1, 1),
        date(2020, 1, 1),
        (),
    )
    made = monitoring.adjusted(
        drawn, "tissue_obtained", as_of=AS_OF, watched_from=date(2020, 1, 1), limit=4.5, model=model
    )

    expected = made.ratio.E
    assert expected == pytest.approx(2 / (1 + exp(3.68)) + 2 / (1 + exp(3.68 - 3.85)))
    assert made.ratio.observed == 2


def test_runs_about_the_median_of_the_text_book_chart(drawn: Drawn):
    """Counted by hand on the 30 samples of the text book (median 10.5 of 50).

    Sides: + + - - - - + - + - - - + + + - - - + + + + + + - + - + - -. Longest run 6 (samples
    19 to 24), 13 crossings. For 30 points log2(30) + 3 = 7.9, rounded 8, and the 5 % quantile of
    29 tosses is 10: nothing unusual.
    """
    found = monitoring.about_the_median(by_month(drawn, PUBLISHED["qc.p_chart.cans"]))

    assert (found.used, found.longest, found.ends, found.crossings) == (30, 6, (19, 24), 13)
    assert (found.longest_usual, found.crossings_usual) == (8, 10)
    assert not found.is_long
    assert not found.is_seldom_crossed


def test_a_period_without_a_fall_is_not_outside_because_the_limit_is_interpolated(drawn: Drawn):
    """All 20 of 20 at an accepted 95 %: 0.95 ** 20 = 36 % likely."""
    draw(drawn, [Group(20, 20, month(0)), Group(19, 20, month(1))])
    made = monitoring.cumulative(drawn, "tissue_obtained", as_of=AS_OF, accepted=0.4)
    first = monitoring.points(made.watched, 0.95, "month")[0]

    assert first.limits is not None
    assert first.limits[-1] < first.rate == 1.0
    assert not first.beyond
