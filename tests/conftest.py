"""Fixtures shared by all tests."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from registry import store
from registry.store import Registry

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Playwright

# The same examples on every run: a red test is red for its change, not for its luck.
settings.register_profile("project", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("project")


@pytest.fixture(scope="session")
def empty_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A registry folder as create makes it; copy it, never write to it."""
    folder = tmp_path_factory.mktemp("template") / "registry"
    store.create(folder, time_zone="Europe/Lisbon", name="Test service")
    return folder


@pytest.fixture
def folder(empty_folder: Path, tmp_path: Path) -> Path:
    """An empty registry folder of the test's own."""
    own = tmp_path / "registry"
    shutil.copytree(empty_folder, own)
    return own


@pytest.fixture
def registry(folder: Path) -> Iterator[Registry]:
    """An empty registry, open for writing."""
    with Registry.open(folder, write=True) as opened:
        yield opened


@pytest.fixture(scope="session")
def player() -> Iterator[Playwright]:
    """What starts browsers. One a process: it refuses to be started while another runs."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        yield started
