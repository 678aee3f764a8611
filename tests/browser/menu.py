"""The pages in their groups along the top: going to one, and listing them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards.app import PAGES

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

GROUP, LINK = "stTopNavSection", "stTopNavDropdownLink"


def group(page: Page, name: str) -> Locator:
    """The button that opens a group."""
    return page.get_by_test_id(GROUP).filter(has_text=name)


def follow(page: Page, title: str) -> None:
    """Open the group of a page and click its link."""
    (name,) = [name for name, pages in PAGES.items() if title in pages.values()]
    group(page, name).click()
    page.get_by_role("menuitem", name=title, exact=True).click()


def listed(page: Page) -> set[str]:
    """Titles of all pages that are offered."""
    page.get_by_test_id(GROUP).first.wait_for()
    found: set[str] = set()
    for one in page.get_by_test_id(GROUP).all():
        one.click()
        page.get_by_test_id(LINK).first.wait_for()
        found |= set(page.get_by_test_id(LINK).all_inner_texts())
        page.keyboard.press("Escape")
        page.get_by_test_id(LINK).first.wait_for(state="detached")
    return found
