"""The drawings of the measures' tests, with operators of the test's own."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import pytest

from tests.measures.conftest import drawn, one_drawing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.measures.build import Drawn

__all__ = ["brought", "drawn", "one_drawing"]


@pytest.fixture
def brought(drawn: Drawn) -> Iterator[Callable[[str, int | None], None]]:
    """Write down what an operator brought; forgotten after the test."""

    def write(operator: str, before: int | None) -> None:
        drawn.run(
            "INSERT INTO main.operators (operator, role, experience_before, recorded_at, author, batch_id) "
            "VALUES (?, 'radiologist', ?, ?, 'test', 1)",
            [operator, before, datetime(2026, 1, 1)],
        )

    yield write
    drawn.run("DELETE FROM main.operators")
