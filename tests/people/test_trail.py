"""Reading the trail, the feed beside it, and what looking at a record leaves in it."""

from __future__ import annotations

import json
import stat
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from registry import audit, trail
from registry.cli import app
from registry.errors import NotSaved, Refused
from registry.intake import quarantine
from registry.people import Actor, Role, acting
from registry.people.reads import ONE_LOOK
from registry.record import procedure_record
from registry.store import Registry
from tests.build import base, load

INES = Actor("ines", frozenset({Role.COORDINATOR}), session="s1")


class Clock:
    def __init__(self):
        self.now = datetime(2027, 7, 1, 8, 0, tzinfo=UTC)

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def kept(folder, clock):
    with Registry.open(folder, write=True, clock=clock) as registry:
        load(registry, base())
        yield registry


def reads(registry):
    return registry.rows(
        "SELECT actor, object_kind, object_key, outcome FROM audit_event "
        "WHERE action IN ('open the record of a procedure', 'see identifiers of patients') ORDER BY seq"
    )


# -- reads -------------------------------------------------------------------------------


def test_opening_a_record_is_an_entry(kept):
    with acting(INES):
        procedure_record(kept, "P1")

    assert reads(kept) == [("ines", "procedure", "P1", "done")]


def test_a_redraw_is_no_new_look_and_a_later_one_is(kept, clock):
    with acting(INES):
        procedure_record(kept, "P1")
        clock.now += ONE_LOOK - timedelta(seconds=1)
        procedure_record(kept, "P1")
        assert len(reads(kept)) == 1
        clock.now += timedelta(seconds=1)
        procedure_record(kept, "P1")

    assert len(reads(kept)) == 2


def test_another_person_and_another_session_are_other_looks(kept):
    for actor in (INES, Actor("rosa", INES.roles), Actor("ines", INES.roles, session="s2")):
        with acting(actor):
            procedure_record(kept, "P1")

    assert [one[0] for one in reads(kept)] == ["ines", "rosa", "ines"]


def test_a_refused_look_is_an_entry_too(kept):
    with acting(Actor("vera", frozenset({Role.VIEWER}))), pytest.raises(Refused):
        procedure_record(kept, "P1")

    assert reads(kept) == [("vera", "procedure", "P1", "refused")]


def test_a_program_on_the_machine_reads_without_an_entry(kept):
    procedure_record(kept, "P1")

    assert reads(kept) == []


def test_what_cannot_be_written_down_is_not_shown(kept, monkeypatch):
    def full(_):
        raise NotSaved("Not saved: no space left on device.")

    monkeypatch.setattr(kept, "record", full)

    with acting(INES), pytest.raises(NotSaved):
        procedure_record(kept, "P1")


def test_a_file_with_identifiers_is_an_entry(kept):
    rows = base()
    rows["procedures"][0].update(procedure_id="P2", started_at="not a time")
    report = load(kept, {"procedures": rows["procedures"]})
    (path,) = [Path(one) for one in report.held_files if Path(one).name == "procedures.csv"]

    with acting(INES):
        assert b"not a time" in quarantine.held_file(kept, path)

    assert reads(kept) == [("ines", "held file", f"{path.parent.name}/procedures.csv", "done")]


# -- the trail ---------------------------------------------------------------------------


def test_entries_come_newest_first_and_can_be_narrowed(kept, clock):
    clock.now += timedelta(days=1)
    kept.record(audit.Entry("ines", "sign in", "account", "ines", {}, "refused"))
    kept.record(audit.Entry("ada", "sign in", "account", "ada", {}))

    assert [one["actor"] for one in trail.events(kept, most=2)] == ["ada", "ines"]
    assert [one["actor"] for one in trail.events(kept, outcome="refused")] == ["ines"]
    assert [one["actor"] for one in trail.events(kept, action="sign in", actor="ada")] == ["ada"]
    assert len(trail.events(kept, since=date(2027, 7, 2))) == 2
    assert trail.events(kept, since=date(2027, 7, 3)) == []


def test_the_command_prints_what_is_asked(folder):
    with Registry.open(folder, write=True) as registry:
        registry.record(audit.Entry("ines", "sign in", "account", "ines", {"via": "account"}, "refused"))

    done = CliRunner().invoke(app, ["audit", str(folder), "--outcome", "refused", "--format", "json"])

    assert done.exit_code == 0, done.output
    (row,) = json.loads(done.stdout)
    assert (row["actor"], row["action"], row["outcome"], row["details"]) == (
        "ines",
        "sign in",
        "refused",
        {"via": "account"},
    )


@pytest.mark.parametrize(
    ("details", "words"),
    [
        ({"via": "account", "why": ""}, "via: account"),
        ({"rows": {"new": 3, "held": 1}}, "rows: new 3, held 1"),
        ({"files": [{"name": "a"}, {"name": "b"}]}, "files: 2 listed"),
        ({"roles": ["viewer", "quality"]}, "roles: viewer, quality"),
    ],
)
def test_details_are_told_on_one_line(details, words):
    assert trail.in_words(details) == words


# -- the feed ----------------------------------------------------------------------------


@pytest.fixture
def fed(folder, tmp_path):
    """A registry folder whose trail is also written to a file."""
    place = tmp_path / "trail.jsonl"
    text = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(text.replace("[service]\n", f'[service]\ntrail_feed = "{place}"\n', 1))
    return folder, place


def entry(name):
    return audit.Entry(name, "sign in", "account", name, {"via": "account"})


def lines(place):
    return [json.loads(one) for one in place.read_text().splitlines()]


def test_each_entry_is_one_line_with_its_mac(fed):
    folder, place = fed
    with Registry.open(folder, write=True) as registry:
        registry.record(entry("ines"))
        registry.record(entry("ada"))
        macs = registry.rows("SELECT seq, mac FROM audit_event ORDER BY seq DESC LIMIT 2")

    found = lines(place)[-2:]
    assert [(one["seq"], one["mac"]) for one in reversed(found)] == macs
    assert [one["actor"] for one in found] == ["ines", "ada"]
    assert found[0]["details"] == {"via": "account"}
    assert stat.S_IMODE(place.stat().st_mode) == 0o600


def test_no_entry_is_missing_or_twice_after_a_restart(fed):
    folder, place = fed
    for name in ("one", "two"):
        with Registry.open(folder, write=True) as registry:
            registry.record(entry(name))
            registry.record(entry(name))

    numbers = [one["seq"] for one in lines(place)]
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))


def test_a_feed_that_fails_never_stops_a_saving_and_catches_up(fed):
    folder, place = fed
    with Registry.open(folder, write=True) as registry:
        registry.record(entry("one"))
        aside = place.rename(place.with_name("aside"))
        place.mkdir()
        registry.record(entry("two"))
        assert registry.feed.problem is not None
        place.rmdir()
        aside.rename(place)
        registry.record(entry("three"))

        assert registry.feed.problem is None
    assert [one["actor"] for one in lines(place)[-3:]] == ["one", "two", "three"]


def test_what_is_rolled_back_is_not_fed(fed):
    folder, place = fed
    with Registry.open(folder, write=True) as registry:
        registry.record(entry("one"))
        with pytest.raises(ZeroDivisionError), registry.writing() as cursor:
            audit.append(cursor, registry.key, registry.clock(), entry("never"))
            raise ZeroDivisionError

    assert "never" not in place.read_text()
