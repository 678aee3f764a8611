"""The pages behind the guide's nginx, in a browser: the policy lets everything work and nothing else."""

from __future__ import annotations

import http.client
from typing import TYPE_CHECKING

import pytest

from dashboards.app import OPENED_BY, PAGES
from dashboards.gate.desk import VISITOR
from registry.people import Action
from tests.browser.conftest import ARGUMENTS, _chromium
from tests.browser.menu import follow
from tests.browser.server import make_demo, serving
from tests.deployment.conftest import NAME, nginx
from tests.deployment.test_nginx import UPGRADE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import BrowserContext, Page, Playwright

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("deployment")]

PATIENCE_MS = 60_000
#: Those that are listed for a visitor of invented data.
TITLES = [
    title
    for pages in PAGES.values()
    for name, title in pages.items()
    if (action := OPENED_BY.get(name, Action.FIGURES)) is None or VISITOR.may(action)
]
DONE = "() => !document.querySelector('[data-testid=\"stStatusWidget\"]') && document.querySelector('footer')"
CHART = '[data-testid="stVegaLiteChart"] .mark-symbol path, [data-testid="stVegaLiteChart"] .mark-rule line'


@pytest.fixture(scope="module")
def dashboard(tmp_path_factory) -> Iterator[int]:
    """Port of the pages of a small demo registry, known under the name of the guide."""
    place = tmp_path_factory.mktemp("behind")
    make_demo(place / "demo")
    with serving(place / "demo", [NAME]) as at:
        yield int(at.rpartition(":")[2])


@pytest.fixture(scope="module")
def place(dashboard, tmp_path_factory) -> Iterator[str]:
    """Address of the pages as a browser on the ward would write it."""
    with nginx(tmp_path_factory.mktemp("nginx"), dashboard) as running:
        yield f"https://{NAME}:{running.tls}"


@pytest.fixture(scope="module")
def visit(player: Playwright) -> Iterator[BrowserContext]:
    """A browser in which the name of the guide is this machine."""
    arguments = [*ARGUMENTS.split(), f"--host-resolver-rules=MAP {NAME} 127.0.0.1"]
    opened = player.chromium.launch(executable_path=_chromium(), args=arguments)
    yield opened.new_context(ignore_https_errors=True, viewport={"width": 1440, "height": 900})
    opened.close()


@pytest.fixture(scope="module")
def complaints() -> list[str]:
    """The errors in the browser's console; what the policy forbids is told there."""
    return []


@pytest.fixture(scope="module")
def page(visit, place, complaints) -> Page:
    opened = visit.new_page()
    opened.on("console", lambda said: said.type == "error" and complaints.append(said.text))
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.goto(place)
    opened.wait_for_function(DONE, timeout=PATIENCE_MS)
    return opened


def go(page: Page, title: str) -> None:
    follow(page, title)
    page.get_by_role("heading", level=1, name=title).wait_for(timeout=PATIENCE_MS)
    page.wait_for_function(DONE, timeout=PATIENCE_MS)
    page.wait_for_timeout(800)


@pytest.mark.parametrize("title", TITLES)
def test_a_page_works_under_the_policy(page, complaints, title):
    complaints.clear()

    go(page, title)

    assert page.locator('[data-testid="stException"]').count() == 0
    assert complaints == []


def test_charts_are_drawn_without_making_scripts_from_text(page, complaints):
    complaints.clear()

    go(page, "Targeting")

    page.locator(CHART).first.wait_for(state="attached", timeout=PATIENCE_MS)
    assert page.locator(CHART).count() > 20
    assert complaints == []


def test_a_link_opens_its_page_straight_away(visit, place):
    page = visit.new_page()
    page.goto(f"{place}/targeting")
    page.locator("h1").first.wait_for(timeout=PATIENCE_MS)

    assert page.locator("h1").all_inner_texts() == ["Targeting"]
    page.close()


def test_a_file_is_taken(page, complaints, tmp_path):
    """The token against forged requests travels in a header and a cookie; both must arrive."""
    file = tmp_path / "operators.csv"
    file.write_text("operator_id\nOP99\n")
    go(page, "Intake")
    complaints.clear()

    with page.expect_response(lambda answer: "/_stcore/upload_file/" in answer.url) as answered:
        page.locator('input[type="file"]').first.set_input_files(file)

    assert answered.value.status in (200, 204)
    assert complaints == []


def test_the_policy_is_in_force(page, complaints):
    """A script that finds its way into a page is not run, and the browser says so."""
    complaints.clear()

    ran = page.evaluate(
        """async () => { const one = document.createElement('script'); one.textContent = 'window.stranger = 1';
           document.body.append(one); await new Promise(done => setTimeout(done, 200)); return window.stranger || 0 }"""
    )

    assert ran == 0
    assert any("Content Security Policy" in said for said in complaints)


def test_the_page_cannot_be_shown_inside_another(visit, place):
    page = visit.new_page()
    page.set_content(f'<iframe src="{place}"></iframe>')

    page.wait_for_timeout(2000)
    assert page.frames[-1].url == "chrome-error://chromewebdata/"
    page.close()


@pytest.mark.parametrize(
    ("host", "status"),
    [(NAME, 101), ("127.0.0.1", 101), ("localhost", 101), ("elsewhere.example", 403)],
)
def test_only_known_names_get_the_stream(dashboard, host, status):
    """Another site can point its own name at loopback; its pages must get nothing from here."""
    connection = http.client.HTTPConnection("127.0.0.1", dashboard, timeout=20)
    connection.putrequest("GET", "/_stcore/stream", skip_host=True)
    for name, value in {"Host": host, "Origin": f"http://{host}", **UPGRADE}.items():
        connection.putheader(name, value)
    connection.endheaders()

    assert connection.getresponse().status == status
    connection.close()
