"""The review page: own determination first, then flags, then the decision; what a shared screen may show."""

from __future__ import annotations

from datetime import date

import pytest

from tests.build import base, load
from tests.pages.conftest import serve
from tests.pages.test_pages import text_of

FLAG = "by the local table this result alone is a weak explanation"
WORDS = "Fibroadenoma; no atypia."


@pytest.fixture
def reviewed(served_empty, open_page):
    """The page of a registry in which one procedure is decided and another, P2, waits."""
    rows = base()
    rows["procedures"].append({**rows["procedures"][0], "procedure_id": "P2", "accession": "ACC2"})
    rows["pathology"].append({**rows["pathology"][0], "procedure_id": "P2", "report_id": "R2"})
    load(served_empty, rows, today=date(2026, 6, 30))
    return open_page("concordance_review")


def press(page, label):
    return next(one for one in page.button if one.label == label).click().run()


def box(page, label):
    return next(one for one in page.selectbox if one.label == label)


def test_flags_are_not_shown_before_the_own_determination(reviewed):
    assert WORDS in text_of(reviewed)
    assert FLAG not in text_of(reviewed)
    assert "Record this decision" not in [one.label for one in reviewed.button]


def test_flags_are_shown_after_it_and_the_form_begins_with_it(reviewed):
    page = press(reviewed, "Discordant")

    assert FLAG in text_of(page)
    assert next(one for one in page.selectbox if one.label == "Determination").value == "discordant"


def test_a_decision_without_a_reason_is_refused_in_words(reviewed, served_empty):
    page = press(reviewed, "Discordant")
    box(page, "Recommendation").select("repeat_biopsy")
    box(page, "Radiologist").select_index(0)
    box(page, "Pathologist (joint)").select_index(0)
    page = press(page, "Record this decision")

    assert any("reason" in one.value for one in page.error)
    assert served_empty.rows("SELECT procedure_id FROM reviews") == [("P1",)]


def test_nobody_stands_as_a_reviewer_who_was_not_chosen(reviewed, served_empty):
    page = press(reviewed, "Concordant")
    assert (box(page, "Radiologist").value, box(page, "Pathologist (joint)").value) == (None, None)
    box(page, "Recommendation").select("routine_screening")
    page = press(page, "Record this decision")

    assert any("radiologist" in one.value for one in page.error)
    assert served_empty.rows("SELECT procedure_id FROM reviews") == [("P1",)]


def test_what_was_recorded_does_not_stay_in_the_fields(reviewed, served_empty):
    page = press(reviewed, "Concordant")
    box(page, "Radiologist").select_index(0)
    box(page, "Pathologist (joint)").select_index(0)
    box(page, "Recommendation").select("routine_screening")
    page.text_area[0].input("Both agree.")
    page = press(page, "Record this decision")

    assert served_empty.rows("SELECT note FROM reviews WHERE procedure_id = 'P2'") == [("Both agree.",)]
    assert (box(page, "Recommendation").value, page.text_area[0].value) == (None, "")


def test_a_presenter_sees_no_free_text_and_no_way_to_a_number(reviewed):
    assert any("accession" in one.label for one in reviewed.button)
    page = press(reviewed, "Presenter view")

    assert WORDS not in text_of(page)
    assert not any("accession" in one.label for one in page.button)


def test_a_number_that_was_shown_is_not_shown_again_after_the_presenter_view(reviewed):
    page = press(reviewed, "Show the accession number")
    page = press(page, "Presenter view")
    assert [one.value for one in page.code] == []
    page = press(page, "Leave the presenter view")

    assert WORDS in text_of(page)
    assert [one.value for one in page.code] == []


def test_an_accession_number_is_shown_when_it_is_asked_for(reviewed):
    assert "ACC2" not in [one.value for one in reviewed.code]
    page = press(reviewed, "Show the accession number")

    assert [one.value for one in page.code] == ["ACC2"]


def test_a_page_without_anything_waiting_says_so(served_empty, open_page):
    assert "Nothing waits for the meeting." in text_of(open_page("concordance_review"))


def test_the_demo_has_something_to_review(demo_folder, monkeypatch, opened, open_page):
    serve(demo_folder, monkeypatch, opened)
    page = open_page("concordance_review")

    assert [one.value for one in page.exception] == []
    assert len(next(one for one in page.selectbox if one.label == "Procedure under review").options) > 3
