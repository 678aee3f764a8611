"""A registry of twelve patients, each test with a copy of its own."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from registry.store import Registry
from tests.build import load
from tests.exports.made import NOW, twelve

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(scope="module")
def template(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = shutil.copytree(empty_folder, tmp_path_factory.mktemp("cohort") / "registry")
    with Registry.open(place, write=True, clock=lambda: NOW) as opened:
        report = load(opened, twelve())
    assert report.total.held == 0
    return place


@pytest.fixture
def registry(template: Path, tmp_path: Path) -> Iterator[Registry]:
    with Registry.open(
        shutil.copytree(template, tmp_path / "registry"), write=True, clock=lambda: NOW
    ) as opened:
        yield opened
