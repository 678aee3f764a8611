"""Two ways that the quality committee goes, in a real browser, from a figure to a record and from a signal to a note."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from tests.browser.test_pages_in_browser import DONE, PATIENCE_MS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Page

pytestmark = pytest.mark.browser
NOTE = "Cores were lost in transport; looked at by the committee."


@pytest.fixture
def page(browser, address) -> Iterator[Page]:
    opened = browser.new_page(viewport={"width": 1440, "height": 1000})
    opened.set_default_timeout(PATIENCE_MS)
    yield opened
    opened.close()


def drawn(page: Page) -> None:
    page.wait_for_function(DONE, timeout=PATIENCE_MS)
    page.wait_for_timeout(800)


def test_from_a_figure_of_the_strip_to_the_record_of_one_procedure(page: Page, address: str):
    """Overview, one measure, its definition, the procedures behind the number, and the record of the chosen one."""
    page.goto(f"{address}/?measure=sampling_confirmed")
    drawn(page)
    figure = page.get_by_role("row").filter(has_text="Sampling of the target confirmed").first.inner_text()
    counts = re.search(r"(\d+) of (\d+)", figure)
    assert counts is not None

    panel = page.locator(".st-key-panel_sampling_confirmed")
    panel.get_by_text("Definition", exact=True).click()
    drawn(page)
    expect(panel.get_by_text("sampling_confirmed", exact=True)).to_be_visible()
    panel.get_by_text("Procedures behind it", exact=True).click()
    drawn(page)
    # The list holds as many as the strip said.
    expect(
        panel.get_by_text(re.compile(rf"^In the numerator: {counts[1]} procedures")).first
    ).to_be_attached()

    link = panel.get_by_role("link", name="Open its record")
    key = re.search(r"procedure=([^&]+)", link.get_attribute("href") or "")
    link.click()
    page.get_by_role("heading", level=1, name="Procedure record").wait_for()
    drawn(page)
    if key is not None:
        expect(page.get_by_text(key[1]).first).to_be_attached()
    assert "procedure=" in page.url


def test_from_a_signal_to_a_note_that_is_kept_and_shown_again(page: Page, address: str):
    """Monitoring, a signal, the procedures behind it, an answer; another visit finds the answer.

    Accepting half a per cent makes the small demo signal.
    """

    def signal() -> None:
        page.goto(f"{address}/monitoring?measure=sampling_confirmed")
        drawn(page)
        rate = page.get_by_label("Accepted rate, %")
        rate.fill("0.5")
        rate.press("Enter")
        drawn(page)

    signal()
    expect(page.get_by_text(re.compile(r"Procedures behind signal \d+")).first).to_be_attached()
    expect(page.get_by_text("Not answered yet.").first).to_be_visible()
    answer = page.get_by_role("combobox", name="Answer").first
    answer.click()
    answer.fill("Being looked into")
    page.get_by_role("option", name="Being looked into", exact=True).click()
    note = page.get_by_label("Note (name no patient)").first
    note.click()
    note.press_sequentially(NOTE)
    note.press("Tab")
    page.wait_for_timeout(500)
    page.get_by_role("button", name="Keep this answer").first.click()
    expect(page.get_by_role("table").filter(has_text=NOTE).first).to_be_visible(timeout=PATIENCE_MS)

    page.goto(address)
    drawn(page)
    signal()
    expect(page.get_by_role("table").filter(has_text=NOTE).first).to_be_visible(timeout=PATIENCE_MS)
