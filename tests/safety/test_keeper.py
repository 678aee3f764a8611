"""What the owner does by itself, and what it says when it cannot."""

from __future__ import annotations

import pytest

from registry import snapshot
from registry.backup import backups
from registry.errors import FileProblem
from registry.keeper import Keeper
from registry.store import Registry


@pytest.fixture
def keeper(filled, tmp_path, clock):
    place = tmp_path / "backups"
    with (filled / "site.toml").open("a") as handle:
        handle.write("")
    text = (filled / "site.toml").read_text()
    (filled / "site.toml").write_text(
        text.replace("[service]\n", f'[service]\nbackup_folder = "{place}"\n', 1)
    )
    with Registry.open(filled, write=True, clock=clock) as registry:
        yield Keeper(registry)


def test_a_backup_is_made_when_one_is_due_and_not_before(keeper, clock, tmp_path):
    keeper.step()
    clock.on(hours=23, minutes=59)
    keeper.step()
    assert len(backups(tmp_path / "backups", of="filled")) == 1

    clock.on(minutes=1)
    keeper.step()

    assert len(backups(tmp_path / "backups", of="filled")) == 2


def test_superseded_backups_are_removed(keeper, clock, tmp_path):
    """Twenty days of July, one a day: 14 are kept, all of them newer than the month's last."""
    for _ in range(20):
        keeper.step()
        clock.on(days=1)

    days = [one.made_at.day for one in backups(tmp_path / "backups", of="filled")]

    assert days == list(range(7, 21))


def test_the_copy_for_readers_follows_the_revision(keeper, filled):
    keeper.step()
    first = snapshot.published(filled)
    with keeper.registry.writing() as cursor:
        cursor.execute("UPDATE facts_state SET revision = revision + 1")
    keeper.step()

    assert snapshot.published(filled).revision == first.revision + 1


def test_what_the_inbox_said_is_kept(keeper):
    keeper.take_in = lambda registry: ["pathology.csv: 3 new"]

    keeper.step()

    assert keeper.lines == ["pathology.csv: 3 new"]


def test_a_failure_is_said_once_in_the_trail_and_the_other_duties_go_on(keeper, filled):
    def fails(_):
        raise FileProblem("pathology.csv: cannot be read. Send it again.")

    keeper.take_in = fails
    keeper.step()
    keeper.step()

    entries = keeper.registry.rows(
        "SELECT object_kind, outcome, details FROM audit_event WHERE action = 'inbox'"
    )
    assert len(entries) == 1
    assert entries[0][1] == "failed"
    assert "pathology.csv" in entries[0][2]
    assert keeper.problems == {"inbox": "pathology.csv: cannot be read. Send it again."}
    assert snapshot.published(filled) is not None


def test_an_unexpected_failure_does_not_end_the_keeper(keeper):
    def breaks(_):
        raise ZeroDivisionError("PAT1")

    keeper.take_in = breaks
    keeper.step()

    assert keeper.problems == {"inbox": "ZeroDivisionError: it will be tried again."}


def test_what_works_again_is_no_longer_a_problem(keeper):
    def fails(_):
        raise FileProblem("pathology.csv: cannot be read.")

    keeper.take_in = fails
    keeper.step()
    keeper.take_in = lambda registry: []
    keeper.step()

    assert keeper.problems == {}


def test_it_runs_in_the_background_until_it_is_stopped(keeper, filled):
    keeper.start()
    keeper.stop()

    assert snapshot.published(filled) is not None


def test_sessions_that_nobody_uses_are_ended(keeper):
    swept = []
    keeper.sweep = lambda: swept.append("now")

    keeper.step()

    assert swept == ["now"]
