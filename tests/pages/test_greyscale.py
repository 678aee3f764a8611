"""Every drawing of every page can be read in greyscale: what a colour tells apart, something else tells too."""

from __future__ import annotations

import json
from itertools import combinations
from typing import TYPE_CHECKING, Any

import pytest

from dashboards.app import OPENED_BY, PAGES
from registry.people import Action
from tests.pages.test_palette import contrast

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from streamlit.testing.v1 import AppTest

#: Two greys that differ less than this are taken for one (a third of the step that text needs).
LEAST = 1.5
PAINT = ("color", "fill", "stroke")
#: Channels that are seen without colour; a place on an axis is one of them.
BESIDE = ("shape", "strokeDash", "size", "x", "y", "row", "column", "facet", "text", "xOffset", "yOffset")
NAMES = [
    name
    for pages in PAGES.values()
    for name in pages
    if OPENED_BY.get(name, Action.FIGURES) in (Action.FIGURES, Action.PROCEDURES)
]


def units(spec: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Layers of a drawing that draw something, with what they inherit."""
    if "spec" in spec:
        yield from units(spec["spec"])
    parts = [one for key in ("layer", "hconcat", "vconcat", "concat") for one in spec.get(key, [])]
    for one in parts:
        yield from units({**one, "encoding": {**spec.get("encoding", {}), **one.get("encoding", {})}})
    if "mark" in spec:
        yield spec


def alike(colours: list[str]) -> bool:
    """Whether two of the colours are one grey."""
    plain = [one for one in dict.fromkeys(colours) if one.startswith("#")]
    return any(contrast(a, b) < LEAST for a, b in combinations(plain, 2))


def told_by_colour_alone(spec: dict[str, Any]) -> list[str]:
    """What a drawing tells apart by colours that a greyscale print does not."""
    found = []
    for unit in units(spec):
        encoding = unit.get("encoding", {})
        for paint in PAINT:
            given = encoding.get(paint)
            if not isinstance(given, dict):
                continue
            others = [encoding[name] for name in BESIDE if isinstance(encoding.get(name), dict)]
            if "field" in given and given.get("type") == "nominal":
                colours = given.get("scale", {}).get("range", [])
                beside = [one for one in others if one.get("field") == given["field"]]
                same = any(
                    len({str(kind) for kind in one.get("scale", {}).get("range", "ab")}) > 1 for one in beside
                )
                if alike(colours) and not same:
                    found.append(f"{paint} by {given['field']}")
            elif "condition" in given:
                condition = given["condition"]
                test = condition[0] if isinstance(condition, list) else condition
                colours = [one for one in (test.get("value"), given.get("value")) if one]
                same = any("condition" in one for one in others)
                if alike(colours) and not same:
                    found.append(f"{paint} by {test.get('test')}")
    return found


def drawings(page: AppTest) -> list[dict[str, Any]]:
    """The specifications that a page sent."""
    return [json.loads(one.proto.spec) for one in page.get("vega_lite_chart")]


@pytest.mark.parametrize("name", NAMES)
def test_every_drawing_can_be_read_without_colour(demo_page: Callable[[str], AppTest], name: str):
    assert [told for spec in drawings(demo_page(name)) for told in told_by_colour_alone(spec)] == []


def test_the_pages_hold_drawings(demo_page: Callable[[str], AppTest]):
    """The test above would pass on nothing."""
    drawn = {name: len(drawings(demo_page(name))) for name in NAMES}

    assert sum(drawn.values()) >= 15
    assert all(drawn[name] for name in ("monitoring", "operators_and_sites", "sources_and_constancy"))


def test_two_signals_and_lines_of_a_watch_can_be_told_apart(served, open_page):
    """The small demo signals only when asked to expect almost nothing."""
    page = open_page("monitoring", measure="insufficient_sample")
    page.main.date_input[0].set_value(page.main.date_input[0].value.replace(year=2020)).run()
    page.main.number_input[0].set_value(0.5).run()

    assert [told for spec in drawings(page) for told in told_by_colour_alone(spec)] == []


COLOURED = {
    "mark": "point",
    "encoding": {
        "x": {"field": "n", "type": "quantitative"},
        "color": {"field": "who", "type": "nominal", "scale": {"range": ["#0072B2", "#D55E00"]}},
    },
}


@pytest.mark.parametrize(
    ("beside", "told"),
    [
        ({}, ["color by who"]),
        ({"shape": {"field": "other", "type": "nominal"}}, ["color by who"]),
        ({"shape": {"field": "who", "scale": {"range": ["circle", "circle"]}}}, ["color by who"]),
        ({"shape": {"field": "who", "scale": {"range": ["circle", "square"]}}}, []),
        ({"y": {"field": "who", "type": "nominal"}}, []),
    ],
)
def test_the_check_sees_what_colour_alone_tells(beside, told):
    spec = {"layer": [{**COLOURED, "encoding": {**COLOURED["encoding"], **beside}}]}

    assert told_by_colour_alone(spec) == told


def test_the_check_sees_a_condition_by_colour_alone():
    paint = {"condition": {"test": "datum.out", "value": "#0B5D66"}, "value": "#A23B2A"}
    shape = {"condition": {"test": "datum.out", "value": "diamond"}, "value": "circle"}

    assert told_by_colour_alone({"mark": "point", "encoding": {"color": paint}}) == ["color by datum.out"]
    assert told_by_colour_alone({"mark": "point", "encoding": {"color": paint, "shape": shape}}) == []


def test_two_greys_that_differ_enough_need_nothing_beside():
    spec = {
        **COLOURED,
        "encoding": {
            "color": {"field": "who", "type": "nominal", "scale": {"range": ["#000000", "#CC79A7"]}}
        },
    }

    assert told_by_colour_alone(spec) == []
