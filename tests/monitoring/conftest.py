"""One database in memory; each test draws its own rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.measures.build import Drawn

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture
def drawn() -> Iterator[Drawn]:
    made = Drawn()
    yield made
    made.close()
