"""The curve and the B-category ratios as they are drawn."""

from dataclasses import replace
from datetime import date

import pytest

from dashboards.components import words
from dashboards.components.b_categories import ratio_result
from dashboards.components.curve_plot import stepped_curves
from registry.measures import CategoryRatio, CategoryTable, CurveEstimate, drawn_steps

LOST = CurveEstimate(
    name="lost",
    at=(365, 730, 1095),
    incidence=(0.02, 0.03, None),
    lower=(0.01, 0.01, None),
    upper=(0.05, 0.07, None),
    at_risk=(120, 60, 12),
    step_days=(0, 40, 500, 1200),
    steps=(0.0, 0.02, 0.03, 0.05),
    step_lower=(None, 0.01, 0.01, 0.02),
    step_upper=(None, 0.05, 0.07, 0.11),
    step_at_risk=(200, 180, 90, 5),
    events=3,
    deaths=1,
)


def table(*ratios):
    return CategoryTable(
        measure="b_category_accuracy",
        stratum="all",
        cells=dict.fromkeys("mbn", (0, 0, 0, 0, 0)),
        unresolved=(0, 0, 0, 0, 0),
        cancers=0,
        benign=0,
        total=0,
        ratios=ratios,
        identities={},
        excluded={},
        patients=0,
        confidence=0.95,
        interval="wilson",
        as_of=date(2026, 6, 30),
        start=None,
        end=None,
        registry="stamp",
    )


def test_the_last_level_is_held_to_the_last_fixed_day():
    drawn = drawn_steps(LOST).select("days", "incidence").rows()

    assert drawn == [(0, 0.0), (40, 0.02), (500, 0.03), (1095, 0.03)]


def test_a_level_is_not_held_beyond_the_last_that_anybody_was_followed():
    """The last step of 500 days is the last anybody was there for."""
    nobody_left = replace(LOST, step_days=(0, 40, 500), steps=(0.0, 0.02, 0.03), at_risk=(120, 0, 0))

    assert drawn_steps(nobody_left).get_column("days").to_list() == [0, 40, 500]


def test_steps_beyond_the_last_fixed_day_are_not_drawn():
    assert 1200 not in drawn_steps(LOST).get_column("days")


def test_the_axis_holds_the_upper_limits():
    domain = stepped_curves(drawn_steps(LOST), 1095)["layer"][0]["encoding"]["y"]["scale"]["domain"]

    assert domain == [0, 0.07]


def test_each_estimate_is_named_at_its_end():
    name = stepped_curves(drawn_steps(LOST), 1095)["layer"][-1]

    assert name["encoding"]["text"]["field"] == "estimate"
    assert name["transform"] == [{"filter": "datum.days == 1095"}]


def test_a_ratio_of_nothing_carries_a_one_sided_bound():
    ratio = CategoryRatio("false_positive", 0, 24, 0.0, 0.0, 0.138)

    # 1 - 0.05 ** (1 / 24) = 0.1173
    assert ratio_result(ratio, table(ratio))["upper_bound_no_events"] == pytest.approx(0.1173, abs=5e-5)


def test_a_ratio_of_few_shows_counts_only():
    ratio = CategoryRatio("ppv_b4", 2, 3, 2 / 3, 0.2, 0.94)

    assert words.figure(ratio_result(ratio, table(ratio)), 10).kind == "counts"
