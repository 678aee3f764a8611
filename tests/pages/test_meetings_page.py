"""The page of a meeting: its list, what is open, and what stands in the way of signing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from dashboards.components import meeting_walk
from registry.people import Actor, Role, ask
from tests.pages.test_pages import text_of
from tests.pages.test_quality_pages import rows_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from streamlit.testing.v1 import AppTest

    from registry.store import Registry

MEETING = "SITE-D-2026-07-08"


def test_the_meeting_ahead_is_the_one_that_is_opened(demo_page: Callable[[str], AppTest]):
    page = demo_page("meetings")
    assert page.main.selectbox[1].value == MEETING
    assert len(rows_of(page, "On the list, the most urgent first")) == 1 + 15


def test_what_changed_since_a_decision_stands_beside_the_reason(demo_page: Callable[[str], AppTest]):
    rows = rows_of(demo_page("meetings"), "On the list, the most urgent first")
    (row,) = [one for one in rows if "B9000010" in one[0]]
    assert row[1].startswith("changed since it was decided: diagnosis benign to high risk")


def test_what_earlier_meetings_left_is_listed_with_who_acts(demo_page: Callable[[str], AppTest]):
    rows = rows_of(demo_page("meetings"), "Left open by earlier meetings")
    (row,) = [one for one in rows if "B9000017" in one[0]]
    assert row[2:] == ["Discordant, 2026-05-13", "Repeat biopsy", "coordinator, 2026-05-27"]


def test_nothing_can_be_signed_before_anything_is_decided(demo_page: Callable[[str], AppTest]):
    page = demo_page("meetings")
    assert "Draft: 0 decided, 15 not decided" in text_of(page)
    assert "Sign the minutes" not in {one.label for one in page.button}


def test_next_goes_to_the_second_of_the_list(served: Registry, open_page: Callable[..., AppTest]):
    page = open_page("meetings")
    order = [row[0] for row in rows_of(page, "On the list, the most urgent first")[1:]]
    next(one for one in page.button if one.label == "Next").click().run()
    (walked,) = [one.value for one in page.main.selectbox if one.label == "Procedure"]
    assert walked in order[1]


def test_what_is_decided_keeps_its_place_in_the_walk(monkeypatch):
    """The second of four is decided and leaves the list: the next one is still the third."""
    monkeypatch.setattr(meeting_walk.st, "session_state", {})
    meeting_walk._order(["B1", "B2", "B3", "B4"], [], "M1")

    assert meeting_walk._order(["B1", "B3", "B4"], ["B2"], "M1") == ["B1", "B2", "B3", "B4"]
    # One that comes in most urgent stands first all the same; one decided elsewhere stands last.
    assert meeting_walk._order(["B0", "B1", "B3", "B4"], ["B2", "B9"], "M1") == [
        "B0",
        "B2",
        "B1",
        "B3",
        "B4",
        "B9",
    ]


def test_a_reason_begins_with_a_capital_and_keeps_its_category(
    served: Registry, open_page: Callable[..., AppTest]
):
    page = open_page("meetings")
    (walked,) = [one for one in page.main.selectbox if one.label == "Procedure"]
    walked.select("B9000014").run()

    assert "Benign or insufficient result in category 4C" in text_of(page)


@pytest.fixture
def as_quality():
    ask(lambda: Actor("ines", frozenset({Role.QUALITY})))
    yield
    ask(None)


def test_who_may_not_enter_sees_who_is_there_and_cannot_tick(
    served: Registry, as_quality, open_page: Callable[..., AppTest]
):
    page = open_page("meetings")
    assert "Chair: CHAIR-D. Present: nobody is recorded." in text_of(page)
    assert "Keep the attendance" not in {one.label for one in page.button}
    assert "Open a meeting" not in {one.label for one in page.expander}


def test_an_empty_registry_has_no_meeting_and_says_so(
    served_empty: Registry, open_page: Callable[..., AppTest]
):
    assert "No meeting is recorded yet." in text_of(open_page("meetings"))
