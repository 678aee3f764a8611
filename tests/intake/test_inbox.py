"""The drop folder: what is taken, what is left, and where files go."""

from __future__ import annotations

import csv
import io
import json
import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from registry.cli import app
from registry.imports.mapping import read_mapping
from registry.intake import InboxReport, Options, Reading, inbox, take_inbox
from tests.build import TODAY, base
from tests.intake.test_followers import LINES, MAPPING

if TYPE_CHECKING:
    from registry.store import Registry

OLD = 1_700_000_000


def drop(registry: Registry, name: str, text: str, *, at: int = OLD) -> Path:
    """A file in the inbox, last written long ago."""
    path = registry.folder / "inbox" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    os.utime(path, (at, at))
    return path


def table(name: str, **changed: str) -> str:
    rows = [row | changed for row in base()[name]]
    columns = list(dict.fromkeys(key for row in rows for key in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def take(registry: Registry, **options: object) -> InboxReport:
    return take_inbox(registry, author="coordinator", today=TODAY, settle=0.05, **options)  # type: ignore[arg-type]


def lying(registry: Registry) -> list[str]:
    place = registry.folder / "inbox"
    return sorted(str(one.relative_to(place)) for one in place.rglob("*") if one.is_file())


def test_files_of_parents_and_children_are_one_batch_and_move_to_done(registry: Registry):
    for name in ("patients", "findings", "operators"):
        drop(registry, f"{name}.csv", table(name))
    report = take(registry)
    assert [one.files for one in report.batches] == [("findings.csv", "operators.csv", "patients.csv")]
    assert (report.exit_code, report.batches[0].report.total.new) == (0, 3)
    assert lying(registry) == ["done/findings.csv", "done/operators.csv", "done/patients.csv"]


def test_what_was_taken_lies_in_raw(registry: Registry):
    text = drop(registry, "operators.csv", table("operators")).read_bytes()
    take(registry)
    assert [one.read_bytes() for one in (registry.folder / "raw").iterdir()] == [text]


def test_the_file_with_held_rows_moves_to_held_and_the_others_to_done(registry: Registry):
    drop(registry, "operators.csv", table("operators", experience_before="-1"))
    drop(registry, "meetings.csv", table("meetings"))
    report = take(registry)
    assert (report.exit_code, lying(registry)) == (1, ["done/meetings.csv", "held/operators.csv"])
    assert "  operators.csv: moved to inbox/held/operators.csv" in report.lines()


def test_a_refused_batch_moves_to_held_whole(registry: Registry):
    drop(registry, "operators.csv", table("operators", experience_before="-1"))
    drop(registry, "meetings.csv", table("meetings"))
    report = take(registry, options=Options(all_or_nothing=True))
    assert (report.exit_code, lying(registry)) == (1, ["held/meetings.csv", "held/operators.csv"])
    assert registry.rows("SELECT count(*) FROM meetings") == [(0,)]


def test_a_second_file_of_the_same_name_overwrites_nothing(registry: Registry):
    for n in (1, 2, 3):
        drop(registry, "operators.csv", f"operator\nOP{n}\n")
        take(registry)
    assert lying(registry) == ["done/operators-2.csv", "done/operators-3.csv", "done/operators.csv"]
    assert (registry.folder / "inbox" / "done" / "operators-3.csv").read_text() == "operator\nOP3\n"


def test_held_rows_dropped_in_again_are_answered(registry: Registry):
    drop(registry, "operators.csv", table("operators", experience_before="-1"))
    held = Path(take(registry).batches[0].report.held_files[0])
    drop(registry, "operators.csv", held.read_text(encoding="utf-8").replace(",-1,", ",1,"))
    report = take(registry)
    assert (report.exit_code, report.batches[0].report.resubmitted) == (0, 1)
    assert registry.rows("SELECT count(*) FROM quarantine WHERE state = 'open'") == [(0,)]


def test_a_file_that_cannot_be_read_stays_with_a_sentence(registry: Registry):
    drop(registry, "operators.csv", "")
    drop(registry, "meetings.csv", table("meetings"))
    report = take(registry)
    assert (report.exit_code, lying(registry)) == (2, ["meetings.csv", "operators.csv"])
    assert "operators.csv" in report.batches[0].problem


def test_an_empty_inbox_says_so(registry: Registry):
    (registry.folder / "inbox").rmdir()
    assert (take(registry).lines(), take(registry).exit_code) == (["The inbox is empty."], 0)


def test_a_dry_run_moves_and_writes_nothing(registry: Registry):
    drop(registry, "operators.csv", table("operators"))
    report = take(registry, options=Options(dry_run=True))
    assert (report.batches[0].report.total.new, lying(registry)) == (1, ["operators.csv"])
    assert registry.rows("SELECT count(*) FROM operators") == [(0,)]


def test_a_subfolder_is_a_batch_of_its_own(registry: Registry):
    drop(registry, "june/operators.csv", table("operators"))
    drop(registry, "meetings.csv", table("meetings"))
    report = take(registry)
    assert [one.files for one in report.batches] == [("meetings.csv",), ("june",)]
    assert lying(registry) == ["done/june/operators.csv", "done/meetings.csv"]


def test_another_file_needs_a_mapping(registry: Registry, tmp_path: Path):
    drop(registry, "flat.csv", "\n".join(LINES) + "\n")
    report = take(registry)
    assert (report.batches, lying(registry), report.exit_code) == ((), ["flat.csv"], 0)
    assert report.left[0].startswith("flat.csv: left in the inbox") and "--mapping" in report.left[0]
    (tmp_path / "flat.toml").write_text(MAPPING, encoding="utf-8")
    again = take(
        registry, reading=Reading(read_mapping(tmp_path / "flat.toml")), options=Options(held_share_max=1)
    )
    assert (again.batches[0].report.total.held, lying(registry)) == (3, ["held/flat.csv"])


# -- files that are being written --------------------------------------------------


def growing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file grows while the inbox is looked at for the second time."""

    def meanwhile(_: float) -> None:
        with path.open("a", encoding="utf-8") as handle:
            handle.write("OP9,radiologist,1\n")

    monkeypatch.setattr(inbox.time, "sleep", meanwhile)


def test_a_growing_file_is_left_and_so_are_the_tables_that_go_with_it(
    registry: Registry, monkeypatch: pytest.MonkeyPatch
):
    now = int(registry.clock().timestamp())
    path = drop(registry, "operators.csv", table("operators"), at=now)
    drop(registry, "meetings.csv", table("meetings"))
    drop(registry, "june/sources.csv", table("sources"))
    growing(path, monkeypatch)
    report = take(registry)
    assert [one.files for one in report.batches] == [("june",)]
    assert "still being written" in report.left[0] and report.left[0].startswith("operators.csv")
    assert report.left[1].startswith("meetings.csv: left in the inbox until operators.csv is complete")
    assert lying(registry) == ["done/june/sources.csv", "meetings.csv", "operators.csv"]


def test_files_that_lie_still_are_taken_without_waiting(registry: Registry, monkeypatch: pytest.MonkeyPatch):
    drop(registry, "operators.csv", table("operators"))
    growing(registry.folder / "inbox" / "operators.csv", monkeypatch)
    assert take(registry).batches[0].report.total.new == 1


@pytest.mark.parametrize("name", ["operators.csv.part", "~$list.xlsx", "list.xlsx.tmp"])
def test_a_name_that_says_unfinished_is_believed(registry: Registry, name: str):
    drop(registry, name, "x")
    report = take(registry)
    assert (report.batches, "still being written" in report.left[0], lying(registry)) == ((), True, [name])


def test_a_file_that_changed_after_it_was_read_stays(registry: Registry, monkeypatch: pytest.MonkeyPatch):
    path = drop(registry, "operators.csv", table("operators"))
    real = inbox.accept

    def then_grows(*given: object, **named: object) -> object:
        report = real(*given, **named)  # type: ignore[arg-type]
        with path.open("a", encoding="utf-8") as handle:
            handle.write("OP9,radiologist,1\n")
        return report

    monkeypatch.setattr(inbox, "accept", then_grows)
    report = take(registry)
    assert (lying(registry), "stays in the inbox" in " ".join(report.lines())) == (["operators.csv"], True)
    monkeypatch.setattr(inbox, "accept", real)
    take(registry)
    assert registry.rows("SELECT operator FROM operators ORDER BY 1") == [("OP1",), ("OP9",)]


def test_hidden_files_are_none_of_ours(registry: Registry):
    drop(registry, ".DS_Store", "x")
    assert take(registry).lines() == ["The inbox is empty."]


# -- the command -------------------------------------------------------------------


def test_the_command_without_a_source_takes_the_inbox(folder: Path):
    (folder / "inbox" / "operators.csv").write_text(table("operators"), encoding="utf-8")
    ran = CliRunner().invoke(app, ["import", str(folder), "--format", "json"])
    said = json.loads(ran.stdout)
    assert (ran.exit_code, said["batches"][0]["moved"]) == (0, {"operators.csv": "done/operators.csv"})
    again = CliRunner().invoke(app, ["import", str(folder)])
    assert (again.exit_code, again.stdout) == (0, "The inbox is empty.\n")
