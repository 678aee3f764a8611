"""After damage: what is missing is named, nothing is deleted, nothing whole is lost."""

from __future__ import annotations

import shutil
import subprocess
import sys

import pytest

from registry import audit
from registry.errors import IntegrityProblem, UsageProblem
from registry.recover import look, recover
from registry.store import Registry
from registry.verify import verify

#: Five saves, then the process ends without closing: their log stays behind.
SAVES = """
import os, sys
from pathlib import Path
from registry import audit
from registry.store import Registry
registry = Registry.open(Path(sys.argv[1]), write=True)
for number in range(5):
    registry.record(audit.Entry("test", "look", "procedure", f"P{number}", {}))
os._exit(0)
"""


@pytest.fixture
def left(filled, clock):
    """A registry whose last five saves lie in its log only; number of the entry before them."""
    with Registry.open(filled) as registry:
        before = registry.rows("SELECT max(seq) FROM audit_event")[0][0]
    subprocess.run([sys.executable, "-c", SAVES, str(filled)], check=True)
    assert (filled / "registry.duckdb.wal").stat().st_size > 0
    return filled, before


def cut(folder, share):
    log = folder / "registry.duckdb.wal"
    content = log.read_bytes()
    log.write_bytes(content[: int(len(content) * share)])


def accept_loss(folder, clock):
    return recover(folder, reason="power failure", author="administrator", clock=clock)


def test_a_sound_registry_has_nothing_to_recover(left, clock):
    folder, before = left
    found = look(folder, now=clock())

    assert found.sound
    assert found.head == before + 5
    with pytest.raises(UsageProblem, match="Nothing to recover"):
        accept_loss(folder, clock)


def test_a_log_that_is_gone_is_missed_by_its_numbers(left, clock):
    folder, before = left
    (folder / "registry.duckdb.wal").unlink()

    found = look(folder, now=clock())

    assert found.missing == (before + 1, before + 5)
    assert f"entries {before + 1} to {before + 5}" in found.lines()[0]
    with pytest.raises(IntegrityProblem, match="5 entries of the trail are missing"):
        Registry.open(folder, write=True)


def test_looking_changes_nothing(left, clock):
    folder, _ = left
    cut(folder, 0.5)

    def held():
        return {
            path.name: path.read_bytes()
            for path in folder.iterdir()
            if path.is_file() and "owner" not in path.name
        }

    before = held()
    look(folder, now=clock())

    assert held() == before
    assert list((folder / "tmp").iterdir()) == []


def test_a_cut_log_keeps_every_whole_save_and_names_the_rest(left, clock):
    folder, before = left
    cut(folder, 0.5)

    found, aside = accept_loss(folder, clock)

    assert before <= found.head < before + 5
    assert found.missing == (found.head + 1, before + 5)
    with Registry.open(folder) as registry:
        assert verify(registry) == []
        kept = registry.rows("SELECT count(*) FROM audit_event WHERE action = 'look'")[0][0]
        entry = registry.rows("SELECT action, details FROM audit_event ORDER BY seq DESC LIMIT 1")[0]
    assert kept == found.head - before
    assert entry[0] == "recover"
    assert '"reason":"power failure"' in entry[1]
    assert (aside / "registry.duckdb.wal").exists()


def test_a_zero_filled_end_is_cut_off_without_loss(left, clock):
    """What a power failure typically leaves: the file grew, its content did not arrive."""
    folder, _ = left
    with (folder / "registry.duckdb.wal").open("ab") as log:
        log.write(bytes(4096))

    found = look(folder, now=clock())
    assert found.missing is None

    if found.mended:  # an engine that reads over zeros needs no mending
        accept_loss(folder, clock)
    with Registry.open(folder, write=True) as registry:
        assert registry.rows("SELECT count(*) FROM audit_event WHERE action = 'look'") == [(5,)]
        assert verify(registry) == []


def test_a_damaged_main_file_is_left_to_the_backups(left, clock):
    folder, _ = left
    content = bytearray((folder / "registry.duckdb").read_bytes())
    content[8:200] = bytes(192)
    (folder / "registry.duckdb").write_bytes(bytes(content))

    with pytest.raises(IntegrityProblem, match="Restore the newest backup"):
        look(folder, now=clock())


def test_a_reason_is_needed(left, clock):
    folder, _ = left
    (folder / "registry.duckdb.wal").unlink()

    with pytest.raises(UsageProblem, match="--reason"):
        recover(folder, reason=" ", author="administrator", clock=clock)


def test_saving_goes_on_after_the_loss_was_accepted(left, clock):
    folder, before = left
    (folder / "registry.duckdb.wal").unlink()
    accept_loss(folder, clock)

    with Registry.open(folder, write=True) as registry:
        registry.record(audit.Entry("test", "look", "procedure", "P9", {}))
        assert verify(registry) == []
        assert registry.rows("SELECT max(seq) FROM audit_event") == [(before + 2,)]


def test_a_folder_that_is_no_registry_is_said(tmp_path, clock):
    shutil.rmtree(tmp_path / "nothing", ignore_errors=True)

    with pytest.raises(UsageProblem, match="not a registry folder"):
        look(tmp_path / "nothing", now=clock())
