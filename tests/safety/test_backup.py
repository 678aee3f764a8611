"""A backup holds all but the key, says so, and notices what was done to it."""

from __future__ import annotations

import hashlib
import json
import shutil
import stat
import subprocess
import sys
from datetime import UTC, datetime

import duckdb
import pytest

from registry import audit
from registry.backup import MANIFEST, Backup, backup, backups, check
from registry.errors import FileProblem, IntegrityProblem, UsageProblem
from registry.keeper import superseded
from registry.store import Registry


@pytest.fixture
def made(filled, tmp_path, clock):
    with Registry.open(filled, write=True, clock=clock) as registry:
        return backup(registry, tmp_path / "backups", author="coordinator")


def test_the_copied_database_holds_the_rows_of_the_registry(made):
    with duckdb.connect(str(made.folder / "registry.duckdb"), read_only=True) as copy:
        assert copy.execute("SELECT procedure_id, cores FROM procedures").fetchall() == [("P1", 12)]
    with duckdb.connect(str(made.folder / "identity.duckdb"), read_only=True) as copy:
        assert copy.execute("SELECT accession FROM procedure_accession").fetchall() == [("ACC1",)]


def test_the_key_is_nowhere_in_it(made, filled):
    key = (filled / "site.key").read_text().strip()

    assert len(key) == 64
    for path in made.folder.rglob("*"):
        assert path.name not in ("site.key", "key_file")
        assert path.is_dir() or (
            key.encode() not in path.read_bytes() and bytes.fromhex(key) not in path.read_bytes()
        )


def test_the_manifest_states_the_digest_of_every_file(made):
    stated = json.loads((made.folder / MANIFEST).read_text())["files"]

    found = {
        str(path.relative_to(made.folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in made.folder.rglob("*")
        if path.is_file() and path.name != MANIFEST
    }
    assert {name: one["sha256"] for name, one in stated.items()} == found
    assert {"registry.duckdb", "identity.duckdb", "site.toml", "audit.anchor"} <= found.keys()


def test_the_manifest_names_the_head_of_the_trail_and_the_rows(made, filled):
    with duckdb.connect(str(made.folder / "registry.duckdb"), read_only=True) as copy:
        head = copy.execute("SELECT seq, mac FROM audit_event ORDER BY seq DESC LIMIT 1").fetchall()[0]
        specimens = copy.execute("SELECT count(*) FROM specimens").fetchall()[0][0]

    assert (made.manifest["trail"]["seq"], made.manifest["trail"]["mac"]) == head
    assert made.manifest["counts"]["procedures"] == 1
    assert made.manifest["counts"]["specimens"] == specimens > 0


def test_the_owner_still_holds_the_folder_afterwards(filled, tmp_path):
    """Closing any handle of the file in this process would drop the engine's lock on it."""
    with Registry.open(filled, write=True) as registry:
        backup(registry, tmp_path / "backups", author="coordinator")
        code = f"import duckdb; duckdb.connect({str(filled / 'registry.duckdb')!r}, read_only=True)"
        other = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)

    assert other.returncode != 0
    assert "lock" in other.stderr


def test_making_one_is_an_entry_of_the_trail(made, filled):
    with Registry.open(filled) as registry:
        entry = registry.rows("SELECT actor, action, object_key FROM audit_event ORDER BY seq DESC LIMIT 1")

    assert entry == [("coordinator", "backup", made.folder.name)]


def test_nobody_else_may_read_it(made):
    for path in [made.folder, *made.folder.rglob("*")]:
        assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (
            lambda place: (place / "registry.duckdb").open("ab").write(b"x"),
            "registry.duckdb is not what it was",
        ),
        (lambda place: (place / "site.toml").unlink(), "site.toml is missing"),
        (lambda place: (place / "raw" / "more").write_text("x"), "was not there when"),
    ],
    ids=["changed", "missing", "added"],
)
def test_damage_is_named(made, damage, said):
    damage(made.folder)

    with pytest.raises(IntegrityProblem, match=said):
        check(made.folder)


def test_a_changed_byte_of_the_same_length_is_named(made):
    path = made.folder / "registry.duckdb"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(bytes(content))

    with pytest.raises(IntegrityProblem, match="registry.duckdb is not what it was"):
        check(made.folder)


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"files": {}, "made_at": "yesterday"}'])
def test_a_folder_without_a_readable_manifest_is_no_backup(made, text):
    (made.folder / MANIFEST).write_text(text)

    with pytest.raises(UsageProblem, match="is not a backup"):
        check(made.folder)


def test_a_place_inside_the_registry_folder_is_refused(filled):
    with (
        Registry.open(filled, write=True) as registry,
        pytest.raises(UsageProblem, match="would be lost with it"),
    ):
        backup(registry, filled / "backups", author="coordinator")


def test_a_place_that_cannot_be_written_leaves_nothing_behind(filled, tmp_path, monkeypatch):
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("registry.backup.copy_apart", full)
    with Registry.open(filled, write=True) as registry:
        before = registry.rows("SELECT count(*) FROM audit_event")

        with pytest.raises(FileProblem, match="No space left on device"):
            backup(registry, tmp_path / "backups", author="coordinator")

        assert list((tmp_path / "backups").iterdir()) == []
        assert registry.rows("SELECT count(*) FROM audit_event") == before


def test_what_is_saved_meanwhile_is_whole_or_not_in_it(filled, tmp_path):
    """Ten saves, each followed by a backup: every copy holds exactly the saves before it."""
    with Registry.open(filled, write=True) as registry:
        for number in range(10):
            registry.record(audit.Entry("test", "look", "procedure", f"P{number}", {}))
            made = backup(registry, tmp_path / "backups", author="test")
            with duckdb.connect(str(made.folder / "registry.duckdb"), read_only=True) as copy:
                looks = copy.execute("SELECT count(*) FROM audit_event WHERE action = 'look'").fetchall()
            assert looks == [(number + 1,)]


def test_backups_are_listed_oldest_first_and_unreadable_ones_left_out(made, filled, tmp_path, clock):
    clock.on(hours=1)
    with Registry.open(filled, write=True, clock=clock) as registry:
        later = backup(registry, tmp_path / "backups", author="coordinator")
    broken = shutil.copytree(made.folder, tmp_path / "backups" / "filled-broken")
    (broken / MANIFEST).write_text("{")

    found = backups(tmp_path / "backups", of="filled")

    assert [one.folder for one in found] == [made.folder, later.folder]
    assert backups(tmp_path / "nowhere", of="filled") == []


def test_the_newest_are_kept_and_the_last_of_each_month(tmp_path):
    days = [(5, 1), (5, 30), (5, 31), (6, 1), (6, 29), (6, 30), (7, 1), (7, 2)]
    made = [
        Backup(tmp_path, {"made_at": datetime(2026, month, day, tzinfo=UTC).isoformat()})
        for month, day in days
    ]

    gone = superseded(made, 3)

    assert [(one.made_at.month, one.made_at.day) for one in gone] == [(5, 1), (5, 30), (6, 1), (6, 29)]
