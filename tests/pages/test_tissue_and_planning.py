"""Yield against tissue, planning, looks and the line on clustered procedures, as the pages draw them."""

from __future__ import annotations

import re

import polars as pl
import pytest

from dashboards.answers import counted
from dashboards.components import cautions, words
from dashboards.components.core_points import core_points
from dashboards.components.looks import DEATH, MEANING, between
from dashboards.components.measure_panel import clustering_line
from dashboards.components.step_boxes import boxes, levels, step_boxes
from dashboards.components.strip import StripRow
from registry.measures.results import ClusteringEffect
from tests.pages.results import proportion
from tests.pages.test_pages import text_of
from tests.pages.test_panels import fold

#: Nothing up to 2, a rise somewhere up to 5, flat to 8, a rise up to 9.
STEPS = ((2.0, 5.0, 0.0, 0.2), (8.0, 9.0, 0.2, 0.3))

# -- steps and boxes -----------------------------------------------------------------------


def test_the_line_is_drawn_between_the_boxes_only():
    assert levels(STEPS, 12) == [
        {"from": 0.0, "to": 2.0, "share": 0.0},
        {"from": 5.0, "to": 8.0, "share": 0.2},
        {"from": 9.0, "to": 12.0, "share": 0.3},
    ]


def test_nothing_joins_the_ends_of_a_box():
    drawn = step_boxes(STEPS, end=12, last=12, amount="cores", share="share")

    assert [layer["mark"]["type"] for layer in drawn["layer"]] == ["rect", "rule"]
    assert "line" not in str([layer["mark"] for layer in drawn["layer"]])


def test_a_box_that_begins_at_the_end_of_the_axis_is_not_drawn():
    assert boxes(STEPS, 8).height == 1


def test_the_line_stops_where_nothing_more_is_known():
    drawn = step_boxes(STEPS, end=7, last=12, amount="cores", share="share")

    assert drawn["layer"][1]["data"]["values"][-1]["to"] == 7


def test_models_stand_beside_the_boxes_each_with_its_name():
    models = pl.DataFrame({"amount": [1, 2, 1, 2], "share": [0.1, 0.19, 0.1, 0.15], "model": list("aabb")})
    drawn = step_boxes(STEPS, end=12, last=12, amount="cores", share="share", models=models)

    assert [layer["mark"]["type"] for layer in drawn["layer"]] == ["rect", "rule", "line", "text"]
    assert [one["model"] for one in drawn["layer"][-1]["data"]["values"]] == ["a", "b"]


def test_a_share_of_none_is_an_open_mark_with_its_upper_bound():
    frame = pl.DataFrame(
        {
            "cores": [1, 2],
            "share": [0.0, 0.1],
            "lower": [None, 0.02],
            "upper": [None, 0.4],
            "bound": [0.26, None],
        }
    )
    drawn = core_points(frame)

    assert [one["high"] for one in drawn["data"]["values"]] == [0.26, 0.4]
    assert drawn["layer"][1]["encoding"]["fill"]["condition"]["test"] == "datum.share == 0"


@pytest.mark.parametrize(
    ("read", "said"),
    [
        (None, "nobody was looked at so late"),
        ((0.02, 0.02), f"2.0{words.NARROW}%"),
        ((0.01, 0.03), f"within a box, 1.0 to 3.0{words.NARROW}%"),
    ],
)
def test_a_share_between_looks_in_words(read, said):
    assert between(read) == said


# -- the pages -----------------------------------------------------------------------------


def test_sampling_yield_says_what_must_not_be_read_into_the_curves(demo_page):
    page = text_of(demo_page("sampling_yield"))

    assert cautions.MORE_CORES in page
    assert "confounding by indication" in page


def test_sampling_yield_counts_before_it_draws(demo_page):
    page = text_of(demo_page("sampling_yield"))

    assert re.search(
        r"\d+ of \d+ procedures? with a malignant diagnosis, each container holding one core", page
    )
    assert re.search(
        r"\d+ of [\d\u202f]+ procedures? with a malignant diagnosis; [\d\u202f]+ patients?", page
    )


def test_what_is_left_out_of_the_curves_is_said_with_reasons(served, open_page):
    page = open_page("sampling_yield")
    assert "Containers not reported apart" not in text_of(page)
    page.session_state["left out of the yield curves"] = True
    page = text_of(page.run())

    assert "Containers not reported apart" in page
    assert "a container without a current report of its own" in page
    assert "Mass not recorded" in page


def test_the_predictors_stand_in_their_fold_with_their_limits(served, open_page):
    page = open_page("sampling_yield")
    page.session_state["unusable samples"] = True
    page = page.run()

    assert [one.value for one in page.exception] == []
    assert "ended without tissue or with an insufficient sample" in text_of(page)
    # 150 invented procedures: a handful of unusable samples, and ten are needed.
    assert ">too few</td>" in text_of(page)
    assert "is a reason to look, and no cause" in text_of(page)


def test_the_companion_of_the_curve_says_what_it_is(demo_page):
    page = text_of(demo_page("repeat_and_excision"))

    assert MEANING in page
    assert DEATH in page
    # The estimates with their numbers at risk stand above it.
    for head in ("Estimate lost", "Estimate free", "At risk, lost", "At risk, free"):
        assert head in page


def test_the_page_says_whether_linkage_is_complete(demo_page):
    assert re.search(
        r"linkage with a cancer registry is complete", text_of(demo_page("repeat_and_excision")), re.I
    )


def test_a_proportion_has_a_fold_for_planning_and_a_quantity_has_none(demo_page):
    labels = [one.label for one in demo_page("concordance").expander]
    quantities = 3  # finding to biopsy, biopsy to report, report to review
    table = 1

    assert labels.count("How many procedures are needed") == labels.count("Definition") - quantities - table


def test_the_planning_answers_follow_what_is_chosen(served, open_page):
    page = fold(open_page("complications"), "How many procedures are needed", "complication")
    page.main.number_input[0].set_value(2.0).run()

    # 424 and 507 for a doubling of 2 % (independent search)
    assert "424" in text_of(page) and "507" in text_of(page)

    page.main.selectbox[1].select(3.0).run()
    assert "A trebling seen, from 2\u202f% to 6\u202f%" in text_of(page)


def test_without_a_rate_the_fold_asks_for_one(served_empty, open_page):
    page = fold(open_page("complications"), "How many procedures are needed", "complication")

    assert "There are no procedures yet. Give the rate to plan for" in text_of(page)
    assert [one.value for one in page.exception] == []


# -- the line on clustered procedures ------------------------------------------------------


def effect(ratio: float) -> ClusteringEffect:
    return ClusteringEffect(ratio, 2.0, True, 40, 60)


def test_only_figures_that_should_be_wider_by_more_than_ten_per_cent_are_named():
    line = words.clustering_of([("First", 1.10), ("Second", 1.11), ("Third", None)])

    assert "wider for: Second (1.11 times)." in line
    assert "First" not in line
    assert words.clustering_of([("First", 1.10)]) == ""


@pytest.mark.parametrize("name", ["overview", "sampling_yield", "concordance", "complications"])
def test_every_page_with_a_strip_names_them(served, open_page, monkeypatch, name):
    def wide(ids, *, by=None):
        return {(one, "all"): effect(1.5) for one in ids}

    monkeypatch.setattr(counted, "clustering", wide)
    page = text_of(open_page(name))

    assert re.search(r"more than 10\u202f% wider for: .+ \(1\.50 times\)", page)


def test_the_strip_by_stratum_names_strata(monkeypatch):
    shown = []
    monkeypatch.setattr(counted, "clustering", lambda ids, *, by=None: {("discordance", "OP2"): effect(1.3)})
    monkeypatch.setattr("dashboards.components.measure_panel.session.minimum_n", lambda: 10)
    monkeypatch.setattr("dashboards.components.measure_panel.show", shown.append)
    rows = [StripRow(name, proportion(6, 40, low=0.1, high=0.3, stratum=name)) for name in ("OP1", "OP2")]
    clustering_line(rows, by="operator")

    assert ["OP2 (1.30 times)" in one for one in shown] == [True]
    assert "OP1" not in shown[0]


def test_a_clustered_interval_needs_no_line(monkeypatch):
    monkeypatch.setattr("dashboards.components.measure_panel.session.minimum_n", lambda: 10)
    monkeypatch.setattr(counted, "clustering", lambda ids, *, by=None: pytest.fail("asked for nothing"))

    clustering_line([StripRow("one", proportion(6, 40, low=0.1, high=0.3, interval="clustered"))])


def test_the_b_categories_obey_the_clustered_interval(served, open_page):
    page = open_page("concordance")
    page.sidebar.selectbox[2].select("clustered").run()

    assert "False positives compare two groups and are no proportion" in text_of(page)


def test_figures_of_one_patient_have_no_interval_by_patient():
    row = proportion(3, 12, method="Wilson, clustered by patient")

    assert (
        words.figure(row, 10).sentence
        == f"25.0{words.NARROW}%, 3 of 12; no interval: all are of one patient."
    )
