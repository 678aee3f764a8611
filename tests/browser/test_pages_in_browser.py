"""Every page in a browser, wide and narrow: nothing breaks, nothing leaves, everything has a name."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest

from dashboards.app import OPENED_BY, PAGES
from dashboards.gate.desk import VISITOR
from registry.people import Action
from tests.browser.menu import follow

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

#: Those that are listed for a visitor of invented data.
TITLES = [
    title
    for pages in PAGES.values()
    for name, title in pages.items()
    if (action := OPENED_BY.get(name, Action.FIGURES)) is None or VISITOR.may(action)
]
WIDTHS = (1440, 900)
PATIENCE_MS = 60_000
#: Inputs that can be reached and have no accessible name, as assistive technology would compute the common ways of naming.
NAMELESS = """() => [...document.querySelectorAll('input, select, textarea')]
  .filter(e => e.type !== 'hidden' && e.checkVisibility() && e.tabIndex >= 0 && !e.closest('[aria-hidden="true"]'))
  .filter(e => !(e.labels && e.labels.length) && !e.getAttribute('aria-label') && !e.getAttribute('aria-labelledby') && !e.title)
  .map(e => e.outerHTML.slice(0, 160))"""
NAMELESS_BUTTONS = """() => [...document.querySelectorAll('button, a[href]')]
  .filter(e => e.checkVisibility() && !e.innerText.trim() && !e.getAttribute('aria-label') && !e.title)
  .map(e => e.outerHTML.slice(0, 160))"""
#: Charts whose graphic has neither label nor description.
NAMELESS_CHARTS = """() => [...document.querySelectorAll('[data-testid="stVegaLiteChart"]')]
  .filter(e => !e.querySelector('[aria-label]') && !e.getAttribute('aria-label'))
  .map(e => e.outerHTML.slice(0, 160))"""
TABLES_WITHOUT_HEADS = """() => [...document.querySelectorAll('[data-testid="stMain"] table')]
  .filter(e => !e.querySelector('th[scope="col"]') || !e.caption)
  .map(e => e.outerHTML.slice(0, 160))"""
OVERFLOW = """() => { const m = document.querySelector('[data-testid="stMain"]'); return m.scrollWidth - m.clientWidth; }"""
#: Tables of a page that are not seen whole: the rest lies beside what is shown.
CUT = """() => [...document.querySelectorAll('[data-testid="stMain"] .scroll')]
  .filter(one => one.clientWidth && one.scrollWidth > one.clientWidth + 4).map(one => one.getAttribute('aria-label'))"""
DONE = (
    """() => !document.querySelector('[data-testid="stStatusWidget"]') && document.querySelector('footer')"""
)


@dataclass
class Window:
    """A browser window of one width, and what it noticed since it was last asked."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Look:
    """What was seen of one page at one width."""

    errors: int
    complaints: list[str]
    elsewhere: list[str]
    overflow: int
    cut: list[str]
    nameless: list[str]
    undescribed: list[str]


@pytest.fixture(scope="module")
def window(browser, address) -> Callable[[int], Window]:
    """A window of one width, opened once."""
    opened: dict[int, Window] = {}

    def of(width: int) -> Window:
        if width not in opened:
            opened[width] = _window(browser, address, width)
        return opened[width]

    return of


def go(here: Window, title: str) -> Page:
    """Go to a page by its link in the menu and wait until it is drawn."""
    follow(here.page, title)
    here.page.get_by_role("heading", level=1, name=title).wait_for(timeout=PATIENCE_MS)
    here.page.wait_for_function(DONE, timeout=PATIENCE_MS)
    here.page.wait_for_timeout(800)
    return here.page


@pytest.fixture(scope="module")
def look(window, pictures) -> Callable[[str, int], Look]:
    """Look at a page once per width, and take its picture."""
    seen: dict[tuple[str, int], Look] = {}

    def at(title: str, width: int) -> Look:
        if (title, width) not in seen:
            here = window(width)
            here.complaints.clear()
            here.elsewhere.clear()
            page = go(here, title)
            page.screenshot(path=pictures / f"{title.lower().replace(' ', '-')}-{width}.png")
            seen[title, width] = Look(
                errors=page.locator('[data-testid="stException"], [data-testid="stAlert"]').count(),
                complaints=list(here.complaints),
                elsewhere=list(here.elsewhere),
                overflow=page.evaluate(OVERFLOW),
                cut=page.evaluate(CUT),
                nameless=page.evaluate(NAMELESS) + page.evaluate(NAMELESS_BUTTONS),
                undescribed=page.evaluate(NAMELESS_CHARTS) + page.evaluate(TABLES_WITHOUT_HEADS),
            )
        return seen[title, width]

    return at


def _window(browser, address, width) -> Window:
    window = Window(browser.new_page(viewport={"width": width, "height": 900}))
    window.page.on(
        "console", lambda said: said.type in ("error", "warning") and window.complaints.append(said.text)
    )
    window.page.on("pageerror", lambda error: window.complaints.append(str(error)))
    window.page.on(
        "request", lambda asked: _is_elsewhere(asked.url, address) and window.elsewhere.append(asked.url)
    )
    window.page.goto(address)
    window.page.wait_for_function(DONE, timeout=PATIENCE_MS)
    return window


def _is_elsewhere(url: str, address: str) -> bool:
    return not url.startswith((address, address.replace("http", "ws"), "data:", "blob:"))


everywhere = pytest.mark.parametrize(
    ("title", "width"), [(title, width) for width in WIDTHS for title in TITLES]
)


@everywhere
def test_a_page_shows_no_error(look, title, width):
    assert look(title, width).errors == 0


@everywhere
def test_the_browser_has_nothing_to_complain_about(look, title, width):
    assert look(title, width).complaints == []


@everywhere
def test_nothing_is_asked_of_another_machine(look, title, width):
    assert look(title, width).elsewhere == []


@everywhere
def test_nothing_is_wider_than_the_page(look, title, width):
    assert look(title, width).overflow <= 0


@pytest.mark.parametrize(
    "title",
    [
        "Radiology-pathology concordance",
        "Meetings",
        "Follow-up due",
        "Specimen uptake",
        "Timeliness",
        "Overview",
        "Yearly table",
        "Completeness",
        "Trail",
    ],
)
def test_the_tables_that_are_read_across_are_seen_whole(look, title):
    assert look(title, 900).cut == []


@everywhere
def test_every_input_and_button_has_a_name(look, title, width):
    assert look(title, width).nameless == []


@everywhere
def test_every_drawing_is_described_and_every_table_has_heads(look, title, width):
    assert look(title, width).undescribed == []


def test_the_checks_see_what_is_nameless(browser):
    page = browser.new_page()
    page.set_content(
        '<div data-testid="stMain"><input><button></button><div data-testid="stVegaLiteChart"></div><table><tr><td>1</td></tr></table></div>'
    )

    found = [
        page.evaluate(check) for check in (NAMELESS, NAMELESS_BUTTONS, NAMELESS_CHARTS, TABLES_WITHOUT_HEADS)
    ]
    page.close()

    assert [len(one) for one in found] == [1, 1, 1, 1]


def test_both_planes_have_as_many_pixels_per_mm_along_as_across(window):
    """Read from the drawn axes: pixels between two ticks over the mm between their labels."""
    page = go(window(900), "Targeting")
    page.wait_for_function(
        """() => [...document.querySelectorAll('[data-testid="stVegaLiteChart"]')]
          .filter(chart => chart.querySelector('.role-axis-label')).length >= 4""",
        timeout=PATIENCE_MS,
    )
    ticks = page.evaluate(
        """() => [...document.querySelectorAll('[data-testid="stVegaLiteChart"]')].map(chart =>
          [...chart.querySelectorAll('.role-axis-label')].map(labels => [...labels.querySelectorAll('text')]
            .filter(t => t.textContent && t.getAttribute('opacity') !== '0')
            .map(t => [t.textContent.replace('\u2212', '-'), t.getBoundingClientRect().x + t.getBoundingClientRect().width / 2,
                       t.getBoundingClientRect().y + t.getBoundingClientRect().height / 2])))"""
    )
    drawn = [[axis for axis in chart if len(axis) > 1] for chart in ticks]
    planes = [one for one in drawn if not any("%" in label for axis in one for label, *_ in axis)]

    assert len(planes) == 3
    for along, across in planes:
        mm_wide, mm_high = (abs(float(axis[-1][0]) - float(axis[0][0])) for axis in (along, across))
        wide = abs(along[-1][1] - along[0][1]) / mm_wide
        high = abs(across[-1][2] - across[0][2]) / mm_high
        # Labels are centred to about a pixel at either end of an axis.
        assert abs(wide - high) * min(mm_wide, mm_high) <= 2


def test_a_figure_leads_to_the_record_of_a_procedure_by_keyboard(window):
    page = go(window(1440), "Complications")
    fold = page.locator("summary", has_text="Procedures behind it").first
    fold.focus()
    page.keyboard.press("Enter")
    link = page.get_by_role("link", name="Open its record").first
    link.wait_for(timeout=PATIENCE_MS)
    link.focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1, name="Procedure record").wait_for(timeout=PATIENCE_MS)
    page.get_by_role("list", name="Line of the procedure").wait_for(timeout=PATIENCE_MS)

    assert re.search(r"/procedure-record\?procedure=B\d+", page.url)


def test_a_split_chosen_in_the_sidebar_reaches_the_page(window):
    page = go(window(1440), "Complications")
    box = page.get_by_label("Split by")
    box.click()
    box.fill("Approach")
    box.press("Enter")
    page.get_by_text("Complication of grade 2 or more, by approach").first.wait_for(
        state="attached", timeout=PATIENCE_MS
    )

    assert page.get_by_role("row", name=re.compile("^Lateral")).first.is_visible()


def test_a_filter_that_is_not_set_still_says_so_after_the_page_was_drawn_anew(browser, address):
    """On a page of its own, where the filter has no effect and cannot be changed."""
    page = browser.new_page()
    page.goto(f"{address}/concordance-review")
    box = page.get_by_role("combobox", name="Split by")
    box.wait_for(timeout=PATIENCE_MS)
    page.get_by_role("button", name="Next").wait_for(timeout=PATIENCE_MS)
    page.wait_for_function(DONE, timeout=PATIENCE_MS)
    assert box.input_value() == "Nothing"
    page.get_by_role("button", name="Presenter view").click()
    page.get_by_role("button", name="Leave the presenter view").wait_for(timeout=PATIENCE_MS)
    page.wait_for_function(DONE, timeout=PATIENCE_MS)
    said = box.input_value()
    page.close()

    assert said == "Nothing"


def test_a_deep_link_opened_by_itself_asks_for_nothing_that_is_not_there(browser, address):
    """But for two requests of the page library's own: with a path in the address it cannot know whether
    the server lies below that path, so it asks there first, is told no, and asks at the root.
    """
    page = browser.new_page()
    refused: list[str] = []
    page.on("response", lambda answer: answer.status >= 400 and refused.append(answer.url))
    page.goto(f"{address}/procedure-record?procedure=B0000001")
    page.get_by_role("list", name="Line of the procedure").wait_for(timeout=PATIENCE_MS)
    page.close()

    probes = {f"{address}/procedure-record/_stcore/{name}" for name in ("health", "host-config")}
    assert set(refused) <= probes
