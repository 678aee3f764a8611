"""The procedure of ``tests.build``, reported and not decided, and the people who decide."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from registry.concordance import Decision
from registry.people import Actor, Role
from registry.store import Registry
from tests.build import Rows, base, load

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

TODAY = date(2025, 4, 1)
AS_OF = TODAY


class Clock:
    """Says what the test last set; every reading is a second later."""

    def __init__(self) -> None:
        self.now = datetime(2025, 4, 1, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


def undecided() -> Rows:
    """The rows without a review and without what came afterwards."""
    return {name: rows for name, rows in base().items() if name not in ("reviews", "followup")}


def person(name: str, *roles: Role, via: str = "account", confirmed: bool = True) -> Actor:
    """Somebody who has signed in a moment ago."""
    return Actor(
        name,
        frozenset(roles),
        via=via,
        confirmed_at=datetime(2025, 4, 1, 8, 0, tzinfo=UTC) if confirmed else None,
    )


RADIOLOGIST = person("RA1", Role.RADIOLOGIST)
PATHOLOGIST = person("PA1", Role.PATHOLOGIST)


def decision(**cells: object) -> Decision:
    """A joint decision that agrees."""
    return Decision(
        **{  # type: ignore[arg-type]
            "procedure_id": "P1",
            "reviewed_on": TODAY,
            "stage": "joint",
            "radiologist": "RA1",
            "pathologist": "PA1",
            "determination": "concordant",
            "management": "same_tracer_imaging",
            **cells,
        }
    )


@pytest.fixture(scope="session")
def undecided_folder(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A registry folder with the rows; copy it, never write to it."""
    place = tmp_path_factory.mktemp("undecided") / "registry"
    shutil.copytree(empty_folder, place)
    with Registry.open(place, write=True, clock=Clock()) as opened:
        load(opened, undecided(), today=TODAY)
    return place


@pytest.fixture
def registry(undecided_folder: Path, tmp_path: Path) -> Iterator[Registry]:
    """A copy of it, open for writing."""
    place = tmp_path / "registry"
    shutil.copytree(undecided_folder, place)
    with Registry.open(place, write=True, clock=Clock()) as opened:
        yield opened
