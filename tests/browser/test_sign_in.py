"""Signing in, in a real browser: two people side by side, an idle lock, the stream without a cookie."""

from __future__ import annotations

import asyncio
import re
import urllib.error
import urllib.request
from typing import TYPE_CHECKING

import pytest
from websockets.asyncio.client import connect
from websockets.exceptions import InvalidStatus

from dashboards.gate.requests import COOKIE
from tests.browser.menu import listed
from tests.browser.server import PASSWORD, ask_who, make_demo, serving

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, BrowserContext, Page

PEOPLE = {"ines": "coordinator", "vera": "viewer", "ada": "administrator"}
#: Minutes; the least that site.toml takes.
IDLE = 1
PATIENCE = 60_000


@pytest.fixture(scope="module")
def guarded(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a page server that asks who one is, and locks after a minute."""
    place = tmp_path_factory.mktemp("guarded")
    folder = place / "registry"
    make_demo(folder)
    ask_who(folder, PEOPLE)
    site = (folder / "site.toml").read_text(encoding="utf-8")
    (folder / "site.toml").write_text(
        site.replace("idle_minutes = 15", f"idle_minutes = {IDLE}"), encoding="utf-8"
    )
    with serving(folder) as at:
        yield at


def come_in(browser: Browser, address: str, name: str, path: str = "/") -> tuple[BrowserContext, Page]:
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.goto(f"{address}{path}")
    fill(page, name)
    page.wait_for_selector("p.person", timeout=PATIENCE)
    return context, page


def fill(page: Page, name: str) -> None:
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def test_a_deep_link_leads_through_the_form_to_its_page(browser, guarded, pictures: Path):
    context = browser.new_context(viewport={"width": 900, "height": 800})
    page = context.new_page()
    page.goto(f"{guarded}/complications?x=1")
    page.screenshot(path=pictures / "sign-in.png")
    assert "/sign-in" in page.url
    fill(page, "ines")
    page.wait_for_selector("h1:has-text('Complications')", timeout=PATIENCE)

    assert page.url.startswith(f"{guarded}/complications")
    context.close()


def test_two_people_side_by_side_see_their_own_names_and_pages(browser, guarded):
    first, ines = come_in(browser, guarded, "ines")
    second, vera = come_in(browser, guarded, "vera")
    for page in (ines, vera, ines):
        page.reload()
        page.wait_for_selector("p.person", timeout=PATIENCE)

    assert ines.locator("p.person").first.inner_text().split() == ["ines", "coordinator"]
    assert vera.locator("p.person").first.inner_text().split() == ["vera", "viewer"]
    assert {"Intake", "Procedure record"} <= listed(ines)
    assert not {"Intake", "Procedure record", "Trail", "People"} & listed(vera)
    vera.goto(f"{guarded}/procedure-record?procedure=B0000007")
    vera.wait_for_selector("text=This page is not open to your roles: viewer.", timeout=PATIENCE)
    assert "B0000007" not in vera.get_by_test_id("stMain").inner_text()
    first.close()
    second.close()


def test_nothing_is_loaded_from_or_forbidden_by_the_policy(browser, guarded):
    context, page = come_in(browser, guarded, "ines")
    said, asked = [], []
    page.on("console", lambda message: said.append(message.text))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{guarded}/repeat-and-excision")  # draws charts
    page.wait_for_selector(
        "[data-testid=stVegaLiteChart] svg, [data-testid=stVegaLiteChart] canvas", timeout=PATIENCE
    )

    assert [one for one in said if "Content Security Policy" in one] == []
    assert {re.split("[/:]", one.split("//")[1])[0] for one in asked if one.startswith("http")} == {
        "127.0.0.1"
    }
    context.close()


def test_who_signs_out_sees_nothing_any_more(browser, guarded):
    context, page = come_in(browser, guarded, "ines")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_selector("h1:has-text('Signed out')", timeout=PATIENCE)

    assert "Tissue obtained" not in page.content()
    page.goto(f"{guarded}/overview")
    assert "/sign-in" in page.url
    context.close()


def test_an_idle_page_locks_by_itself_and_goes_on_after_signing_in(browser, guarded, pictures: Path):
    context, page = come_in(browser, guarded, "ines", "/complications")
    page.wait_for_selector("h1:has-text('Complications')", timeout=PATIENCE)
    # A minute without a click, and up to twenty seconds until the page looks.
    page.wait_for_selector("h1:has-text('Locked')", timeout=100_000)
    page.wait_for_timeout(1000)
    page.screenshot(path=pictures / "locked.png")
    shown = page.get_by_test_id("stMain").inner_text()
    assert shown.split("\n\n")[0] == "Locked"
    # The page of complications, its counts and the sidebar's filters are gone.
    assert "grade" not in shown
    assert " of " not in shown.replace("nothing of the registry", "")
    assert page.get_by_text("Period of the procedures").count() == 0

    page.get_by_role("link", name="Sign in again").click()
    fill(page, "ines")
    page.wait_for_selector("h1:has-text('Complications')", timeout=PATIENCE)
    context.close()


def test_a_locked_account_is_out_at_once(browser, guarded):
    first, ada = come_in(browser, guarded, "ada", "/people")
    second, vera = come_in(browser, guarded, "vera")
    ada.wait_for_selector("h1:has-text('People')", timeout=PATIENCE)
    ada.get_by_role("combobox", name="Account", exact=True).click()
    ada.get_by_role("option", name="vera").click()
    ada.get_by_role("button", name="Lock", exact=True).click()
    ada.wait_for_selector("text=vera is locked.", timeout=PATIENCE)

    vera.reload()
    assert "/sign-in" in vera.url
    first.close()
    second.close()


# -- without a browser -----------------------------------------------------------------------


def stream(address: str, token: str | None) -> int | None:
    """Status with which the script stream is refused; None where it is opened."""

    async def ask() -> int | None:
        headers = {"Cookie": f"{COOKIE}={token}"} if token else {}
        try:
            url = f"{address.replace('http', 'ws', 1)}/_stcore/stream"
            async with connect(url, additional_headers=headers, subprotocols=["streamlit"]):
                return None
        except InvalidStatus as refused:
            return refused.response.status_code

    return asyncio.run(ask())


def test_the_script_stream_opens_for_a_session_alone(browser, guarded):
    context, page = come_in(browser, guarded, "ines")
    (token,) = [one["value"] for one in context.cookies() if one["name"] == COOKIE]
    # Playwright runs a loop of its own in this thread.
    import concurrent.futures

    with concurrent.futures.ThreadPoolExecutor(1) as aside:
        assert aside.submit(stream, guarded, None).result() == 403
        assert aside.submit(stream, guarded, "x" * 43).result() == 403
        assert aside.submit(stream, guarded, token).result() is None
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_selector("h1:has-text('Signed out')", timeout=PATIENCE)
    with concurrent.futures.ThreadPoolExecutor(1) as aside:
        assert aside.submit(stream, guarded, token).result() == 403
    context.close()


@pytest.mark.parametrize(
    "path", ["/", "/_stcore/host-config", "/static/js/index.js", "/media/x", "/oauth2callback"]
)
def test_nothing_answers_without_a_session(guarded, path):
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(f"{guarded}{path}", timeout=5)

    assert refused.value.code in (401, 404)
