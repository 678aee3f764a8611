"""The one screen: each state that matters is seen, and nothing else is called wrong."""

from __future__ import annotations

import json
from datetime import date

import pytest

from registry import doctor
from registry.backup import backup
from registry.doctor import GOOD, LOOK, WRONG, examine
from registry.intake import accept
from registry.people import Role, accounts
from registry.restore import drill
from registry.store import Registry
from tests.build import TODAY, base, received


def line(folder, clock, part):
    found = [one for one in examine(folder, now=clock()) if one.part == part]
    assert len(found) == 1, [one.part for one in examine(folder, now=clock())]
    return found[0]


def with_backup_folder(folder, place):
    text = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(
        text.replace("[service]\n", f'[service]\nbackup_folder = "{place}"\n', 1)
    )


def test_nothing_is_wrong_with_a_new_registry(filled, clock):
    clock.on(days=400)  # after every entry of its trail, whatever day it is
    assert [one for one in examine(filled, now=clock()) if one.state == WRONG] == []


def test_a_key_that_others_may_read_is_wrong(filled, clock):
    (filled / "site.key").chmod(0o644)

    assert line(filled, clock, "site key").state == WRONG


def test_a_missing_key_is_wrong(filled, clock):
    (filled / "site.key").unlink()

    assert line(filled, clock, "site key").state == WRONG


def test_a_key_elsewhere_is_in_order(filled, clock, tmp_path):
    (filled / "site.key").rename(tmp_path / "site.key")
    (filled / "key_file").write_text(str(tmp_path / "site.key"))

    assert line(filled, clock, "site key").state == GOOD


def test_a_database_that_others_may_read_is_wrong(filled, clock):
    (filled / "registry.duckdb").chmod(0o640)

    found = line(filled, clock, "file modes")
    assert (found.state, found.seen) == (WRONG, "others may reach registry.duckdb")


@pytest.mark.parametrize(("hours", "state"), [(35, GOOD), (37, WRONG)])
def test_a_backup_is_late_after_one_and_a_half_intervals(filled, clock, tmp_path, hours, state):
    with_backup_folder(filled, tmp_path / "backups")
    with Registry.open(filled, write=True, clock=clock) as registry:
        backup(registry, tmp_path / "backups", author="test")
    clock.on(hours=hours)

    assert line(filled, clock, "backup").state == state


def test_no_backup_at_all_is_wrong_where_one_is_wanted(filled, clock, tmp_path):
    with_backup_folder(filled, tmp_path / "backups")

    assert line(filled, clock, "backup").state == WRONG


def test_no_backup_folder_is_worth_a_look(filled, clock):
    assert line(filled, clock, "backup").state == LOOK


@pytest.mark.parametrize(("days", "state"), [(91, GOOD), (93, LOOK)])
def test_a_drill_is_due_each_quarter(filled, clock, days, state):
    assert line(filled, clock, "restore drill").seen == "never"
    with Registry.open(filled, write=True, clock=clock) as registry:
        drill(registry, as_of=date(2026, 6, 30), author="test")
    clock.on(days=days)

    assert line(filled, clock, "restore drill").state == state


def test_a_clock_behind_the_trail_is_wrong(filled, clock):
    with Registry.open(filled, write=True, clock=clock) as registry:
        clock.on(days=700)
        registry.checkpoint()
        drill(registry, as_of=date(2026, 6, 30), author="test")
    clock.on(days=-1)

    assert line(filled, clock, "clock").state == WRONG


def test_held_rows_are_counted(filled, clock):
    rows = base()
    rows["complications"] = [{**rows["complications"][0], "kind": "no such kind"}]
    with Registry.open(filled, write=True) as registry:
        assert accept(registry, received(rows), author="test", today=TODAY).total.held == 1

    assert line(filled, clock, "held rows").seen == "1 wait for correction"


def test_a_looser_setting_is_named(filled, clock):
    text = (filled / "site.toml").read_text()
    (filled / "site.toml").write_text(text.replace("minimum_n = 10", "minimum_n = 3"))

    found = [one for one in examine(filled, now=clock()) if one.part == "settings"]
    assert "minimum_n = 3 (shipped: 10)" in [one.seen for one in found]


def test_missing_saves_are_wrong(filled, clock):
    anchors = (filled / "audit.anchor").read_text().splitlines()
    seq, mac, at = anchors[-1].split()
    with (filled / "audit.anchor").open("a") as handle:
        handle.write(f"{int(seq) + 3} {mac} {at}\n")

    assert line(filled, clock, "trail").state == WRONG


def test_an_owner_that_is_gone_is_said(filled, clock):
    gone = {"pid": 2**22 + 1, "command": "biopsy-outcomes dashboard", "since": "2026-06-01"}
    (filled / "owner.json").write_text(json.dumps(gone))

    found = line(filled, clock, "owner")
    assert found.state == LOOK
    assert "is gone" in found.seen


def test_little_space_is_worth_a_look(filled, clock, monkeypatch):
    class Usage:
        free = 400e6

    monkeypatch.setattr(doctor.shutil, "disk_usage", lambda _: Usage)

    assert line(filled, clock, "space").state == LOOK


def test_it_reads_the_copy_while_another_process_owns_the_folder(filled, clock, monkeypatch):
    from registry import snapshot
    from registry.errors import RegistryBusy

    with Registry.open(filled, write=True) as registry:
        snapshot.publish(registry)

    def busy(*_: object, **__: object) -> None:
        raise RegistryBusy("in use")

    monkeypatch.setattr(doctor.Registry, "open", busy)

    assert "copy of" in line(filled, clock, "database").seen


def test_nobody_who_can_sign_in_is_worth_a_look(filled, clock):
    assert line(filled, clock, "sign-in").state == LOOK

    with Registry.open(filled, write=True) as registry:
        accounts.add(registry, "ines", "a sentence is easy to keep", [Role.ADMINISTRATOR])
    assert line(filled, clock, "sign-in") == doctor.Line(
        "sign-in", GOOD, "by accounts; 1 accounts, 1 of them administrators"
    )

    with Registry.open(filled, write=True) as registry:
        accounts.lock(registry, "ines")
    assert line(filled, clock, "sign-in").state == LOOK
