"""A registry whose time of recording the test sets."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

import pytest

from registry.store import Registry
from tests.build import Rows, base, load

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


class Clock:
    """Says what the test last set."""

    def __init__(self) -> None:
        self.now = datetime(2025, 4, 1, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def set(self, text: str) -> None:
        self.now = datetime.fromisoformat(text).replace(tzinfo=UTC)


def undecided_rows() -> Rows:
    """The procedure of ``tests.build``, reported and not reviewed."""
    return {name: rows for name, rows in base().items() if name not in ("reviews", "followup")}


def _loaded(empty: Path, place: Path, rows: Rows) -> Path:
    shutil.copytree(empty, place)
    with Registry.open(place, write=True, clock=Clock()) as opened:
        load(opened, rows, today=date(2028, 1, 1))
    return place


@pytest.fixture(scope="session")
def decided_folder(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The rows of ``tests.build``, recorded on 2025-04-01; copy it, never write to it."""
    return _loaded(empty_folder, tmp_path_factory.mktemp("decided") / "registry", base())


@pytest.fixture(scope="session")
def undecided_folder(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same without review and follow-up; copy it, never write to it."""
    return _loaded(empty_folder, tmp_path_factory.mktemp("undecided") / "registry", undecided_rows())


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def decided(decided_folder: Path, tmp_path: Path, clock: Clock) -> Iterator[Registry]:
    """One procedure, reported benign and found concordant."""
    with Registry.open(
        shutil.copytree(decided_folder, tmp_path / "decided"), write=True, clock=clock
    ) as opened:
        yield opened


@pytest.fixture
def undecided(undecided_folder: Path, tmp_path: Path, clock: Clock) -> Iterator[Registry]:
    """One procedure, reported benign and not reviewed."""
    with Registry.open(
        shutil.copytree(undecided_folder, tmp_path / "undecided"), write=True, clock=clock
    ) as opened:
        yield opened


@pytest.fixture
def registry(folder: Path, clock: Clock) -> Iterator[Registry]:
    with Registry.open(folder, write=True, clock=clock) as opened:
        yield opened
