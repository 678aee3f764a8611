"""Operators and sites, discordance in full, the yearly table and completeness, as the pages draw them."""

from __future__ import annotations

import re
from datetime import date
from html import unescape
from typing import TYPE_CHECKING

import polars as pl
import pytest

from dashboards.components import words
from dashboards.components.funnel_plot import funnel_plot, learning_plot
from registry import quality, units
from registry.people import Actor, Role, acting, ask
from registry.record import latest_day
from registry.record.missing import expected_fields
from registry.units.frames import UNNAMED
from tests.pages.test_pages import text_of
from tests.pages.test_panels import fold

if TYPE_CHECKING:
    from collections.abc import Callable

    from streamlit.testing.v1 import AppTest

    from registry.store import Registry


def rows_of(page: AppTest, caption: str) -> list[list[str]]:
    """Cells of the table with that caption, the headings first."""
    (made,) = re.findall(rf"<table[^>]*><caption[^>]*>{re.escape(caption)}.*?</table>", text_of(page))
    rows = re.findall(r"<tr.*?</tr>", made)
    return [
        [unescape(re.sub(r"<[^>]*>", " ", one)).strip() for one in re.findall(r"<t[hd].*?</t[hd]>", row)]
        for row in rows
    ]


# -- operators and sites ------------------------------------------------------------------------


def test_units_stand_in_the_order_of_their_codes(demo_page: Callable[[str], AppTest]):
    codes = [
        row[0]
        for row in rows_of(
            demo_page("operators_and_sites"), "Sampling of the target confirmed, by operator, in"
        )[1:]
    ]

    assert len(codes) > 3
    assert codes == sorted(codes)


def test_the_page_says_how_many_were_looked_at_and_that_none_is_ranked(demo_page: Callable[[str], AppTest]):
    text = text_of(demo_page("operators_and_sites"))

    assert "operators were looked at. If all had one true rate" in text
    assert "no order of merit" in text


def test_sites_can_be_looked_at(served: Registry, open_page: Callable[..., AppTest]):
    page = open_page("operators_and_sites")
    page.main.selectbox[1].select("site").run()

    assert [row[0] for row in rows_of(page, "Sampling of the target confirmed, by site, in")[1:]] == [
        "SITE-A",
        "SITE-B",
        "SITE-C",
        "SITE-D",
    ]
    assert "What each operator brought" not in text_of(page)


@pytest.mark.parametrize("measure", ["discordance", "complication", "later_cancer_after_concordant"])
def test_every_kind_of_rate_can_be_chosen(served: Registry, open_page: Callable[..., AppTest], measure: str):
    page = open_page("operators_and_sites")
    page.main.selectbox[0].select(measure).run()

    assert [one.value for one in page.exception] == []


def test_an_operator_finds_no_other_name_on_the_page(served: Registry, open_page: Callable[..., AppTest]):
    ask(lambda: Actor("ines", frozenset({Role.RADIOLOGIST}), "OP01"))
    try:
        page = open_page("operators_and_sites")
    finally:
        ask(None)
    text = text_of(page)

    assert [one.value for one in page.exception] == []
    assert "OP01 (you)" in text
    assert re.findall(r"OP(?!01)\d\d", text) == []
    assert UNNAMED in text


def marks(**kinds: str) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {"name": name, "n": 50, "rate": 0.5, "lower": 0.4, "upper": 0.6, "kind": kind}
            for name, kind in kinds.items()
        ]
    )


LINES = pl.DataFrame(
    {
        "n": [10, 60],
        "low_998": [0.1, 0.3],
        "low_95": [0.2, 0.4],
        "high_95": [0.8, 0.6],
        "high_998": [0.9, 0.7],
    }
)


def test_limits_are_drawn_before_intervals_and_intervals_before_marks():
    drawn = funnel_plot(marks(A="other"), LINES, 0.5)

    assert [layer["mark"]["type"] for layer in drawn["layer"]] == [
        *["line"] * 4,
        "rule",
        "rule",
        "point",
        "text",
        "text",
    ]


def test_kinds_of_marks_differ_in_shape_and_not_in_colour_alone():
    (point,) = [
        layer
        for layer in funnel_plot(marks(A="other"), LINES, 0.5)["layer"]
        if layer["mark"]["type"] == "point"
    ]

    assert len(set(point["encoding"]["shape"]["scale"]["range"])) == 3


def test_two_marks_at_one_place_have_their_names_on_two_sides():
    texts = [
        layer
        for layer in funnel_plot(marks(A="other", B="other"), LINES, 0.5)["layer"]
        if layer["mark"]["type"] == "text"
    ]

    assert [[one["name"] for one in layer["data"]["values"]] for layer in texts] == [["A"], ["B"]]
    assert texts[0]["mark"]["dy"] < 0 < texts[1]["mark"]["dy"]


def test_a_class_with_counts_only_is_not_drawn():
    points = pl.DataFrame(
        {
            "numbers": ["1 to 10", "11 to 25"],
            "share": [None, 0.8],
            "lower": [None, 0.7],
            "upper": [None, 0.9],
            "bound": [None, None],
        },
        schema_overrides={"bound": pl.Float64},
    )
    low, high = learning_plot(points)["layer"][1]["encoding"]["y"]["scale"]["domain"]

    assert low < 0.7
    assert high > 0.9


# -- discordance --------------------------------------------------------------------------------


def test_three_denominators_stand_side_by_side(served: Registry, demo_page: Callable[[str], AppTest]):
    found = quality.denominators(served, as_of=latest_day(served))
    rows = rows_of(demo_page("concordance"), "Discordance at the first conclusive")[1:]

    assert [row[0] for row in rows] == ["All results", "Benign results", "Benign results of category 4 or 5"]
    for row, one in zip(rows, found, strict=True):
        assert f"{one.result.numerator} of {words.count(one.result.denominator)}" in row[1]
        assert f"{words.count(one.decided)} of {words.count(one.due)}" in row[2]
        assert f"{one.not_reviewed} not reviewed, {one.indeterminate} indeterminate" in row[3]


def test_every_discordant_of_the_period_is_listed_with_its_record(
    served: Registry, open_page: Callable[..., AppTest]
):
    page = open_page("concordance")
    page.selectbox(key="discordant year").select("The whole period").run()
    listed = quality.discordant(served, as_of=latest_day(served))
    rows = rows_of(page, "Every discordant result of The whole period")[1:]

    assert [row[0].split()[0] for row in rows] == listed.get_column("procedure_id").to_list()
    assert all(
        f'href="procedure-record?procedure={key}"' in text_of(page)
        for key in listed.get_column("procedure_id")
    )


def test_whoever_sees_no_procedures_sees_no_list(served: Registry, open_page: Callable[..., AppTest]):
    ask(lambda: Actor("vera", frozenset({Role.VIEWER})))
    try:
        text = text_of(open_page("concordance"))
    finally:
        ask(None)

    assert "The list is for those who may see single procedures." in text
    assert "procedure-record?" not in text


# -- maturity -------------------------------------------------------------------------------------


def test_a_figure_says_how_the_procedures_of_the_period_part(demo_page: Callable[[str], AppTest]):
    assert re.search(r"of the period [\d\u202f]+ are counted", text_of(demo_page("complications")))


def test_the_flow_says_why_each_is_left_out_and_names_best_and_worst_case(
    served: Registry, open_page: Callable[..., AppTest]
):
    page = text_of(fold(open_page("concordance"), "Exclusion flow", "discordance"))

    assert "too recent" in page
    assert "not on record" in page
    assert "Best and worst case" in page or "there is no better or worse case" in page


def test_best_and_worst_case_in_words():
    """3 of 20, 5 not on record: 3/25 to 8/25."""
    row = {
        "numerator": 3,
        "denominator": 20,
        "excluded": {"no pathology report": 5, "window not complete": 2},
    }

    assert "12.0 to 32.0" in words.extremes(row, 10)
    assert "2 procedures too recent" in words.extremes(row, 10)


def test_too_few_have_no_best_and_worst_case():
    row = {"numerator": 3, "denominator": 9, "excluded": {"no pathology report": 5}}

    assert "%" not in words.extremes(row, 10)


# -- the yearly table -------------------------------------------------------------------------------


def test_the_yearly_table_is_that_of_the_service(served: Registry, demo_page: Callable[[str], AppTest]):
    day = latest_day(served)
    found = quality.yearly(served, until=day, as_of=day)
    rows = rows_of(demo_page("yearly_table"), "Procedures and what they found")[1:]

    assert [row[1] for row in rows] == [words.count(counts[0]) for counts in found.procedures.counts]


def test_every_cell_opens_its_list(served: Registry, open_page: Callable[..., AppTest]):
    page = open_page("yearly_table")
    page.selectbox(key="yearly row procedures").select("cancer").run()
    day = latest_day(served)
    number = quality.yearly(served, until=day, as_of=day).procedures.count("cancer")
    (caption,) = re.findall(r"(\d+) procedures?(?:; the first \d+)?</caption>", text_of(page))

    assert int(caption) == number


def test_another_year_can_be_chosen(served: Registry, open_page: Callable[..., AppTest]):
    page = open_page("yearly_table")
    page.date_input(key="until").set_value(date(2024, 6, 30)).run()

    assert [one.value for one in page.exception] == []
    assert "Procedures from 2023-07-01 to 2024-06-30" in text_of(page)


# -- completeness -----------------------------------------------------------------------------------


def test_completeness_can_be_narrowed_to_a_site(served: Registry, open_page: Callable[..., AppTest]):
    page = open_page("completeness")
    page.selectbox(key="completeness site").select("SITE-B").run()
    counted = quality.completeness(served, as_of=latest_day(served))
    one = quality.by_field(counted, as_of=latest_day(served), site="SITE-B")[0]
    first = rows_of(page, "Fields filled where they are expected, SITE-B")[1]

    assert first[0] == "Targeting record"
    assert first[1].startswith(f"{one.x} of {one.n}")


def test_every_expected_field_is_on_the_page(served: Registry, demo_page: Callable[[str], AppTest]):
    text = text_of(demo_page("completeness"))

    assert [one["words"] for one in expected_fields() if one["words"][1:] not in text] == []


def test_the_units_service_is_what_the_page_shows(served: Registry, demo_page: Callable[[str], AppTest]):
    made = units.funnel(served, "sampling_confirmed", as_of=latest_day(served))
    rows = rows_of(demo_page("operators_and_sites"), "Sampling of the target confirmed, by operator, in")[1:]

    assert [row[1] for row in rows] == [f"{words.count(one.x)} of {words.count(one.n)}" for one in made.units]
    with acting(Actor("vera", frozenset({Role.VIEWER}))):
        assert units.funnel(served, "sampling_confirmed", as_of=latest_day(served)).unnamed
