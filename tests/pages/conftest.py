"""A small demo registry for all page tests, and the pages run without a browser."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest
from typer.testing import CliRunner

from dashboards import session
from dashboards.launch import APP, FOLDER
from registry import store
from registry.cli import app as command_line

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

#: Invented procedures: enough for every page to have something to show, and quick.
PROCEDURES = 150
#: A slow machine may need this long for the first run of a page, s.
PATIENCE = 60


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo as its command makes it: invented, and brought in through intake."""
    folder = tmp_path_factory.mktemp("pages") / "demo"
    made = CliRunner().invoke(command_line, ["demo", str(folder), "--procedures", str(PROCEDURES)])
    assert made.exit_code == 0, made.output
    return folder


@pytest.fixture(scope="session")
def opened() -> Iterator[list[store.Registry]]:
    """Registries that pages opened; closed at the end, as a page server would by ending."""
    found: list[store.Registry] = []
    yield found
    for one in found:
        one.close()
    st.cache_resource.clear()


@pytest.fixture
def served(
    demo_folder: Path, monkeypatch: pytest.MonkeyPatch, opened: list[store.Registry]
) -> store.Registry:
    """The demo registry as the pages see it."""
    return serve(demo_folder, monkeypatch, opened)


@pytest.fixture
def served_empty(
    folder: Path, monkeypatch: pytest.MonkeyPatch, opened: list[store.Registry]
) -> store.Registry:
    """An empty registry as the pages see it."""
    return serve(folder, monkeypatch, opened)


def serve(folder: Path, monkeypatch: pytest.MonkeyPatch, opened: list[store.Registry]) -> store.Registry:
    monkeypatch.setenv(FOLDER, str(folder))
    registry = session.registry()
    if registry not in opened:
        opened.append(registry)
    return registry


@pytest.fixture(scope="session")
def seen() -> dict[tuple[str, str], AppTest]:
    """Pages that were run and only looked at, by folder and name."""
    return {}


@pytest.fixture
def demo_page(
    served: store.Registry, open_page: Callable[..., AppTest], seen: dict[tuple[str, str], AppTest]
) -> Callable[[str], AppTest]:
    """A page of the demo to be looked at and not touched; run once for all tests."""

    def look(name: str) -> AppTest:
        key = (str(served.folder), name)
        if key not in seen:
            seen[key] = open_page(name)
        return seen[key]

    return look


@pytest.fixture
def open_page() -> Callable[..., AppTest]:
    """Run the app and go to one page; deep links are given as keywords."""

    def run(name: str, **link: str) -> AppTest:
        page = AppTest.from_file(str(APP), default_timeout=PATIENCE)
        page.run()
        page.query_params.update(link)
        return page.switch_page(f"app_pages/{name}.py").run()

    return run
