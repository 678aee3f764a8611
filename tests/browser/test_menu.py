"""The list of pages and the filters fit one screen, and need no mouse."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from dashboards.app import PAGES
from tests.browser.menu import GROUP, LINK, follow, group, listed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

PATIENCE_MS = 60_000
HEIGHT = 900
#: Pixels of the lowest end of what is drawn in a place, measured from the top of the window.
LOWEST = "selector => Math.max(0, ...[...document.querySelectorAll(selector)].map(one => one.getBoundingClientRect().bottom))"


@pytest.fixture(scope="module", params=[1440, 900])
def page(browser: Browser, address: str, request: pytest.FixtureRequest) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": request.param, "height": HEIGHT})
    opened = context.new_page()
    opened.goto(f"{address}/complications")
    drawn(opened, "Complications")
    yield opened
    context.close()


def drawn(page: Page, title: str) -> None:
    page.get_by_role("heading", level=1, name=title).wait_for(timeout=PATIENCE_MS)
    page.wait_for_selector("footer", timeout=PATIENCE_MS)


def test_the_filters_need_no_scrolling(page: Page):
    box = page.get_by_test_id("stSidebarContent")

    assert box.evaluate("one => one.scrollHeight <= one.clientHeight")
    assert page.evaluate(LOWEST, "[data-testid=stSidebar] [data-testid=stSelectbox]") < HEIGHT


def test_every_group_fits_with_room_for_further_pages(page: Page):
    for name in PAGES:
        group(page, name).click()
        page.get_by_test_id(LINK).first.wait_for()
        # Two further pages of some 30 pixels are on their way.
        assert page.evaluate(LOWEST, f"[data-testid={LINK}]") < HEIGHT - 60, name
        page.keyboard.press("Escape")
        page.get_by_test_id(LINK).first.wait_for(state="detached")


def test_every_page_is_listed_in_its_group(page: Page):
    # Nobody signs in to this registry, so that there are no accounts to manage.
    assert listed(page) == {title for pages in PAGES.values() for title in pages.values()} - {"People"}


def test_the_menu_does_not_cover_the_page(page: Page):
    head = page.get_by_test_id("stHeader").bounding_box()
    first = page.get_by_test_id("stMainBlockContainer").locator("p").first.bounding_box()

    assert first["y"] >= head["y"] + head["height"]


@pytest.mark.parametrize(("title", "name"), [("Trail", "Registry"), ("Monitoring", "Quality")])
def test_the_group_of_the_open_page_is_marked(page: Page, title: str, name: str):
    follow(page, title)
    drawn(page, title)
    marked = [
        one.inner_text()
        for one in page.get_by_test_id(GROUP).all()
        if one.evaluate("one => getComputedStyle(one).boxShadow") != "none"
    ]

    assert marked == [name]


def test_a_page_is_reached_without_a_mouse(page: Page):
    """Enter opens a group at its first page, an arrow goes to the next, Enter follows it (menu of the open web standard)."""
    names = list(PAGES["Records"].values())
    group(page, "Records").focus()
    page.keyboard.press("Enter")
    page.get_by_test_id(LINK).first.wait_for()
    page.wait_for_function(f"() => document.activeElement.innerText == {names[0]!r}")
    page.keyboard.press("ArrowDown")
    page.wait_for_function(f"() => document.activeElement.innerText == {names[1]!r}")
    page.keyboard.press("Enter")
    drawn(page, names[1])

    assert page.get_by_role("heading", level=1).inner_text() == names[1]
