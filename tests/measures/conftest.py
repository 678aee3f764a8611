"""One database in memory for all tests of measures; each test draws its own rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.measures.build import TABLES, Drawn

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(scope="session")
def one_drawing() -> Iterator[Drawn]:
    made = Drawn()
    yield made
    made.close()


@pytest.fixture(scope="module")
def scene() -> Iterator[Drawn]:
    """An empty drawing that all tests of a module share, each of them adding nothing."""
    made = Drawn()
    yield made
    made.close()


@pytest.fixture
def drawn(one_drawing: Drawn) -> Iterator[Drawn]:
    """An empty drawing with the limits that are shipped."""
    one_drawing.rows = {table: [] for table in TABLES}
    before = one_drawing.run("SELECT * FROM site_setting")
    yield one_drawing
    one_drawing.run("DELETE FROM site_setting")
    with one_drawing.cursor() as cursor:
        cursor.executemany("INSERT INTO site_setting VALUES (?, ?, ?)", before)
