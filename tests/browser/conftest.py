"""The pages in a real browser: a server on a free port of loopback, and Chromium."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.server import make_demo, serving

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Playwright

REQUIRE = "BIOPSY_OUTCOMES_REQUIRE_BROWSER"
#: Chromium must look for nothing outside this machine.
ARGUMENTS = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync"
)


def _chromium() -> str:
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found:
        return found
    if os.environ.get(REQUIRE) == "1":
        pytest.fail(
            f"No Chromium on this machine, and {REQUIRE}=1 asks for it. Install the package chromium."
        )
    pytest.skip(
        "NO BROWSER: the pages were not looked at, as there is no Chromium on this machine. Install the package chromium."
    )


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of this machine's Chromium."""
    return _chromium()


@pytest.fixture(scope="session")
def browser(chromium: str, player: Playwright) -> Iterator[Browser]:
    """Chromium of this machine, without a window."""
    opened = player.chromium.launch(executable_path=chromium, args=ARGUMENTS.split())
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def address(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a page server that serves a small demo registry, started from another folder."""
    place = tmp_path_factory.mktemp("browser")
    folder = place / "demo"
    make_demo(folder)
    with serving(folder) as at:
        yield at


@pytest.fixture(scope="session")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the pictures of the pages go, for whoever wants to look."""
    return tmp_path_factory.mktemp("pictures")
