"""Drawings of the pack: well-formed, to scale, every mark there, told apart without colour."""

from __future__ import annotations

import re
from datetime import date, timedelta
from itertools import pairwise
from xml.etree import ElementTree as ET

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.monitoring import last_quarters, point
from registry.monitoring.frames import period_frame
from registry.reports.pack import charts
from registry.reports.svg import Panel, shares, ticks

SVG = "{http://www.w3.org/2000/svg}"


def parts(figure) -> list[ET.Element]:
    return list(ET.fromstring(figure.svg))


def marks(figure, shape: str) -> list[ET.Element]:
    """Circles, or polygons with so many corners."""
    if shape == "circle":
        return [one for one in parts(figure) if one.tag == f"{SVG}circle"]
    corners = {"square": 4, "diamond": 4, "triangle": 3}[shape]
    return [
        one
        for one in parts(figure)
        if one.tag == f"{SVG}polygon" and len(one.get("points", "").split()) == corners
    ]


# -- axes ------------------------------------------------------------------------------


@given(st.floats(-1e4, 1e4), st.floats(0.01, 1e4))
def test_ticks_lie_within_the_axis_and_are_evenly_spaced(low, length):
    found = ticks(low, low + length)

    assert all(low - 1e-6 * length <= one <= low + length * (1 + 1e-6) for one in found)
    assert 1 <= len(found) <= 6
    steps = [after - before for before, after in pairwise(found)]
    assert steps == pytest.approx([steps[0]] * len(steps)) if steps else True


def test_ticks_are_round():
    assert ticks(0.0, 1.0) == pytest.approx([0, 0.25, 0.5, 0.75, 1])
    assert ticks(0.0, 90.0) == pytest.approx([0, 25, 50, 75])


def test_shares_are_written_in_per_cent():
    assert [words for _, words in shares(0.0, 0.2)] == ["0 %", "5 %", "10 %", "15 %", "20 %"]


def test_a_panel_maps_its_axes_onto_its_edges():
    panel = Panel((10.0, 20.0, 100.0, 50.0), (0.0, 4.0), (0.0, 1.0))

    assert (panel.x(0), panel.x(4), panel.x(1)) == (10, 110, 35)
    # Upward on paper is towards smaller numbers.
    assert (panel.y(0), panel.y(1), panel.y(0.5)) == (70, 20, 45)


def test_what_lies_beyond_an_axis_is_drawn_at_its_end():
    panel = Panel((0.0, 0.0, 10.0, 10.0), (0.0, 1.0), (0.0, 1.0))

    assert panel.y(7.0) == 0.0


# -- watched ---------------------------------------------------------------------------

COUNTS = ((2, 30), (1, 25), (0, 4), (3, 28), (2, 33), (1, 31), (15, 30), (2, 29))


@pytest.fixture(scope="module")
def run_chart():
    quarters = last_quarters(date(2024, 6, 30))
    found = [point(name, first, x, n, 0.06) for (name, first), (x, n) in zip(quarters, COUNTS, strict=True)]
    frame = period_frame(found, minimum=10)
    days = [date(2024, 1, 1) + timedelta(days=7 * i) for i in range(20)]
    path = pl.DataFrame(
        {
            "number": range(1, 21),
            "day": days,
            "procedure_id": [f"P{i}" for i in range(20)],
            "height": [float(i % 11) for i in range(20)],
            "signal": [i == 10 for i in range(20)],
        }
    )
    return charts.watched(frame, 0.06, path, 10.0, "A run chart and a running sum of twenty procedures.")


def test_each_quarter_with_enough_procedures_has_its_mark(run_chart):
    # Eight quarters; one has 4 procedures, and 15 of 30 at an accepted 6 % lies outside: a diamond.
    assert len(marks(run_chart, "circle")) == 6
    assert len(marks(run_chart, "diamond")) == 1 + 1  # that quarter, and one signal of the sum


def test_a_rate_is_drawn_to_scale(run_chart):
    """1 of 25 stands as high above 0 as its tick says: 4 % lies between the lines of 0 and of the first tick above."""
    heights = {
        words: float(one.get("y"))
        for one in parts(run_chart)
        if one.tag == f"{SVG}text" and (words := one.text or "").endswith(" %")
    }
    zero, twenty = heights["0 %"] - 2.6, heights["20 %"] - 2.6
    second = sorted(float(one.get("cx")) for one in marks(run_chart, "circle"))[1]
    (height,) = [float(one.get("cy")) for one in marks(run_chart, "circle") if float(one.get("cx")) == second]

    # A fifth of the way from 0 to 20 %, to a tenth of a point.
    assert height == pytest.approx(zero + (twenty - zero) / 5, abs=0.15)


def test_no_limit_is_drawn_where_a_quarter_has_too_few(run_chart):
    """Each of the four limits has two stretches, before and after the third quarter."""
    lines = [one for one in parts(run_chart) if one.tag == f"{SVG}path" and one.get("stroke") == "#56636F"]

    assert len(lines) == 4 * 2


# -- units -----------------------------------------------------------------------------


def units(*rows: tuple[str, int, float, str]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "name": name,
                "n": n,
                "rate": rate,
                "lower": rate / 2,
                "upper": min(1.0, rate * 1.5),
                "kind": kind,
            }
            for name, n, rate, kind in rows
        ]
    )


LINES = pl.DataFrame(
    [{"n": n, "low_998": 0.0, "low_95": 0.02, "high_95": 0.2, "high_998": 0.3} for n in range(10, 60, 5)]
)


def test_what_stands_out_has_another_shape():
    made = charts.funnels(
        [
            (
                "By site",
                units(("A", 20, 0.1, "other"), ("B", 30, 0.3, "flagged"), ("C", 40, 0.1, "own")),
                LINES,
                0.1,
            )
        ],
        "Three sites.",
    )

    assert len(marks(made, "circle")) == 1
    assert len(marks(made, "diamond")) == 2  # one stands on its corner, the other on its side


def boxes(made) -> list[tuple[float, float, float]]:
    """Left, right and foot of each name; a letter of eight points is some 4.4 wide."""
    named = [one for one in parts(made) if (one.text or "").startswith("OP")]
    return [
        (float(one.get("x")), float(one.get("x")) + 4.4 * len(one.text), float(one.get("y"))) for one in named
    ]


def test_names_do_not_lie_on_one_another():
    """Three units at one place: their names stand beside or above one another, none on another."""
    made = charts.funnels(
        [("By operator", units(*((f"OP{i}", 30, 0.1, "other") for i in range(3))), LINES, 0.1)], "Three."
    )
    found = boxes(made)

    assert len(found) == 3
    for i, (left, right, foot) in enumerate(found):
        for other_left, other_right, other_foot in found[:i]:
            assert left > other_right or other_left > right or abs(foot - other_foot) >= 7.5


def test_a_name_does_not_lie_on_the_mark_of_another_unit():
    """Two units of one rate a little apart: the mark of the second stands where the name of the first would."""
    made = charts.funnels(
        [("By operator", units(("OP1", 30, 0.1, "other"), ("OP2", 32, 0.1, "other")), LINES, 0.1)], "Two."
    )
    circles = [(float(one.get("cx")), float(one.get("cy"))) for one in marks(made, "circle")]

    assert len(boxes(made)) == 2
    for left, right, foot in boxes(made):
        assert not [1 for x, y in circles if left < x < right and foot - 6 < y < foot]


def test_where_there_is_no_room_a_name_is_left_to_the_table_but_not_that_of_a_unit_to_look_at():
    """Twelve units at one place have eight places for names; the last of them is the one to look at."""
    crowd = [(f"OP{i:02}", 30, 0.1, "other") for i in range(12)]
    made = charts.funnels([("By operator", units(*crowd, ("OP99", 30, 0.1, "flagged")), LINES, 0.1)], "Many.")
    names = [one.text for one in parts(made) if (one.text or "").startswith("OP")]

    assert "OP99" in names
    assert len(names) < 13


def test_units_without_a_name_have_none():
    made = charts.funnels([("By operator", units(("", 30, 0.1, "other")), LINES, 0.1)], "One.")
    texts = [one.text or "" for one in parts(made) if one.tag == f"{SVG}text"]

    assert not [one for one in texts if re.search("OP|not named", one)]


@pytest.mark.parametrize("name", ["<b>", 'a "quoted" & more', "Ω"])
def test_a_name_stays_text(name):
    made = charts.funnels([("By site", units((name, 30, 0.1, "other")), LINES, 0.1)], "One.")

    assert name in [one.text for one in parts(made)]


def test_nothing_to_draw_is_no_figure():
    assert charts.funnels([("By site", units(), LINES, 0.1)], "None.") is None
    assert charts.differences([], "caption", "words") is None
    assert charts.checks([("Counts", [], (), 1.0)], "None.") is None


def test_scanners_have_a_shape_each():
    days = [date(2024, 1, 1), date(2024, 2, 1)]
    rows = [(scanner, day, 1.0, False) for scanner in ("A", "B", "C") for day in days]
    made = charts.checks([("Counts", rows, (0.95, 1.05), 1.0)], "Three scanners.")

    # Two checks and one entry of the legend each.
    assert [len(marks(made, shape)) for shape in ("circle", "square", "triangle")] == [3, 3, 3]


def test_a_difference_is_drawn_around_nothing():
    made = charts.differences(
        [("One", 0.1, 0.05, 0.15, "+10"), ("Other", -0.1, -0.15, -0.05, "-10")], "caption", "Two differences."
    )
    first, second = (float(one.get("cx")) for one in marks(made, "circle"))
    (middle,) = [
        float(one.get("x1"))
        for one in parts(made)
        if one.tag == f"{SVG}line" and one.get("stroke") == "#22303C"
    ]

    assert first - middle == pytest.approx(middle - second, abs=0.2)
    assert first > middle
