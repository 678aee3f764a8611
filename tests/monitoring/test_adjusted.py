"""The adjusted sum over procedures made by hand: its limit, its model and what it is asked."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from importlib import import_module
from math import log
from typing import TYPE_CHECKING, Any

import polars as pl
import pytest

from registry.errors import UsageProblem
from registry.monitoring.adjusted import Adjusted, adjusted
from registry.monitoring.cumulative import FEWEST
from registry.monitoring.model import RiskModel
from registry.stats.risk_cusum import risk_adjusted_arl
from tests.monitoring.test_model import FIRST, rows, table
from tests.monitoring.test_periods import watched

if TYPE_CHECKING:
    from registry.monitoring.watched import Watched

SINCE, AS_OF = date(2025, 6, 1), date(2026, 6, 30)
#: One in ten, whoever it is.
TENTH = RiskModel(
    {"assessment": ("4",), "approach": ("lateral",), "guidance": ("pet_tracer",)},
    20.0,
    (log(1 / 9), 0.0, 0.0),
    (),
    200,
    20,
    date(2023, 1, 1),
    date(2024, 12, 31),
    (),
)
#: All procedures before the watch, and those of one site: the odds ratios are another's.
ALL = rows(approach=["lateral"] * 40 + ["medial"] * 20, event=table((5, 40), (12, 20)))
SOME = rows(approach=["lateral"] * 30 + ["medial"] * 30, event=table((12, 30), (12, 30)))


def run(
    monkeypatch: pytest.MonkeyPatch, during: pl.DataFrame, **asked: Any
) -> tuple[Adjusted, list[dict[str, Any]]]:
    """The chart, and the questions that were put to the registry."""
    questions: list[dict[str, Any]] = []

    def watch(registry: object, measure: str, **question: Any) -> Watched:
        questions.append({"registry": registry, "measure": measure, **question})
        keyed = during.with_columns(pl.format("P{}", pl.int_range(pl.len())).alias("procedure_id"))
        before = SOME if question["within"] else ALL
        return replace(watched([]), before=before, during=keyed, watched_from=SINCE)

    module = import_module("registry.monitoring.adjusted")
    monkeypatch.setattr(module, "watch", watch)
    monkeypatch.setattr(module, "with_predictors", lambda registry, found, as_of: found)
    made = adjusted("a registry", "a measure", as_of=AS_OF, watched_from=SINCE, **asked)  # type: ignore[arg-type]
    return made, questions


def spread(events: list[int], days: int = 365) -> pl.DataFrame:
    """Watched procedures in so many days, the last of them on the last."""
    last = SINCE + timedelta(days=days - 1)
    return rows(event=events, day=[SINCE] * (len(events) - 1) + [last])


def test_the_sum_by_hand(monkeypatch):
    """Risk 1/10, odds doubled to 2/9: 2/11. An event adds log(20/11), none adds log(10/11); never below 0."""
    made, _ = run(monkeypatch, spread([0, 1, 0, 1, 1]), model=TENTH, limit=1.5)
    up, down = log(20 / 11), log(10 / 11)

    assert made.path == pytest.approx((0, up, up + down, 2 * up + down, 3 * up + down))
    assert [(one.procedure_id, one.procedures) for one in made.signals] == [("P4", ("P1", "P2", "P3", "P4"))]
    assert (made.ratio.observed, made.ratio.E) == (3, pytest.approx(0.5))
    assert sum(one.n for one in made.watched_fifths) == 5


def test_run_lengths_are_those_of_the_watched_risks(monkeypatch):
    made, _ = run(monkeypatch, spread([0, 1]), model=TENTH, limit=1.0)

    assert made.in_control == pytest.approx(risk_adjusted_arl([0.1, 0.1], 2.0, 1.0))
    assert made.after_rise == pytest.approx(risk_adjusted_arl([0.1, 0.1], 2.0, 1.0, 2.0))


@pytest.mark.parametrize(("size", "years"), [(60, 5.0), (60, 8.0), (10, 5.0)])
def test_the_limit_makes_false_signals_as_rare_as_asked(monkeypatch, size, years):
    """So many in 365 days, and never less than the fewest; a tenth lower would be too low."""
    made, _ = run(monkeypatch, spread([0] * size), model=TENTH, years=years)
    wanted = max(FEWEST, years * size * 365.25 / 365)

    assert made.in_control >= wanted > risk_adjusted_arl([0.1] * size, 2.0, made.limit - 0.1)


def test_one_procedure_has_no_pace_and_the_fewest_are_asked_for(monkeypatch):
    made, _ = run(monkeypatch, spread([0]), model=TENTH)

    assert made.in_control >= FEWEST > risk_adjusted_arl([0.1], 2.0, made.limit - 0.1)


def test_the_model_is_that_of_all_procedures_before_also_where_one_site_is_watched(monkeypatch):
    """Half a thing added to each cell: (12.5 / 8.5) / (5.5 / 35.5), where the site alone has 1."""
    made, questions = run(monkeypatch, spread([0, 1]), within={"site": "A"}, limit=3.0)

    assert made.model.terms[0].odds_ratio == pytest.approx((12.5 / 8.5) / (5.5 / 35.5))
    assert [one["within"] for one in questions] == [{"site": "A"}, None]


def test_what_is_asked_is_asked_of_a_proportion(monkeypatch):
    _, questions = run(monkeypatch, spread([0, 1]), start=FIRST, end=AS_OF, limit=3.0)

    assert questions == [
        {
            "registry": "a registry",
            "measure": "a measure",
            "kind": "proportion",
            "as_of": AS_OF,
            "start": FIRST,
            "end": AS_OF,
            "watched_from": SINCE,
            "within": None,
        }
    ]


def test_rare_codes_are_put_together_below_the_minimum(monkeypatch):
    """Twenty of one code and forty of the other: at a minimum of 21 the rarer one has no name."""
    made, _ = run(monkeypatch, spread([0, 1]), minimum=20, limit=3.0)
    assert made.model.levels["approach"] == ("lateral", "medial")

    made, _ = run(monkeypatch, spread([0, 1]), minimum=21, limit=3.0)
    assert made.model.levels["approach"] == ("lateral", "others together")


def test_the_design_by_which_a_note_is_kept(monkeypatch):
    made, _ = run(monkeypatch, spread([0, 1]), model=TENTH, odds_ratio=1.5, limit=2.5)

    assert made.design == ("model of 200 procedures 2023-01-01 to 2024-12-31, odds ratio 1.5, limit 2.5")


@pytest.mark.parametrize(
    ("during", "asked", "said"),
    [
        (rows(event=[0]), {"odds_ratio": 1.0}, "Odds ratio 1 is no rise"),
        (rows(event=[0]), {"limit": 0.0}, "Limit 0 is no height"),
        (rows(event=[0]), {"limit": -1.0}, "Limit -1 is no height"),
        (rows(event=[0]).clear(), {}, "a measure: no procedure to watch"),
    ],
)
def test_what_cannot_be_asked_is_refused(monkeypatch, during, asked, said):
    with pytest.raises(UsageProblem, match=said):
        run(monkeypatch, during, model=TENTH, **asked)
