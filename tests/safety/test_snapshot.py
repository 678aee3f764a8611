"""What readers see while another process owns the folder."""

from __future__ import annotations

import subprocess
import sys

import pytest

from registry import audit, snapshot
from registry.errors import UsageProblem
from registry.store import Registry

OWNER = """
import sys, time
from pathlib import Path
from registry import snapshot
from registry.store import Registry
with Registry.open(Path(sys.argv[1]), write=True) as registry:
    if len(sys.argv) > 2:
        snapshot.publish(registry)
    print("ready", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def owned(filled):
    """Another process owns the folder; ``start`` says whether it publishes."""
    started = []

    def start(*publish: str):
        owner = subprocess.Popen(
            [sys.executable, "-c", OWNER, str(filled), *publish],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        started.append(owner)
        assert owner.stdout.readline() == "ready\n"
        return filled

    yield start
    for one in started:
        one.communicate()


def command(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "registry", *arguments], capture_output=True, text=True, check=False
    )


def test_a_reading_command_takes_the_copy_and_prints_its_time(owned):
    folder = owned("publish")
    made = snapshot.published(folder)

    done = command("measure", str(folder), "tissue_obtained", "--as-of", "2026-06-30", "--format", "csv")

    assert done.returncode == 0
    assert f"copy of {made.made_at:%Y-%m-%d %H:%M:%S} UTC" in done.stderr
    assert "tissue_obtained,all,1,1," in done.stdout


def test_without_a_copy_it_says_who_has_the_folder(owned):
    folder = owned()

    done = command("measure", str(folder), "tissue_obtained")

    assert done.returncode == 75
    assert "in use by process" in done.stderr


def test_a_copy_is_made_again_only_after_a_change(filled):
    with Registry.open(filled, write=True) as registry:
        first = snapshot.publish(registry)
        again = snapshot.publish(registry)
        with registry.writing() as cursor:
            cursor.execute("UPDATE procedures SET cores = 5")
            cursor.execute("UPDATE facts_state SET revision = revision + 1")
        later = snapshot.publish(registry)

    assert again is None
    assert later.revision == first.revision + 1
    with Registry.of_snapshot(filled) as copy:
        assert copy.rows("SELECT cores FROM procedures") == [(5,)]


def test_an_export_is_in_the_copy_after_five_minutes(filled, clock):
    """It changes no figure, so the copy is not made at once; an hour later it must not be missing."""
    with Registry.open(filled, write=True, clock=clock) as registry:
        snapshot.publish(registry)
        registry.record(audit.Entry("researcher", "export", "package", "P1", {"purpose": "audit"}))
        clock.on(minutes=4, seconds=59)
        early = snapshot.publish(registry)
        clock.on(seconds=1)
        due = snapshot.publish(registry)
        again = snapshot.publish(registry)

    assert early is None
    assert again is None
    with Registry.of_snapshot(filled) as copy:
        assert copy.rows("SELECT actor FROM audit_event WHERE action = 'export'") == [("researcher",)]
        assert copy.rows("SELECT max(seq) FROM audit_event") == [(due.trail,)]


def test_the_copy_is_the_last_whole_one_when_there_is_no_space(filled, monkeypatch):
    from registry.errors import NotSaved

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with Registry.open(filled, write=True) as registry:
        snapshot.publish(registry)
        with registry.writing() as cursor:
            cursor.execute("UPDATE procedures SET cores = 5")
            cursor.execute("UPDATE facts_state SET revision = revision + 1")
        monkeypatch.setattr("registry.snapshot.copy_apart", full)
        with pytest.raises(NotSaved, match="No space left"):
            snapshot.publish(registry)

    with Registry.of_snapshot(filled) as copy:
        assert copy.rows("SELECT cores FROM procedures") == [(12,)]


def test_the_copy_can_not_be_written_to(filled):
    with Registry.open(filled, write=True) as registry:
        snapshot.publish(registry)

    with Registry.of_snapshot(filled) as copy, pytest.raises(UsageProblem, match="reading only"):
        copy.record(audit.Entry("test", "look", "procedure", "P1", {}))


def test_without_one_the_sentence_says_so(filled):
    with pytest.raises(UsageProblem, match="published no copy"):
        Registry.of_snapshot(filled)
