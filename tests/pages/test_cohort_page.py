"""The page of cohorts: built row by row, the same file as the command reads, and what may not be seen."""

from __future__ import annotations

import json
import re
import shutil
from typing import TYPE_CHECKING, Any

import pytest

from registry.cohorts import CohortFile, draw
from tests.pages.conftest import serve

if TYPE_CHECKING:
    from streamlit.testing.v1 import AppTest


def text_of(page: AppTest) -> str:
    return " ".join(element.proto.body for element in page.get("html"))


def box(page: AppTest, label: str, kind: str = "selectbox", place: int = 0) -> Any:
    return [one for one in getattr(page.main, kind) if one.label == label][place]


def press(page: AppTest, label: str, place: int = 0) -> AppTest:
    return [one for one in page.main.button if one.label == label][place].click().run()


def draft(page: AppTest) -> CohortFile:
    return CohortFile.parse(json.dumps(page.session_state["cohort draft"]).encode())


@pytest.fixture
def page(served, open_page) -> AppTest:
    return open_page("cohort_export")


def test_what_is_chosen_stands_in_the_file_and_is_what_is_counted(served, page):
    box(page, "Field").select("age_years").run()
    box(page, "Operator").select("between").run()
    numbers = [one for one in page.main.number_input if one.label in ("From", "to")]
    numbers[0].set_value(40)
    numbers[1].set_value(60).run()
    box(page, "Unit of analysis").select("finding").run()
    made = draft(page)
    drawn = draw(served, made)

    assert made.plain()["population"] == {"field": "age_years", "operator": "between", "value": [40, 60]}
    assert made.unit == "finding"
    assert f"{drawn.frame.height:,} findings of {drawn.patients:,} patients are analysed" in text_of(page)
    assert made.sha256 in text_of(page)


def test_steps_are_added_at_the_end_and_taken_out_anywhere(page):
    page = press(page, "Add a step")
    page = press(page, "Add a step")
    box(page, "who are", "text_input", 0).set_value("first").run()
    box(page, "who are", "text_input", 1).set_value("second").run()
    assert [one.label for one in draft(page).steps] == ["first", "second"]
    page = press(page, "Take out", 0)

    assert [one.label for one in draft(page).steps] == ["second"]
    assert [one.value for one in page.exception] == []


def test_conditions_are_joined_by_all_or_any(page):
    box(page, "Conditions", "number_input").set_value(2).run()
    assert list(draft(page).plain()["population"]) == ["and"]
    box(page, "joined so that").select("or").run()
    assert list(draft(page).plain()["population"]) == ["or"]


def test_a_value_that_is_missing_is_asked_for_in_a_sentence(page):
    box(page, "Field").select("size_mm").run()
    box(page, "Operator").select("gt").run()

    assert "population, size_mm gt: value is missing" in text_of(page)
    assert [one.value for one in page.exception] == []
    assert "Table one" not in [one.value for one in page.header]


def test_a_standard_without_days_is_asked_for_them(page):
    box(page, "Reference standard").select("follow_up").run()
    assert "needs minimum_follow_up_days" in text_of(page)
    box(page, "Minimum follow-up [d]", "number_input").set_value(365).run()
    assert "needs minimum_follow_up_days" not in text_of(page)


def test_an_empty_cohort_says_where_everybody_was_left(page):
    box(page, "Field").select("age_years").run()
    box(page, "Operator").select("lt").run()
    box(page, "Value", "number_input").set_value(1).run()

    assert "no procedure is left to analyse" in text_of(page)
    assert "0 procedures of 0 patients are analysed" in text_of(page)


def test_the_table_is_split(page):
    box(page, "Groups").select("guidance").run()

    assert [one.value for one in page.exception] == []
    assert "PET tracer" in text_of(page)
    assert "standardised, the largest between two groups" in text_of(page)


def test_no_patient_operator_or_procedure_stands_on_the_page(served, page):
    said = text_of(page)
    for column in ("patient", "operator", "procedure_id"):
        names = {row[0] for row in served.rows(f"SELECT DISTINCT {column} FROM procedure_facts")}
        assert [one for one in names if re.search(rf"\b{re.escape(one)}\b", said)] == []


def test_a_file_is_frozen_and_the_next_version_begun_from_it(
    demo_folder, tmp_path, monkeypatch, opened, open_page
):
    registry = serve(shutil.copytree(demo_folder, tmp_path / "own"), monkeypatch, opened)
    page = press(open_page("cohort_export"), "Freeze it")
    first = draft(page)
    assert registry.rows("SELECT name, version, sha256 FROM frozen_cohort") == [
        ("new-cohort", 1, first.sha256)
    ]
    page = page.run()
    box(page, "Frozen").select("new-cohort, version 1").run()
    page = press(page, "Begin the next version from it")
    second = draft(page)

    assert (second.version, second.previous) == (2, first.sha256)
    press(page, "Freeze it")
    assert registry.rows("SELECT count(*) FROM frozen_cohort") == [(2,)]


def test_a_nested_filter_is_shown_in_words_and_kept(page):
    tree = {
        "or": [
            {
                "and": [
                    {"field": "age_years", "operator": "ge", "value": 40},
                    {"field": "density", "operator": "is_missing"},
                ]
            },
            {"not": {"field": "site", "operator": "eq", "value": "A"}},
        ]
    }
    document = {**page.session_state["cohort draft"], "population": tree}
    page.session_state["cohort draft"] = document
    page.session_state["cohort drawn"] = 7
    page.run()

    assert "(age_years is at least 40 and density is not recorded) or not (site is A)" in text_of(page)
    assert draft(page).plain()["population"] == tree
