"""A page opened while an import is running: it waits for it, and shows what stands there afterwards."""

from __future__ import annotations

import re
import time
from typing import TYPE_CHECKING

import pytest

from benchmarks.visit import Visit
from registry.store import create
from synthetic_data.generate import write as generate
from tests.browser.server import serving

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from benchmarks.visit import Run

#: So many that writing them takes longer than opening a page of definitions.
PROCEDURES = 1_500
#: For the import to end, s.
PATIENCE = 60


@pytest.fixture
def served(tmp_path: Path) -> Iterator[str]:
    folder = tmp_path / "registry"
    create(folder)
    (folder / "DEMO").touch()  # which anybody may serve
    with serving(folder) as at:
        yield at


def revision(run: Run) -> int:
    """The revision that the line at the foot of a page names."""
    return int(re.findall(r"revision (\d+)", run.text())[-1])


def import_button(run: Run) -> str:
    return next(one.id for one in run.widgets("button") if one.label == "Import")


def test_a_page_that_is_opened_meanwhile_shows_what_was_imported(served, tmp_path):
    made = generate(tmp_path / "files", procedures=PROCEDURES)
    tables = ("patients", "findings", "procedures", "pathology")
    files = [(f"{name}.csv", (made / f"{name}.csv").read_bytes()) for name in tables]
    with Visit(served) as visit:
        visit.open("")
        (uploader,) = visit.open("intake").widgets("file_uploader")
        visit.ask("intake", **{uploader.id: files})
        looked = visit.read()
        before = revision(looked)
        visit.ask("intake", **{uploader.id: files, import_button(looked): True})
        for said in visit.messages():
            if said.HasField("delta") and said.delta.new_element.button.label == "Import":
                break
        time.sleep(0.2)  # the row after the button: the import itself
        visit.ask("targets")
        meanwhile = revision(visit.read())
        end = time.monotonic() + PATIENCE
        afterwards = meanwhile
        while afterwards == before and time.monotonic() < end:
            time.sleep(0.5)
            visit.ask("targets")
            afterwards = revision(visit.read())

    assert before < afterwards
    assert meanwhile == afterwards
