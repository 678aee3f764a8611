"""The weighted mean over procedures made by hand: scores, level, path and what lies behind a signal."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from importlib import import_module
from statistics import NormalDist, stdev

import numpy as np
import polars as pl
import pytest

from registry.errors import UsageProblem
from registry.monitoring.weighted import Weighted, _scores, weighted
from tests.monitoring.test_periods import watched

FIRST = date(2025, 1, 1)
NORMAL = NormalDist()
#: Of the score of each of 19 different values: their ranks over 20.
DEVIATION = stdev(NORMAL.inv_cdf(rank / 20) for rank in range(1, 20))


def rows(values: list[float], first: date) -> pl.DataFrame:
    days = [first + timedelta(days=number) for number in range(len(values))]
    keys = [f"{first:%m}-{number}" for number in range(len(values))]
    return pl.DataFrame(
        {"procedure_id": keys, "day": days, "value": values},
        schema_overrides={"day": pl.Date, "value": pl.Float64},
    )


def run(
    monkeypatch: pytest.MonkeyPatch, before: list[float], during: list[float], **asked: object
) -> Weighted:
    seen = replace(watched([]), before=rows(before, FIRST), during=rows(during, date(2025, 3, 1)))
    # The package hands on the function under the name of its module.
    monkeypatch.setattr(import_module("registry.monitoring.weighted"), "watch", lambda *_, **__: seen)
    return weighted(None, "a quantity", as_of=date(2026, 1, 1), **asked)  # type: ignore[arg-type]


def test_scores_are_those_of_the_middle_of_the_ranks():
    """Among 1, 2, 2, 4: places 0.5, 1, 2.5 and 4.5 of 5, none of them at an end."""
    found = _scores(np.array([0.0, 1.0, 2.0, 5.0]), np.array([1.0, 2.0, 2.0, 4.0]))

    assert found == pytest.approx([NORMAL.inv_cdf(share) for share in (0.1, 0.2, 0.5, 0.9)])


def test_the_usual_level_is_that_of_the_procedures_before(monkeypatch):
    """1 to 19: the median is 10, and 84.13 % do not reach 1 + 18 x 0.8413."""
    made = run(monkeypatch, [*map(float, range(19, 0, -1))], [10.0], watched_from=date(2025, 3, 1))

    assert (made.center, made.n, made.same) == (10.0, 19, False)
    assert made.shifted == pytest.approx(1 + 18 * NORMAL.cdf(1.0))
    assert made.design == "median 10 of 19, weight 0.05, limits 2.615 sd"


def test_without_a_first_day_it_is_that_of_the_watched_ones(monkeypatch):
    made = run(monkeypatch, [100.0] * 20, [*map(float, range(1, 20))])

    assert (made.center, made.n, made.same) == (10.0, 19, True)


def test_without_memory_path_and_limits_are_those_of_each_value(monkeypatch):
    """Value k of 1 to 19 has rank k / 20, and 1 + 18 k / 20 of the values do not exceed it."""
    made = run(
        monkeypatch,
        [*map(float, range(1, 20))],
        [10.0, 19.0, 1.0],
        watched_from=date(2025, 3, 1),
        smoothing=1.0,
        width=1.0,
    )

    assert made.path == pytest.approx((10.0, 1 + 18 * 0.95, 1 + 18 * 0.05))
    assert made.upper == pytest.approx([1 + 18 * NORMAL.cdf(DEVIATION)] * 3)
    assert made.lower == pytest.approx([1 + 18 * NORMAL.cdf(-DEVIATION)] * 3)


def test_run_lengths_without_memory(monkeypatch):
    """Each score alone: 1 over both tails beyond 2, and beyond 2 once the mean is 1."""
    made = run(
        monkeypatch,
        [*map(float, range(1, 20))],
        [10.0],
        watched_from=date(2025, 3, 1),
        smoothing=1.0,
        width=2.0,
    )

    assert made.in_control == pytest.approx(1 / (2 * NORMAL.cdf(-2)))
    assert made.after_shift == pytest.approx(1 / (NORMAL.cdf(-1) + NORMAL.cdf(-3)))


def test_a_signal_is_made_of_the_procedures_on_its_side_and_stands_once(monkeypatch):
    """Limits at one deviation of the scores, which 4 and 16 of 1 to 19 do not leave.

    Above the median from the second on, beyond at the third, and at the fourth without having
    been back; below it from the fifth on, beyond at the sixth, and again at the seventh.
    """
    made = run(
        monkeypatch,
        [*map(float, range(1, 20))],
        [9.0, 15.0, 19.0, 19.0, 9.0, 1.0, 1.0, 12.0],
        watched_from=date(2025, 3, 1),
        smoothing=1.0,
        width=1.0,
    )

    assert [(one.procedure_id, one.on, one.since, one.procedures, one.events) for one in made.signals] == [
        ("03-2", date(2025, 3, 3), date(2025, 3, 2), ("03-1", "03-2"), ()),
        ("03-5", date(2025, 3, 6), date(2025, 3, 5), ("03-4", "03-5"), ()),
    ]


@pytest.mark.parametrize(
    ("values", "behind"),
    [
        ([19.0], ("03-0",)),
        ([14.0, 19.0], ("03-0", "03-1")),
        ([9.0, 16.0], ("03-1",)),
        ([10.0, 16.0], ("03-1",)),
    ],
)
def test_a_signal_begins_with_the_first_on_its_side(monkeypatch, values, behind):
    """At half a deviation 14 of 1 to 19 is above the usual level, but not beyond; 9 is below, 10 is the level."""
    made = run(
        monkeypatch,
        [*map(float, range(1, 20))],
        values,
        watched_from=date(2025, 3, 1),
        smoothing=1.0,
        width=0.6,
    )

    assert [(one.procedure_id, one.procedures) for one in made.signals] == [(behind[-1], behind)]


def test_what_is_asked_is_asked_of_a_quantity(monkeypatch):
    seen = replace(watched([]), before=rows([1.0, 2.0], FIRST), during=rows([1.0], date(2025, 3, 1)))
    asked = {
        "as_of": date(2026, 1, 1),
        "start": FIRST,
        "end": date(2025, 12, 31),
        "watched_from": date(2025, 3, 1),
        "within": {"site": "A"},
    }
    told: dict[str, object] = {}
    monkeypatch.setattr(
        import_module("registry.monitoring.weighted"),
        "watch",
        lambda registry, measure, **rest: told.update(registry=registry, measure=measure, **rest) or seen,
    )
    weighted("a registry", "a quantity", minimum=2, **asked)  # type: ignore[arg-type]

    assert told == {"registry": "a registry", "measure": "a quantity", "kind": "quantity", **asked}


@pytest.mark.parametrize(
    ("before", "during", "minimum", "said"),
    [
        ([1.0, 2.0, 3.0], [1.0], 4, "before 2025-03-01 there are 3 values and 1 to watch: too few"),
        ([1.0], [1.0], 1, "there are 1 values"),
        ([2.0, 2.0, 2.0], [1.0], 2, "there are 3 values"),
        ([1.0, 2.0, 3.0], [], 2, "and 0 to watch"),
    ],
)
def test_too_few_values_or_none_that_differ_are_refused(monkeypatch, before, during, minimum, said):
    with pytest.raises(UsageProblem, match=said):
        run(monkeypatch, before, during, minimum=minimum, watched_from=date(2025, 3, 1))


def test_ten_values_are_asked_for_where_nothing_else_is(monkeypatch):
    assert run(monkeypatch, [*map(float, range(10))], [1.0], watched_from=date(2025, 3, 1)).n == 10
    with pytest.raises(UsageProblem, match="there are 9 values"):
        run(monkeypatch, [*map(float, range(9))], [1.0], watched_from=date(2025, 3, 1))


def test_two_values_that_differ_are_enough_where_no_more_are_asked_for(monkeypatch):
    made = run(monkeypatch, [1.0, 3.0], [2.0], minimum=2, watched_from=date(2025, 3, 1))

    assert (made.center, made.n) == (2.0, 2)


def test_what_is_watched_itself_is_not_said_to_lie_before(monkeypatch):
    with pytest.raises(UsageProblem, match="a quantity: there are 2 values and 2 to watch"):
        run(monkeypatch, [], [1.0, 2.0])
