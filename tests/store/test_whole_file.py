"""Small files are there as a whole or not at all."""

from __future__ import annotations

import os
import stat

import pytest

from registry.whole_file import write_whole


class Killed(BaseException):
    """As if the process ended: nothing tidies up."""


@pytest.fixture
def dying(monkeypatch):
    """The process ends when everything is written and nothing is forced to disk yet."""

    def die(_: int) -> None:
        raise Killed

    monkeypatch.setattr(os, "fsync", die)


def test_a_new_file_is_not_there_before_it_is_whole(tmp_path, dying):
    with pytest.raises(Killed):
        write_whole(tmp_path / "manifest.json", "{}")

    assert not (tmp_path / "manifest.json").exists()


def test_the_file_before_stays_until_the_new_one_is_whole(tmp_path, dying):
    (tmp_path / "accounts.json").write_text("before")

    with pytest.raises(Killed):
        write_whole(tmp_path / "accounts.json", "after")

    assert (tmp_path / "accounts.json").read_text() == "before"


def test_only_its_owner_may_read_it_and_nothing_is_left_beside(tmp_path):
    write_whole(tmp_path / "note.json", "text\n")

    assert (tmp_path / "note.json").read_text() == "text\n"
    assert stat.S_IMODE((tmp_path / "note.json").stat().st_mode) == 0o600
    assert [one.name for one in tmp_path.iterdir()] == ["note.json"]


def test_a_disk_that_takes_nothing_leaves_what_was_there(tmp_path, monkeypatch):
    (tmp_path / "note.json").write_text("before")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(tmp_path / "note.json", "after")

    assert [(one.name, one.read_text()) for one in tmp_path.iterdir()] == [("note.json", "before")]
