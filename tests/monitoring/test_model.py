"""The model of the risk before the biopsy, on rows made by hand."""

from __future__ import annotations

from datetime import date, timedelta
from math import exp, log

import numpy as np
import polars as pl
import pytest

from registry.errors import UsageProblem
from registry.monitoring.model import (
    OTHERS,
    RiskModel,
    _design,
    _levels,
    _names,
    against_expected,
    fifths,
    fit,
)

FIRST = date(2025, 1, 1)


def rows(**columns: list[object]) -> pl.DataFrame:
    """Rows alike but for the columns that are given."""
    size = len(next(iter(columns.values())))
    usual = {
        "assessment": ["4"] * size,
        "approach": ["lateral"] * size,
        "guidance": ["pet_tracer"] * size,
        "size_mm": [20.0] * size,
        "event": [0] * size,
        "day": [FIRST + timedelta(days=number) for number in range(size)],
    }
    return pl.DataFrame({**usual, **columns}, schema_overrides={"size_mm": pl.Float64})


def table(*groups: tuple[int, int]) -> list[int]:
    """Outcomes of groups of (events, all)."""
    return [outcome for events, size in groups for outcome in [1] * events + [0] * (size - events)]


class TestLevels:
    def test_the_most_frequent_stands_first_and_equal_ones_by_name(self):
        assert _levels(rows(approach=["b", "c", "a", "c", "a"]), "approach", 1) == ("a", "c", "b")

    def test_rare_codes_are_one_level(self):
        assert _levels(rows(approach=["a"] * 3 + ["b"] * 2 + ["c"]), "approach", 2) == ("a", "b", OTHERS)

    def test_all_frequent_enough_leave_no_others(self):
        assert _levels(rows(approach=["a"] * 3 + ["b"] * 2), "approach", 2) == ("a", "b")

    @pytest.mark.parametrize(("number", "kept"), [(5, ("a", "b")), (4, ("a", OTHERS))])
    def test_below_one_in_twenty_a_code_is_rare(self, number: int, kept: tuple[str, ...]):
        """5 of 100 are kept, 4 of 100 not, though both reach the minimum."""
        assert _levels(rows(approach=["a"] * (100 - number) + ["b"] * number), "approach", 2) == kept


def test_columns_of_the_design():
    """10 mm above the mean is 1; a size that is missing counts as the mean, with a column of its own."""
    levels = {"assessment": ("4",), "approach": ("lateral", "medial", OTHERS), "guidance": ("pet_tracer",)}
    made = rows(approach=["lateral", "medial", "oblique"], size_mm=[30.0, None, 15.0])

    assert _design(made, levels, 20.0) == pytest.approx(
        np.array([[0, 0, 1, 0], [1, 0, 0, 1], [0, 1, -0.5, 0]], dtype=float)
    )
    assert _names(levels) == [
        ("approach", "medial", "lateral"),
        ("approach", OTHERS, "lateral"),
        ("size_mm", "per 10 mm larger", "10 mm less"),
        ("size_mm", "not recorded", "mean size"),
    ]


class TestFit:
    """5 of 40 lateral and 12 of 20 medial: Firth adds a half to each cell, (12.5 / 8.5) / (5.5 / 35.5)."""

    ROWS = rows(approach=["lateral"] * 40 + ["medial"] * 20, event=table((5, 40), (12, 20)))
    RATIO = (12.5 / 8.5) / (5.5 / 35.5)

    def test_the_odds_ratio_of_the_only_thing_that_differs(self):
        (term,) = fit(self.ROWS, 10).terms

        assert (term.predictor, term.value, term.against) == ("approach", "medial", "lateral")
        assert term.odds_ratio == pytest.approx(self.RATIO)
        assert term.lower < term.odds_ratio < term.upper

    def test_a_higher_confidence_widens(self):
        narrow, wide = (fit(self.ROWS, 10, level).terms[0] for level in (0.8, 0.99))
        assert wide.lower < narrow.lower < narrow.upper < wide.upper

    def test_as_many_events_are_expected_as_were_seen(self):
        """The two risks have the odds ratio between them, and 40 of the one and 20 of the other make 17."""
        model = fit(self.ROWS, 10)
        low, high = model.risks(self.ROWS)[[0, -1]]

        assert 40 * low + 20 * high == pytest.approx(17)
        assert high / (1 - high) / (low / (1 - low)) == pytest.approx(self.RATIO)

    def test_what_it_was_fitted_on(self):
        model = fit(self.ROWS, 10)

        assert (model.n, model.events, model.start, model.end) == (60, 17, FIRST, FIRST + timedelta(days=59))
        assert (model.mean_size_mm, model.levels["approach"]) == (20.0, ("lateral", "medial"))
        assert sum(one.expected for one in model.fifths) == pytest.approx(17)

    def test_what_does_not_differ_has_no_coefficient(self):
        """Intercept, approach, and two for the size, which is the same everywhere and nowhere missing."""
        assert fit(self.ROWS, 10).coef[1:] == pytest.approx((log(self.RATIO), 0.0, 0.0))

    def test_an_unknown_code_counts_with_the_others(self):
        model = RiskModel(
            {"approach": ("lateral", OTHERS)}, 20.0, (-1.0, 2.0, 0.5, 0.25), (), 0, 0, FIRST, FIRST, ()
        )
        found = model.risks(rows(approach=["lateral", "unheard of"], size_mm=[30.0, None]))

        assert found == pytest.approx([1 / (1 + exp(0.5)), 1 / (1 + exp(-1.25))])

    @pytest.mark.parametrize("events", [9, 51])
    def test_nine_with_or_without_are_too_few(self, events: int):
        short = rows(approach=["lateral"] * 40 + ["medial"] * 20, event=table((events, 60)))
        with pytest.raises(UsageProblem, match=f"60 procedures before the watch, {events} with the event"):
            fit(short, 10)

    @pytest.mark.parametrize("events", [10, 50])
    def test_ten_with_and_without_are_enough(self, events: int):
        enough = rows(approach=["lateral", "medial"] * 30, event=table((events, 60)))
        assert fit(enough, 10).events == events

    def test_where_nothing_differs_there_is_no_model(self):
        with pytest.raises(UsageProblem, match="Nothing known before the biopsy differs"):
            fit(rows(event=table((20, 60))), 10)

    def test_without_any_size_the_other_terms_remain(self):
        unknown = self.ROWS.with_columns(pl.lit(None, dtype=pl.Float64).alias("size_mm"))
        model = fit(unknown, 10)

        assert (model.mean_size_mm, [one.predictor for one in model.terms]) == (0.0, ["approach"])


class TestFifths:
    def test_in_the_order_of_the_risk(self):
        """Ten procedures, two in each; the two highest risks, 0.9 and 1.0, have the events."""
        risks = np.array([0.1, 1.0, 0.2, 0.9, 0.3, 0.8, 0.4, 0.7, 0.5, 0.6])
        found = fifths(risks, (risks > 0.85).astype(float))

        assert [(one.number, one.n, one.observed) for one in found] == [
            (1, 2, 0),
            (2, 2, 0),
            (3, 2, 0),
            (4, 2, 0),
            (5, 2, 2),
        ]
        assert [one.expected for one in found] == pytest.approx([0.3, 0.7, 1.1, 1.5, 1.9])
        assert [one.expected_share for one in found] == pytest.approx([0.15, 0.35, 0.55, 0.75, 0.95])
        assert (found[-1].share, found[-1].high) == (1.0, pytest.approx(1.0))
        # Wilson for 2 of 2: 1 / (1 + 3.8415 / 2)
        assert found[-1].low == pytest.approx(1 / (1 + 3.841459 / 2))

    def test_fewer_than_five_are_one_each(self):
        assert [one.n for one in fifths(np.array([0.1, 0.2, 0.3]), np.zeros(3))] == [1, 1, 1]


def test_observed_over_expected():
    """3 seen where 0.5 + 0.25 + 0.75 are expected."""
    found = against_expected(np.array([0.5, 0.25, 0.75]), np.array([1.0, 1.0, 1.0]))

    assert (found.observed, found.E, found.oe) == (3, 1.5, pytest.approx(2.0))


def test_procedures_of_equal_risk_stay_in_their_order():
    """A hundred alike, the first twenty with the event: they are the first fifth."""
    found = fifths(np.full(100, 0.2), np.array(table((20, 20), (0, 80)), dtype=float))

    assert [one.observed for one in found] == [20, 0, 0, 0, 0]
