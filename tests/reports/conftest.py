"""One demo registry, opened once, and its pack whole and to be shared."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.reports.pack import quality_pack
from registry.store import Registry

if TYPE_CHECKING:
    from pathlib import Path

START, END = date(2023, 7, 1), date(2024, 6, 30)
AS_OF = date(2026, 6, 30)
PERIOD = {"start": START, "end": END, "as_of": AS_OF}


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pack") / "demo"
    made = CliRunner().invoke(app, ["demo", str(folder), "--procedures", "400"])
    assert made.exit_code == 0, made.output
    return folder


@pytest.fixture(scope="session")
def opened(demo: Path):
    with Registry.open(demo) as registry:
        yield registry


@pytest.fixture(scope="session")
def whole(opened):
    return quality_pack(opened, **PERIOD)


@pytest.fixture(scope="session")
def shared(opened):
    return quality_pack(opened, **PERIOD, shareable=True)
