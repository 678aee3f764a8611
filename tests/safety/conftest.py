"""A small registry with one whole procedure, and a clock that a test can set."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from registry.intake import accept
from registry.store import Registry
from tests.build import TODAY, base, received

if TYPE_CHECKING:
    from pathlib import Path


class Clock:
    """Says what it is set to."""

    def __init__(self) -> None:
        self.now = datetime(2026, 7, 1, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def on(self, **by: float) -> None:
        self.now += timedelta(**by)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="session")
def filled_template(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = shutil.copytree(empty_folder, tmp_path_factory.mktemp("filled") / "registry")
    with Registry.open(made, write=True) as registry:
        report = accept(registry, received(base()), author="coordinator", today=TODAY)
        assert not report.total.held
    return made


@pytest.fixture
def filled(filled_template: Path, tmp_path: Path) -> Path:
    """A registry folder of the test's own, with one whole procedure."""
    return shutil.copytree(filled_template, tmp_path / "filled")
