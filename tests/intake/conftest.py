"""Fixtures of the intake tests."""

from __future__ import annotations

import csv
import hashlib
import shutil
from typing import TYPE_CHECKING

import pytest

from registry.imports.received import CleanCsv, Received, ReceivedFile, SourceTable
from registry.store import Registry
from tests.build import Rows, base, load, received
from tests.intake.changed import rows_of, with_frame
from tests.intake.offending import STORED_TOO

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path


@pytest.fixture
def as_files(tmp_path: Path) -> Callable[[Rows], Received]:
    """Rows as sound CSV files, which a first batch reads in place."""

    def made(rows: Rows) -> Received:
        files, tables = [], []
        for table in received(rows).tables:
            columns = [name for name in table.frame.columns if not name.startswith("_")]
            path = tmp_path / table.file
            with path.open("w", newline="", encoding="utf-8") as handle:
                writer = csv.writer(handle, lineterminator="\n")
                writer.writerow(columns)
                writer.writerows(
                    [cell or "" for cell in row] for row in table.frame.select(columns).iter_rows()
                )
            content = path.read_bytes()
            files.append(ReceivedFile(table.file, path, hashlib.sha256(content).hexdigest(), len(content)))
            sound = CleanCsv(files[-1], tuple(columns), table.frame.height)
            tables.append(SourceTable(table.table, table.file, table.frame, table.columns, sound))
        return Received("registry-csv", tuple(files), tuple(tables))

    return made


@pytest.fixture(scope="module")
def shared(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Registry]:
    """A registry with the valid rows. Tests add rows with keys of their own, or ask in dry runs."""
    folder = tmp_path_factory.mktemp("cells") / "registry"
    shutil.copytree(empty_folder, folder)
    with Registry.open(folder, write=True) as opened:
        load(opened, base())
        yield opened


@pytest.fixture(scope="module")
def stored(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Registry]:
    """A registry that holds the valid rows; tests ask it in dry runs and leave it as it is."""
    folder = tmp_path_factory.mktemp("stored") / "registry"
    shutil.copytree(empty_folder, folder)
    with Registry.open(with_frame(folder), write=True) as opened:
        load(opened, base())
        load(opened, rows_of(STORED_TOO, ""))
        yield opened


@pytest.fixture
def framed(folder: Path) -> Iterator[Registry]:
    """An empty registry of the test's own with the same frame."""
    with Registry.open(with_frame(folder), write=True) as opened:
        yield opened
