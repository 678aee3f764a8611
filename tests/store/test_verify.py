"""Verify: an untouched folder agrees, and whatever was changed behind intake's back is named."""

from __future__ import annotations

import csv
import hashlib
import json
import random
import shutil
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from registry import audit
from registry.dictionary import tables
from registry.imports.received import ReceivedFile
from registry.intake import accept, quarantine
from registry.intake.write import table_digest
from registry.store import ANCHOR, Registry
from registry.verify import Finding, verify, verify_trail
from tests.build import TODAY, Rows, base, received

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


def bring(registry: Registry, folder: Path, rows: Rows) -> None:
    """Rows through intake, from CSV files that intake keeps in raw/."""
    folder.mkdir()
    files = []
    for name, given in rows.items():
        path = folder / f"{name}.csv"
        with path.open("w", newline="", encoding="utf-8") as handle:
            writer = csv.DictWriter(handle, list(dict.fromkeys(key for row in given for key in row)))
            writer.writeheader()
            writer.writerows(given)
        files.append(
            ReceivedFile(path.name, path, hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_size)
        )
    accept(registry, replace(received(rows), files=tuple(files)), author="coordinator", today=TODAY)


@pytest.fixture(scope="module")
def template(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three batches: everything; a correction and a held row; the held row sent again."""
    place = tmp_path_factory.mktemp("kept")
    with Registry.open(shutil.copytree(empty_folder, place / "registry"), write=True) as registry:
        bring_three(registry, place)
    return place / "registry"


@pytest.fixture
def kept(template: Path, tmp_path: Path) -> Iterator[Registry]:
    """The three batches in a folder of the test's own."""
    with Registry.open(shutil.copytree(template, tmp_path / "kept"), write=True) as registry:
        yield registry


def bring_three(registry: Registry, tmp_path: Path) -> None:
    bring(registry, tmp_path / "first", base())
    bring(
        registry,
        tmp_path / "second",
        {
            "procedures": [{"procedure_id": "P1", "cores": "10"}],
            "complications": [
                {
                    "complication_id": "C2",
                    "procedure_id": "P1",
                    "kind": "pain",
                    "grade": "9",
                    "onset_on": "2025-03-11",
                }
            ],
        },
    )
    right = {
        "complication_id": "C2",
        "procedure_id": "P1",
        "kind": "pain",
        "grade": "2",
        "onset_on": "2025-03-11",
    }
    bring(registry, tmp_path / "third", {"complications": [{**right, "_quarantine_id": "2-1"}]})


def change(registry: Registry, sql: str, values: list[object] | None = None) -> None:
    """What another tool would do to the file."""
    with registry.cursor() as cursor:
        cursor.execute(sql, values)


def parts(found: list[Finding]) -> set[str]:
    return {one.part for one in found}


def test_an_untouched_registry_agrees(kept: Registry):
    assert verify(kept) == []


def test_an_empty_registry_agrees(registry: Registry):
    assert verify(registry) == []


def test_held_corrected_and_dismissed_rows_are_all_accounted_for(kept: Registry, tmp_path: Path):
    bring(
        kept,
        tmp_path / "fourth",
        {"complications": [{"complication_id": "C3", "procedure_id": "P1", "kind": "pain", "grade": "9"}]},
    )
    quarantine.dismiss(kept, "4-1", "coordinator", "typed twice")
    states = kept.rows("SELECT state, count(*) FROM quarantine GROUP BY state ORDER BY state")
    assert (states, verify(kept)) == ([("dismissed", 1), ("fixed", 1)], [])


# -- the trail ---------------------------------------------------------------------


def test_a_changed_entry_is_named_by_its_number(kept: Registry):
    change(kept, "UPDATE audit_event SET actor = 'somebody else' WHERE seq = 2")
    assert [(one.part, one.seq) for one in verify(kept)] == [("trail", 2)]


def test_a_mac_that_is_no_mac_is_a_finding_and_not_an_accident(kept: Registry):
    change(kept, "UPDATE audit_event SET mac = 'é' WHERE seq = 2")
    assert [(one.part, one.seq) for one in verify_trail(kept)] == [("trail", 2), ("anchor", 2)]


def test_entries_cut_off_at_the_end_are_missed(kept: Registry):
    newest = kept.rows("SELECT max(seq) FROM audit_event")[0][0]
    change(kept, "DELETE FROM audit_event WHERE seq > ?", [newest - 2])
    assert [(one.part, one.seq) for one in verify_trail(kept)] == [("anchor", newest - 1)]


def test_an_entry_is_said_in_a_plain_sentence(kept: Registry):
    change(kept, "UPDATE audit_event SET actor = 'somebody else' WHERE seq = 2")
    assert (
        str(verify_trail(kept)[0])
        == "trail: Entry 2 was changed after it was written; it is the first that is wrong."
    )


def tampered(rows: list[tuple], chance: random.Random) -> tuple[list[tuple], int]:
    """The entries with one thing done to them, and the number of the first that is then wrong."""
    made = list(rows)
    place = chance.randrange(len(made))
    kind = chance.choice(["change", "change", "change", "delete", "swap", "double", "cut"])
    if kind == "change":
        column = chance.randrange(1, len(made[place]))
        row = list(made[place])
        if column == 1:
            row[column] = row[column].replace(microsecond=(row[column].microsecond + 1) % 1_000_000)
        else:
            at = chance.randrange(max(len(row[column]), 1))
            row[column] = (
                f"{row[column][:at]}{'0' if row[column][at : at + 1] != '0' else '1'}{row[column][at + 1 :]}"
            )
        made[place] = tuple(row)
        return made, rows[place][0]
    if kind == "delete":
        del made[place]
        return made, rows[place][0]
    if kind == "swap":
        other = (place + 1 + chance.randrange(len(made) - 1)) % len(made)
        first, second = made[place], made[other]
        made[place], made[other] = (first[0], *second[1:]), (second[0], *first[1:])
        return made, min(first[0], second[0])
    if kind == "double":
        return [*made, (made[-1][0] + 1, *made[place][1:])], made[-1][0] + 1
    return made[:place], rows[place][0]


def test_a_thousand_random_tamperings_are_all_found_at_the_right_entry(kept: Registry):
    for number in range(8):
        kept.record(audit.Entry("coordinator", "look", "record", f"P{number}", {"page": number}))
    rows = kept.rows(f"SELECT {audit.COLUMNS} FROM audit_event ORDER BY seq")
    chance = random.Random(20260630)
    wrong = []
    with kept.cursor() as cursor:
        for _ in range(1000):
            made, first = tampered(rows, chance)
            cursor.execute("DELETE FROM audit_event")
            if made:
                many = ", ".join(["(?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"] * len(made))
                values = [value for row in made for value in row]
                cursor.execute(f"INSERT INTO audit_event ({audit.COLUMNS}) VALUES {many}", values)
            found = min((one.seq for one in verify_trail(kept) if one.seq), default=None)
            if found != first:
                wrong.append((first, found))
    assert wrong == []


# -- the anchor --------------------------------------------------------------------


def anchor_lines(registry: Registry) -> list[str]:
    return (registry.folder / ANCHOR).read_text(encoding="ascii").splitlines(keepends=True)


def test_a_cut_anchor_is_found(kept: Registry):
    lines = anchor_lines(kept)
    (kept.folder / ANCHOR).write_text("".join(lines[:-2]), encoding="ascii")
    assert [(one.part, one.seq) for one in verify_trail(kept)] == [("anchor", len(lines) - 1)]


def test_a_missing_anchor_is_found(kept: Registry):
    (kept.folder / ANCHOR).unlink()
    assert parts(verify_trail(kept)) == {"anchor"}


def test_a_changed_line_of_the_anchor_is_found(kept: Registry):
    lines = anchor_lines(kept)
    seq, mac, time = lines[1].split()
    lines[1] = f"{seq} {'0' * len(mac)} {time}\n"
    (kept.folder / ANCHOR).write_text("".join(lines), encoding="ascii")
    assert [(one.part, one.seq) for one in verify_trail(kept)] == [("anchor", int(seq))]


def test_a_torn_line_in_the_middle_is_found(kept: Registry):
    lines = anchor_lines(kept)
    lines[1] = lines[1][:20] + "\n"
    (kept.folder / ANCHOR).write_text("".join(lines), encoding="ascii")
    assert [str(one) for one in verify_trail(kept)] == ["anchor: Line 2 of audit.anchor cannot be read."]


def test_a_crash_before_or_in_the_last_anchor_is_normal(kept: Registry):
    lines = anchor_lines(kept)
    (kept.folder / ANCHOR).write_text("".join(lines[:-1]) + lines[-1][:20], encoding="ascii")
    assert verify_trail(kept) == []


# -- tables ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("UPDATE pathology SET diagnosis = 'normal'", "pathology has the right number of rows, but a value"),
        (
            "UPDATE procedures SET recorded_at = recorded_at - INTERVAL 1 DAY",
            "procedures has the right number of rows, but a value",
        ),
        (
            "UPDATE history.procedures SET superseded_reason = 'nothing'",
            "history.procedures has the right number of rows, but a value",
        ),
        ("DELETE FROM reviews", "reviews holds 0 rows, and should hold 1."),
        ("DELETE FROM history.procedures", "history.procedures holds 0 rows, and should hold 1."),
        ("UPDATE procedures SET root_id = 'P0'", "procedures: 1 chain roots are wrong, the first at P1."),
    ],
    ids=["a cell", "a stamp", "a cell of history", "a row", "a row of history", "a chain"],
)
def test_what_was_changed_apart_from_intake_is_named(kept: Registry, sql: str, said: str):
    change(kept, sql)
    found = [one.message for one in verify(kept) if one.part == "tables"]
    assert len(found) == 1 and found[0].startswith(said)


def test_a_changed_cell_with_its_digest_put_right_is_still_found(kept: Registry):
    """The digest can be computed by anybody; the entry that binds it cannot be written without the key."""
    change(kept, "UPDATE pathology SET diagnosis = 'normal'")
    with kept.cursor() as cursor:
        _, digest = table_digest(cursor, tables()["pathology"])
    change(
        kept,
        "UPDATE table_state SET digest = CAST(? AS HUGEINT) WHERE table_name = 'pathology'",
        [str(digest)],
    )
    newest = kept.rows("SELECT max(seq) FROM audit_event WHERE action = 'import'")[0][0]
    assert [one.seq for one in verify(kept) if one.part == "tables"] == [newest]


# -- batches and held rows ---------------------------------------------------------


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("DELETE FROM import_batch WHERE batch_id = 2", "Batch 2 is missing or stands twice (found 3)."),
        (
            "UPDATE import_batch SET unchanged = 1 WHERE batch_id = 1",
            "Batch 1: 14 rows received, but 14 new + 0 as a new version + 1 unchanged + 0 held.",
        ),
        (
            "UPDATE import_batch SET received = 15, unchanged = 1 WHERE batch_id = 1",
            "Batch 1: its counts are not those of entry",
        ),
        ("DELETE FROM quarantine", "Batch 2 held 1 rows, but 0 are listed."),
        (
            "UPDATE quarantine SET state = 'open', resolved_batch = NULL",
            "Over all batches 16 rows were received and not sent again",
        ),
    ],
    ids=["a batch", "a count", "two counts that agree", "a held row", "a held row opened"],
)
def test_a_batch_that_does_not_reconcile_is_named(kept: Registry, sql: str, said: str):
    change(kept, sql)
    assert [one.message for one in verify(kept) if one.message.startswith(said)]


# -- files and values --------------------------------------------------------------


def test_a_deleted_raw_file_is_named(kept: Registry):
    files = {
        one["name"]: one["sha256"]
        for one in json.loads(kept.rows("SELECT files FROM import_batch WHERE batch_id = 1")[0][0])
    }
    (kept.folder / "raw" / files["pathology.csv"]).unlink()
    assert [str(one) for one in verify(kept)] == ["raw files: pathology.csv of batch 1 is missing in raw/."]


def test_a_changed_raw_file_is_named(kept: Registry):
    files = {
        one["name"]: one["sha256"]
        for one in json.loads(kept.rows("SELECT files FROM import_batch WHERE batch_id = 1")[0][0])
    }
    path = kept.folder / "raw" / files["pathology.csv"]
    path.write_bytes(path.read_bytes().replace(b"benign", b"normal"))
    assert [str(one) for one in verify(kept)] == [
        "raw files: pathology.csv of batch 1 was changed: the file in raw/ no longer has its hash."
    ]


@pytest.mark.parametrize(
    ("sql", "found"),
    [
        ("UPDATE procedure_facts SET clear_until = DATE '2026-06-01'", ["facts"]),
        ("UPDATE procedure_facts SET tissue_mass_g = 2.4", ["facts"]),
        ("UPDATE procedure_facts SET tissue_mass_g = NULL", ["facts"]),
        ("DELETE FROM procedure_facts", ["facts"]),
        # 1.2 g + 1.1 g, off by a rounding of the last digits: the order of adding, not a change.
        ("UPDATE procedure_facts SET tissue_mass_g = 2.3000000000000003", []),
    ],
    ids=["a day", "a number", "a number erased", "a row", "the last digits"],
)
def test_kept_facts_that_the_record_does_not_give_are_found(kept: Registry, sql: str, found: list[str]):
    change(kept, sql)
    assert [one.part for one in verify(kept)] == found


def test_a_missing_table_is_a_finding_and_not_an_accident(kept: Registry):
    change(kept, "DROP TABLE quarantine")
    assert "database" in parts(verify(kept))
