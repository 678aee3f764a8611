"""Registries of the cohorts' tests: one told row by row, one made by the generator."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.cohorts import CohortFile
from registry.store import Registry
from tests.measures.conftest import drawn, one_drawing

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.measures.build import Drawn as Drawing

__all__ = ["drawn", "one_drawing"]
AS_OF = date(2026, 6, 30)
NOW = datetime(2026, 7, 1, 8, 30, tzinfo=UTC)


def document(**changed: Any) -> dict[str, Any]:
    """A cohort file of everything, with what a test changes."""
    return {
        "cohort_file": 1,
        "name": "everything",
        "version": 1,
        "title": "Every procedure",
        "unit": "procedure",
        "project": "Test study",
        "index_date": "started_on",
        "as_of": AS_OF.isoformat(),
        "reference_standard": "none",
        **changed,
    }


def cohort(**changed: Any) -> CohortFile:
    """The same, read."""
    return CohortFile.parse(json.dumps(document(**changed)).encode())


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented registry; copy it, never write to it."""
    place = tmp_path_factory.mktemp("cohorts") / "demo"
    made = CliRunner().invoke(app, ["demo", str(place), "--procedures", "300"])
    assert made.exit_code == 0, made.output
    return place


@pytest.fixture(scope="module")
def registry(demo: Path) -> Iterator[Registry]:
    with Registry.open(demo) as opened:
        yield opened


@pytest.fixture
def writable(demo: Path, tmp_path: Path) -> Iterator[Registry]:
    with Registry.open(shutil.copytree(demo, tmp_path / "own"), write=True, clock=lambda: NOW) as opened:
        yield opened


class Reading:
    """A drawing as an open registry is read."""

    write = False

    def __init__(self, drawing: Drawing) -> None:
        self._drawing = drawing.built()
        self.site, self.cursor, self.stamp = drawing.site, drawing.cursor, drawing.stamp

    def rows(self, sql: str, parameters: Any = None) -> list[tuple[Any, ...]]:
        return self._drawing.run(sql, parameters)

    def revision(self) -> int:
        return 1
