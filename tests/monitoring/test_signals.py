"""The demo's doubled operator is seen after the day of the doubling and not before; notes are kept."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import polars as pl
import pytest
from typer.testing import CliRunner

from registry import monitoring
from registry.cli import app
from registry.errors import Refused, UsageProblem
from registry.people import Actor, Role, acting
from registry.store import Registry
from registry.trail import events

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

AS_OF = date(2026, 6, 30)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo as it is shipped."""
    made = tmp_path_factory.mktemp("watched") / "demo"
    result = CliRunner().invoke(app, ["demo", str(made)])
    assert result.exit_code == 0, result.output
    return made


@pytest.fixture(scope="module")
def demo(folder: Path) -> Iterator[Registry]:
    with Registry.open(folder, write=True) as opened:
        yield opened


@pytest.fixture(scope="module")
def truth(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "truth.json").read_text(encoding="utf-8"))["doubled_operator"]


@pytest.fixture(scope="module")
def chart(demo: Registry, truth: dict[str, Any]) -> monitoring.Cumulative:
    """The operator from the first day on, against the rate with which the generator drew before."""
    return monitoring.cumulative(
        demo,
        "discordance",
        as_of=AS_OF,
        within={"operator": truth["operator"]},
        accepted=truth["before"]["rate"],
        factor=truth["factor"],
    )


def test_the_sum_signals_after_the_doubling_and_not_before(chart, truth):
    doubled = date.fromisoformat(truth["from"])

    assert chart.signals
    assert all(one.on > doubled and one.since > doubled for one in chart.signals)
    assert chart.watched.during.get_column("day")[0] < doubled - timedelta(days=900)


def test_a_signal_is_made_of_the_procedures_since_the_sum_was_at_nothing(chart):
    rows = chart.watched.during
    for one in chart.signals:
        held = rows.filter(pl.col("day").is_between(one.since, one.on))
        assert set(one.procedures) <= set(held.get_column("procedure_id"))
        assert one.procedures[-1] == one.procedure_id == one.events[-1]
        # m - 1 up for each event, 1 down otherwise, and never at 0 on the way
        up = chart.step.m - 1
        assert up * len(one.events) - (len(one.procedures) - len(one.events)) >= chart.limit


def test_the_adjusted_sum_signals_too_and_the_model_is_calibrated_where_it_was_fitted(demo, truth):
    doubled = date.fromisoformat(truth["from"])
    made = monitoring.adjusted(
        demo, "discordance", as_of=AS_OF, watched_from=doubled, within={"operator": truth["operator"]}
    )

    assert made.signals
    assert sum(one.expected for one in made.model.fifths) == pytest.approx(made.model.events)
    # drawn at twice the rate: the interval of observed over expected lies above 1
    assert made.ratio.ci[0] > 1.0
    assert {one.predictor for one in made.model.terms} == {"assessment", "approach", "guidance", "size_mm"}


def test_the_published_design(demo):
    """2 % against 4 %, limit 90: 851 procedures in control and 161 when doubled (exact solve elsewhere)."""
    made = monitoring.cumulative(demo, "discordance", as_of=AS_OF, accepted=0.02, limit=90)

    assert made.step.m == 34
    assert round(made.in_control.arl) == 851
    assert round(made.after_rise.arl) == 161


def test_the_limit_makes_false_signals_as_rare_as_asked(chart):
    assert chart.in_control.arl >= 5.0 * chart.watched.per_year


def test_the_periods_hold_every_procedure_once(chart):
    for per in ("month", "quarter"):
        found = monitoring.points(chart.watched, chart.accepted.rate, per)
        assert sum(one.n for one in found) == chart.watched.during.height
        assert sum(one.x for one in found) == chart.watched.during.get_column("event").sum()
        volume = monitoring.volumes(chart.watched, per)
        assert sum(one.n for one in volume) == chart.watched.during.height
        first, last = chart.watched.during.get_column("day")[0], chart.watched.during.get_column("day")[-1]
        assert sum(one.days for one in volume) == (last - first).days + 1


def test_where_more_is_better_what_falls_short_is_watched(demo):
    made = monitoring.cumulative(
        demo, "review_coverage", as_of=AS_OF, watched_from=date(2024, 7, 1), factor=1.5
    )

    assert made.watched.watches_rest
    assert made.accepted.rate < 0.5


def test_a_mean_that_does_not_move_stays_near_its_level(demo):
    made = monitoring.weighted(demo, "targeting_error_mm", as_of=AS_OF, watched_from=date(2024, 7, 1))

    # nothing changes in the demo: far fewer signals than one in a hundred procedures
    assert len(made.signals) < made.watched.during.height / 100
    assert made.in_control == pytest.approx(500, abs=1)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"accepted": 1.5}, "does not lie between 0 and 1"),
        ({"accepted": 0.02, "factor": 0.5}, "is no rise"),
        ({"accepted": 0.6}, "100 % or more"),
        ({"accepted": 0.02, "limit": 0}, "is no height"),
        ({"watched_from": date(2020, 7, 2)}, "too few to take an accepted rate from"),
        ({"accepted": 0.02, "watched_from": date(2027, 1, 1)}, "no procedure to watch"),
    ],
)
def test_what_cannot_be_watched_is_refused_with_a_sentence(demo, asked, said):
    with pytest.raises(UsageProblem, match=said):
        monitoring.cumulative(demo, "discordance", as_of=AS_OF, **asked)


# -- notes ---------------------------------------------------------------------------------


def note(demo, chart, text="Two readers were new.", **other):
    return monitoring.answer(
        demo,
        "discordance",
        other.get("procedure_id", chart.signals[0].procedure_id),
        chart="cusum",
        stratum=chart.watched.stratum,
        design=chart.design,
        answer=other.get("answer", "practice"),
        note=text,
        author="committee",
    )


def test_an_answer_is_kept_and_stands_in_the_trail_without_its_text(demo, chart):
    before = demo.revision()
    kept = note(demo, chart)

    assert monitoring.notes(demo, "discordance")[0] == kept
    assert demo.revision() > before
    entry = events(demo, action="answer")[0]
    assert (entry["actor"], entry["kind"], entry["key"]) == ("committee", "signal", kept.procedure_id)
    assert "readers" not in json.dumps(entry, default=str)


def test_a_later_answer_stands_beside_the_earlier_one(demo, chart):
    first, second = note(demo, chart, "Looked at."), note(demo, chart, "Looked at again.")

    kept = monitoring.notes(demo, "discordance")
    assert kept[:2] == (second, first)


def test_answers_of_a_period_are_those_at_its_procedures(demo, chart):
    kept, on = note(demo, chart), chart.signals[0].on

    assert kept in monitoring.answered(demo, on, on)
    assert kept not in monitoring.answered(demo, on + timedelta(days=1), AS_OF)
    assert kept not in monitoring.answered(demo, date(1900, 1, 1), on - timedelta(days=1))


def test_the_last_eight_quarters_end_with_that_of_the_day():
    found = monitoring.last_quarters(date(2024, 2, 29))

    assert [name for name, _ in found] == [
        "2022-Q2",
        "2022-Q3",
        "2022-Q4",
        "2023-Q1",
        "2023-Q2",
        "2023-Q3",
        "2023-Q4",
        "2024-Q1",
    ]
    assert (found[0][1], found[-1][1]) == (date(2022, 4, 1), date(2024, 1, 1))


@pytest.mark.parametrize(
    ("text", "other", "said"),
    [
        ("  ", {}, "answered with a note"),
        ("x" * 1001, {}, "1 to 1000 characters"),
        ("fine", {"answer": "blame"}, "there is no such answer"),
        ("fine", {"procedure_id": "nobody"}, "there is no such procedure"),
    ],
)
def test_an_answer_that_cannot_be_kept_is_refused_and_leaves_nothing(demo, chart, text, other, said):
    before = monitoring.notes(demo, "discordance")
    with pytest.raises(UsageProblem, match=said):
        note(demo, chart, text, **other)

    assert monitoring.notes(demo, "discordance") == before


def test_who_may_not_see_every_operator_answers_nothing(demo, chart):
    with acting(Actor("reader", frozenset({Role.COORDINATOR}))), pytest.raises(Refused):
        note(demo, chart)
