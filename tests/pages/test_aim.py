"""The page on targeting: sentences that promise no more than is known, and drawings that keep to scale."""

from __future__ import annotations

import re

import numpy as np
import polars as pl
import pytest

from dashboards.components import aim_words, cautions
from dashboards.components.aim_lanes import AimRow, axis_end, figures
from dashboards.components.attempts_plot import spec
from dashboards.components.planes import plane
from registry.aim import Attempts, Basis, Lengths, Mean
from registry.site import Frame
from registry.stats.attempts import compare_lengths
from registry.stats.vectors import Hotelling, radius_quantile
from tests.build import base, load
from tests.pages.test_pages import text_of

SUITE = Frame("SUITE", "medial", "cranial", "posterior")
BASIS = Basis(SUITE, "x")
LIMITS = ((-0.2, 0.4), (0.1, 1.0), (-3.0, 0.2))


def lengths(values):
    return Lengths(len(values), radius_quantile(values, 0.5), radius_quantile(values, 0.95))


def mean_of(t2, n=30):
    return Mean(n, (0.1, 0.5, -1.4), LIMITS, ((1.0, 0.0, 0.0),) * 3, Hotelling(t2, 3.0, 0.0123, 8.0, 10.0, n))


def plain(text):
    return text.replace("\u202f", " ")


# --- sentences ---------------------------------------------------------------------------


def test_a_mean_is_told_in_the_words_of_the_frame():
    # Third direction: -1.4 posterior is 1.4 anterior.
    assert plain(aim_words.where((0.1, 0.5, -1.4), BASIS.directions)) == (
        "0.1 mm deeper, 0.5 mm cranial and 1.4 mm anterior"
    )


def test_a_region_without_0_shows_a_systematic_part():
    told = plain(aim_words.systematic(mean_of(10.1), BASIS, "the aperture lay {} of the target", 10))

    assert told.endswith(
        "leaves out 0 (30 procedures; Hotelling\u2019s T\u00b2 10.1, p = 0.012): a systematic part shows."
    )


def test_a_region_with_0_proves_nothing():
    told = aim_words.systematic(mean_of(9.9), BASIS, "the aperture lay {} of the target", 10)

    assert told.endswith("no systematic part shows, which does not prove that there is none.")


@pytest.mark.parametrize(
    "found", [Mean(4, reason="fewer than 10 vectors: no mean, no region"), mean_of(50.0, 19)]
)
def test_too_few_have_no_mean(found):
    told = aim_words.systematic(found, BASIS, "the aperture lay {} of the target", 20)

    assert "On average" not in told
    assert told.startswith(f"{found.n} procedures in these directions; ")


def test_a_percentile_of_few_has_no_upper_limit_but_a_bound():
    """71 values have a one-sided bound (59 are enough) and no upper limit (72 are needed).

    P(B <= 62) = 0.0088 <= 0.025 < P(B <= 63) = 0.0252: the lower limit is the 63rd.
    """
    told = plain(aim_words.spread(lengths(np.arange(1.0, 72.0)), "from the target", 10))

    assert "95th percentile 67.5 mm (95 % limits from 63.0; too few for an upper limit)" in told
    assert "one-sided upper 95 % bound 71.0" in told


def test_below_the_minimum_only_the_number_is_told():
    told = aim_words.spread(lengths([1.0, 2.0]), "from the target", 10)

    assert told == "2 procedures; too few to summarise."


def test_pairs_below_the_minimum_have_no_percentage():
    pairs = compare_lengths([5.0, 6.0, 1.0], [1.0, 2.0, 2.0])
    told = aim_words.moved(Attempts(lengths([1.0]), pairs, 0), 10)

    assert (
        told == "3 procedures whose needle was moved: nearer in 2 of 3, further in 1; too few to summarise."
    )


def test_an_axis_without_an_anatomical_direction_is_named():
    found = aim_words.left_aside(_summary_without(), Basis(Frame("ROOM", "none", "left", "cranial")))

    assert found.startswith(
        "The frame register gives x no anatomical direction: left and right breasts are pooled"
    )


def _summary_without():
    from registry.aim import summary

    empty = {
        "excluded_because": pl.String,
        "frame": pl.String,
        "needle_axis": pl.String,
        "needle_direction": pl.String,
    }
    numbers = (
        "error_mm",
        "motion_mm",
        "first_error_mm",
        "motion_x_mm",
        "motion_y_mm",
        "motion_z_mm",
        "attempts",
    )
    return summary(pl.DataFrame(schema={**empty, **dict.fromkeys(numbers, pl.Float64)}), {})


# --- drawings ----------------------------------------------------------------------------


def test_all_groups_share_the_smallest_axis_that_holds_their_limits():
    # The widest limit is -3.0: axes end at 1, 2, 3, 5, 10 ...
    rows = [AimRow("A", lengths([1.0] * 30), mean_of(1.0)), AimRow("B", lengths([1.0]), None)]

    assert axis_end(rows, 10) == 3.0


def test_a_group_that_is_not_drawn_does_not_widen_the_axis():
    assert axis_end([AimRow("A", lengths([1.0] * 9), mean_of(1.0, 9))], 10) == 1.0


def test_the_file_holds_means_by_the_names_of_the_directions():
    found = figures([AimRow("A", lengths([1.0] * 30), mean_of(1.0), 4)], BASIS).to_dicts()[0]

    assert (found["mean_deeper_mm"], found["mean_cranial_upper"], found["mean_posterior_lower"]) == (
        0.1,
        1.0,
        -3.0,
    )
    assert (found["n"], found["left_out"], found["vectors"]) == (30, 4, 30)


def test_both_ellipses_are_drawn_and_differ_in_their_dashes():
    rows = pl.DataFrame(
        {"procedure_id": ["P"], "along_mm": [1.0], "across_mm": [2.0], "judgement": ["Not judged"]}
    )
    outline = np.array([(0.0, 1.0), (1.0, 0.0), (0.0, 1.0)])
    made = plane(
        rows,
        "cranial",
        None,
        (5.0, 5.0),
        True,
        ellipses=((outline, "#000000", (6, 4)), (outline, "#0B5D66", ())),
    )
    lines = [
        one["mark"] for one in made["layer"] if one["mark"]["type"] == "line" and "strokeDash" in one["mark"]
    ]

    assert [line["strokeDash"] for line in lines] == [[6, 4], []]


def test_no_ellipse_is_drawn_of_too_few():
    rows = pl.DataFrame(
        {"procedure_id": ["P"], "along_mm": [1.0], "across_mm": [2.0], "judgement": ["Not judged"]}
    )
    made = plane(rows, "cranial", None, (5.0, 5.0), True, ellipses=((None, "#000000", ()),))

    assert "line" not in {one["mark"]["type"] for one in made["layer"]}


def test_first_and_last_have_one_scale_and_hold_all():
    made = spec(pl.DataFrame({"procedure_id": ["P"], "first_mm": [12.0], "last_mm": [3.0]}))
    scales = [made["layer"][2]["encoding"][axis]["scale"]["domain"] for axis in "xy"]

    assert scales == [[0, 15.0], [0, 15.0]]
    assert made["width"] == made["height"]


# --- the page ----------------------------------------------------------------------------


def test_sections_stand_in_their_order(demo_page):
    heads = [one.value for one in demo_page("targeting").header]

    assert heads[:6] == [
        "Total error",
        "Systematic part",
        "By approach, device, operator and period",
        "First attempt against last",
        "Motion of the target",
        "Measures",
    ]


def test_the_two_ellipses_are_told_apart(demo_page):
    page = text_of(demo_page("targeting"))

    assert "where the mean lies: 95 % region in this plane" in page
    assert "where single errors lie: 95 % of them, if they are normal" in page
    assert "A mean close to the target does not mean that single needles come close to it." in page


def test_procedures_without_a_frame_are_counted_and_told(served_empty, open_page):
    rows = base()
    load(served_empty, rows)
    page = text_of(open_page("targeting"))

    assert "1 procedure without a coordinate frame" in page
    assert "so the page gives total errors only" in page
    assert "cranial" not in page


def test_directions_of_the_breast_can_be_chosen(served, open_page):
    page = open_page("targeting")
    box = next(one for one in page.main.selectbox if one.label == "Directions")
    breast = next(text for text in box.options if text.startswith("Directions of the breast"))
    page = box.select(breast).run()

    assert [one.value for one in page.exception] == []
    assert "Lateral\u2013medial \u00d7 caudal\u2013cranial" in text_of(page)


@pytest.mark.parametrize("by", ["approach", "device", "guidance", "site", "operator", "year", "quarter"])
def test_errors_can_be_split(served, open_page, by):
    page = open_page("targeting")
    next(one for one in page.main.selectbox if one.label == "Split by").select(by).run()

    assert [one.value for one in page.exception] == []
    assert (cautions.COMPARE in text_of(page)) is (by in ("operator", "site"))


def test_operators_are_not_ranked(served, open_page):
    page = open_page("targeting")
    next(one for one in page.main.selectbox if one.label == "Split by").select("operator").run()
    shown = re.findall(r'<th scope="row">(OP\d+)<', text_of(page))

    assert len(shown) > 1
    assert shown == sorted(shown)
