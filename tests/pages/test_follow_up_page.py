"""The follow-up page: one line per patient, a call by one key, and a line that leaves the list by itself."""

from __future__ import annotations

from datetime import date

import pytest

from tests.build import base, load
from tests.pages.test_pages import text_of


@pytest.fixture
def due(served_empty, open_page):
    """The page of a registry in which one benign result is due."""
    rows = {name: given for name, given in base().items() if name not in ("reviews", "followup")}
    load(served_empty, rows, today=date(2026, 6, 30))
    return open_page("follow_up_due")


def press(page, label):
    return next(one for one in page.button if one.label == label).click().run()


def test_who_is_due_is_counted_and_named(due):
    assert "1 patient: 1 overdue beyond the grace." in text_of(due)
    assert "P1" in text_of(due)


def test_a_call_is_one_key_and_stands_in_the_record(due, served_empty):
    page = press(due, "No answer")

    assert [one.value for one in page.exception] == []
    assert served_empty.rows("SELECT kind, contact_result FROM followup") == [("contact", "no_answer")]
    assert next(one for one in page.button if one.label == "No answer").proto.shortcut == "2"


def box(page, label):
    return next(one for one in page.selectbox if one.label == label)


def test_no_modality_result_or_reason_is_chosen_beforehand(due):
    assert {label: box(due, label).value for label in ("Modality", "It shows", "Reason")} == {
        "Modality": None,
        "It shows": None,
        "Reason": None,
    }


def test_an_outside_report_that_is_not_filled_in_is_refused_in_words(due, served_empty):
    page = press(due, "Record the report")

    assert [one.value for one in page.error] == [
        "Not saved: the day of the examination, the modality and what it shows are missing. Fill them in."
    ]
    assert served_empty.rows("SELECT count(*) FROM followup") == [(0,)]


def test_what_was_filled_in_is_still_there_after_a_refusal(due):
    box(due, "Modality").select("mammography")
    page = press(due, "Record the report")

    assert box(page, "Modality").value == "mammography"


def test_an_outside_report_that_can_show_the_target_takes_the_line_off(due, served_empty):
    next(one for one in due.date_input if one.label == "Day of the examination").set_value(date(2026, 6, 1))
    box(due, "Modality").select("pet_tracer")
    box(due, "It shows").select("stable")
    page = press(due, "Record the report")

    assert served_empty.rows("SELECT kind, source, modality FROM followup") == [
        ("imaging", "outside_report", "pet_tracer")
    ]
    assert "Nobody is due." in text_of(page)


def test_the_chase_is_not_ended_without_a_reason(due, served_empty):
    page = press(due, "End it for this reason")

    assert [one.value for one in page.error] == ["Not saved: the reason is missing. Fill it in."]
    assert served_empty.rows("SELECT count(*) FROM followup") == [(0,)]


def test_a_chase_that_ended_for_the_reason_chosen_stays_on_the_list_as_such(due, served_empty):
    box(due, "Reason").select("moved")
    page = press(due, "End it for this reason")

    assert served_empty.rows("SELECT kind, closure_reason FROM followup") == [("lost", "moved")]
    assert "closed as lost to follow-up" in text_of(page)


def test_a_page_on_which_nobody_is_due_says_so(served_empty, open_page):
    assert "Nobody is due." in text_of(open_page("follow_up_due"))
