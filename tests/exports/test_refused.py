"""What is refused, and what the trail says."""

from __future__ import annotations

import errno
import json
import random
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from registry.errors import FileProblem, UsageProblem
from registry.package import build
from registry.store import Registry
from tests.exports.made import FILES, names_of, rows_of, run


def entries(registry: Registry) -> list[tuple[Any, ...]]:
    return registry.rows(
        "SELECT action, actor, object_key, outcome, details FROM audit_event WHERE action = 'export' ORDER BY seq"
    )


def test_the_export_is_an_entry_of_the_trail_with_the_hashes(registry: Registry, tmp_path: Path):
    report = run(registry, tmp_path / "out")
    action, actor, key, outcome, details = entries(registry)[0]
    stated = json.loads(details)
    assert (action, actor, key, outcome) == ("export", "researcher", "procedures", "done")
    assert (stated["files"], stated["rows"], stated["reason"]) == (report.files, 11, "study of targeting")


def test_the_entry_is_written_before_the_files_get_their_name(
    registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    def refuse(self: Path, target: Path) -> Path:
        raise OSError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(FileProblem, match="Permission denied"):
        run(registry, tmp_path / "out")
    assert (len(entries(registry)), (tmp_path / "out").exists()) == (1, False)


@pytest.mark.parametrize("reason", ["", "  \n"])
def test_an_export_without_a_reason_is_refused(registry: Registry, tmp_path: Path, reason: str):
    with pytest.raises(UsageProblem, match="An export needs a reason"):
        run(registry, tmp_path / "out", reason=reason)
    assert (entries(registry), (tmp_path / "out").exists()) == ([], False)


def test_a_period_that_ends_before_it_begins_is_refused(registry: Registry, tmp_path: Path):
    with pytest.raises(UsageProblem, match="the first day is after the last"):
        run(registry, tmp_path / "out", start=date(2025, 2, 1), end=date(2025, 1, 1))


def test_a_folder_inside_the_registry_is_refused_by_any_path(registry: Registry, tmp_path: Path):
    (tmp_path / "link").symlink_to(registry.folder)
    for place in (
        registry.folder / "out",
        tmp_path / "x" / ".." / "registry" / "out",
        tmp_path / "link" / "out",
        registry.folder,
    ):
        with pytest.raises(UsageProblem, match="lies in the registry folder"):
            run(registry, place)


def test_a_folder_inside_the_program_is_refused(registry: Registry):
    with pytest.raises(UsageProblem, match="the program's own folder"):
        run(registry, Path(build.__file__).parent / "out")


def test_a_folder_that_holds_something_is_refused(registry: Registry, tmp_path: Path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageProblem, match="exists and is not empty"):
        run(registry, tmp_path / "out")
    assert (tmp_path / "out" / "notes.txt").read_text(encoding="utf-8") == "mine"


def test_an_empty_folder_is_used(registry: Registry, tmp_path: Path):
    (tmp_path / "out").mkdir()
    run(registry, tmp_path / "out")
    assert names_of(tmp_path / "out") == FILES


def test_a_place_that_does_not_exist_is_named(registry: Registry, tmp_path: Path):
    with pytest.raises(UsageProblem, match="there is no such folder"):
        run(registry, tmp_path / "nowhere" / "out")


def test_a_registry_open_for_reading_cannot_export(template: Path, tmp_path: Path):
    place = shutil.copytree(template, tmp_path / "registry")
    with Registry.open(place) as registry, pytest.raises(UsageProblem, match="open for reading only"):
        run(registry, tmp_path / "out")


def test_a_full_disk_leaves_nothing_under_the_name_and_no_entry(
    registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    def full(self: pl.DataFrame, path: Path) -> None:
        path.write_bytes(b"half")
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(pl.DataFrame, "write_parquet", full)
    place = tmp_path / "place"
    place.mkdir()
    with pytest.raises(
        FileProblem, match=r"The export was not written: No space left on device\. Nothing is left under"
    ):
        run(registry, place / "out")
    assert (list(place.iterdir()), entries(registry)) == ([], [])


def test_numbers_are_drawn_from_the_seed_given(registry: Registry, tmp_path: Path):
    """The draw is Python's own shuffle of 1..12 over the sorted pseudonyms."""
    pseudonyms = sorted(row[0] for row in registry.rows("SELECT patient FROM patients"))
    numbers = list(range(1, 13))
    random.Random(7).shuffle(numbers)
    drawn = dict(zip(pseudonyms, numbers, strict=True))
    run(registry, tmp_path / "out")
    found = {
        row["procedure_id"]: int(row["patient_no"])
        for row in rows_of(tmp_path / "out" / "data" / "procedures.csv")
    }
    owner = dict(
        registry.rows(
            "SELECT p.procedure_id, f.patient FROM procedures AS p JOIN findings AS f ON f.finding_id = p.finding_id"
        )
    )
    assert found == {key: drawn[owner[key]] for key in found}
