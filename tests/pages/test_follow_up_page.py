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


def test_an_outside_report_without_its_day_is_refused_in_words(due, served_empty):
    page = press(due, "Record the report")

    assert any("the day of the examination is missing" in one.value for one in page.error)
    assert served_empty.rows("SELECT count(*) FROM followup") == [(0,)]


def test_an_outside_report_that_can_show_the_target_takes_the_line_off(due, served_empty):
    next(one for one in due.date_input if one.label == "Day of the examination").set_value(date(2026, 6, 1))
    next(one for one in due.selectbox if one.label == "It shows").select("stable")
    page = press(due, "Record the report")

    assert served_empty.rows("SELECT kind, source, modality FROM followup") == [
        ("imaging", "outside_report", "pet_tracer")
    ]
    assert "Nobody is due." in text_of(page)


def test_a_page_on_which_nobody_is_due_says_so(served_empty, open_page):
    assert "Nobody is due." in text_of(open_page("follow_up_due"))
