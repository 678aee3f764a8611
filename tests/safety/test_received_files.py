"""How long received files stay, and what verify then expects of raw/."""

from __future__ import annotations

import json

import pytest

from registry.doctor import examine
from registry.errors import SiteProblem
from registry.holds import lift_hold, set_hold
from registry.imports import registry_csv
from registry.intake import accept
from registry.keeper import Keeper
from registry.site import parse, template
from registry.store import Registry
from registry.verify import verify
from tests.build import TODAY, base

DAYS = 30


@pytest.fixture
def kept(filled, clock):
    """Received files stay 30 days."""
    text = (filled / "site.toml").read_text()
    (filled / "site.toml").write_text(text.replace("[service]\n", f"[service]\nraw_keep_days = {DAYS}\n", 1))
    with Registry.open(filled, write=True, clock=clock) as registry:
        yield registry


def send(registry, tmp_path, grade):
    """One file with a correction."""
    path = tmp_path / "complications.csv"
    row = {**base()["complications"][0], "grade": grade}
    path.write_text(f"{','.join(row)}\n{','.join(row.values())}\n")
    return accept(registry, registry_csv.read(path), author="coordinator", today=TODAY)


def raw(registry):
    return sorted(path.name for path in (registry.folder / "raw").iterdir())


def test_a_file_goes_on_the_day_its_time_is_over_and_not_before(kept, clock, tmp_path):
    send(kept, tmp_path, "3")
    keeper = Keeper(kept)
    clock.on(days=DAYS, hours=-2)
    keeper.step()
    assert len(raw(kept)) == 1

    clock.on(hours=2)
    keeper.step()

    assert raw(kept) == []
    assert keeper.problems == {}
    assert kept.rows("SELECT grade FROM complications") == [(3,)]
    assert verify(kept) == []


def test_what_came_again_later_stays(kept, clock, tmp_path):
    """The file of grade 3 came on day 0 and on day 20: on day 30 only that of grade 1 is old enough."""
    send(kept, tmp_path, "3")
    send(kept, tmp_path, "1")
    clock.on(days=20)
    send(kept, tmp_path, "3")
    (young,) = {path for path in raw(kept) if b",3," in (kept.folder / "raw" / path).read_bytes()}
    clock.on(days=10)

    Keeper(kept).step()

    assert raw(kept) == [young]
    assert verify(kept) == []


def test_a_removed_file_may_come_again(kept, clock, tmp_path):
    send(kept, tmp_path, "3")
    before = raw(kept)
    clock.on(days=DAYS)
    Keeper(kept).step()
    send(kept, tmp_path, "3")

    assert raw(kept) == before
    assert verify(kept) == []
    (kept.folder / "raw" / before[0]).unlink()
    assert [one.message for one in verify(kept)] == ["complications.csv of batch 3 is missing in raw/."]


def test_the_trail_names_the_files_by_their_hashes(kept, clock, tmp_path):
    send(kept, tmp_path, "3")
    before = raw(kept)
    clock.on(days=DAYS)
    Keeper(kept).step()

    actor, details = kept.rows("SELECT actor, details FROM audit_event WHERE action = 'retention'")[0]

    assert actor == "owner process"
    assert json.loads(details) == {"count": 1, "days": DAYS, "received_files": {before[0]: ""}}


def test_what_lies_there_again_after_its_removal_is_found(kept, clock, tmp_path):
    send(kept, tmp_path, "3")
    (name,) = raw(kept)
    data = (kept.folder / "raw" / name).read_bytes()
    clock.on(days=DAYS)
    Keeper(kept).step()
    (kept.folder / "raw" / name).write_bytes(data)

    assert [one.part for one in verify(kept)] == ["raw files"]


def test_nothing_goes_while_a_patient_is_under_legal_hold(kept, clock, tmp_path):
    send(kept, tmp_path, "3")
    set_hold(kept, "PAT1", author="administrator", reason="claim open")
    clock.on(days=10 * DAYS)
    keeper = Keeper(kept)
    keeper.step()
    assert len(raw(kept)) == 1

    lift_hold(kept, "PAT1", author="administrator", reason="claim closed")
    clock.on(hours=1)
    keeper.step()

    assert raw(kept) == []


def test_without_the_setting_everything_stays(filled, clock, tmp_path):
    with Registry.open(filled, write=True, clock=clock) as registry:
        send(registry, tmp_path, "3")
        clock.on(days=36_500)
        Keeper(registry).step()

        assert len(raw(registry)) == 1
        assert "raw_keep_days" not in registry.site.numbers


def test_the_doctor_says_how_long(kept, clock):
    kept.close()
    seen = [one.seen for one in examine(kept.folder, now=clock()) if one.part == "received files"]

    assert seen == ["0 in raw/, kept 30 days after they came last"]


def test_a_time_that_is_none_is_refused():
    with pytest.raises(SiteProblem, match="raw_keep_days"):
        parse(template().replace("[service]\n", "[service]\nraw_keep_days = 0\n", 1))
