"""The audit chain and its anchor."""

from __future__ import annotations

import hashlib
import hmac
import random
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from registry import audit
from registry.errors import IntegrityProblem
from registry.store import ANCHOR, Registry
from tests.build import base, load

if TYPE_CHECKING:
    from pathlib import Path


def entries(registry: Registry) -> list[tuple]:
    return registry.rows(f"SELECT {audit.COLUMNS} FROM audit_event ORDER BY seq")


def test_the_mac_is_hmac_sha_256_over_the_canonical_form():
    # By hand: RFC 2104 through the standard library, over the mac before and the JSON form.
    at = datetime(2026, 6, 30, 12, 0, 0, 250)
    form = '{"at":"2026-06-30T12:00:00.000250","fields":["who","import","batch","1","done","{}"],"seq":7}'
    expected = hmac.new(b"key", ("ab" * 32 + form).encode(), hashlib.sha256).hexdigest()
    assert audit.mac_of(b"key", "ab" * 32, 7, at, ("who", "import", "batch", "1", "done", "{}")) == expected


def test_canonical_form_does_not_depend_on_order_or_on_how_an_accent_is_typed():
    assert (
        audit.canonical({"b": 1, "a": "e\u0301"})
        == audit.canonical({"a": "\u00e9", "b": 1})
        == '{"a":"é","b":1}'
    )


def test_one_import_is_one_entry_with_digests_and_counts(registry: Registry):
    load(registry, base())
    *_, actor, action, kind, key, outcome, details, _, _ = entries(registry)[-1]
    assert (actor, action, kind, key, outcome) == ("coordinator", "import", "batch", "1", "done")
    assert '"rows":{"held":0,"new":14,"received":14,"unchanged":0,"version":0}' in details


def test_an_untouched_chain_holds(registry: Registry):
    load(registry, base())
    assert audit.first_broken(entries(registry), registry.key) is None


def test_another_key_breaks_the_first_entry(registry: Registry):
    assert audit.first_broken(entries(registry), b"x" * 32) == (1, "entry 1 was changed after it was written")


def make_chain(length: int, key: bytes) -> list[tuple]:
    rows, prev = [], audit.GENESIS
    for seq in range(1, length + 1):
        at = datetime(2026, 1, 1, 8, seq % 60)
        fields = ("user", "import", "batch", str(seq), "done", "{}")
        mac = audit.mac_of(key, prev, seq, at, fields)
        rows.append((seq, at, *fields, prev, mac))
        prev = mac
    return rows


def tamper(rows: list[tuple], how: str, rng: random.Random) -> list[tuple]:
    rows = list(rows)
    place = rng.randrange(len(rows) - 1)
    if how == "change":
        changed = list(rows[place])
        changed[rng.choice((2, 3, 4, 5, 6, 7))] = "other"
        rows[place] = tuple(changed)
    elif how == "delete":
        del rows[place]
    elif how == "swap":
        rows[place], rows[place + 1] = rows[place + 1], rows[place]
    elif how == "duplicate":
        rows.insert(place, rows[place])
    return rows


@pytest.mark.parametrize("how", ["change", "delete", "swap", "duplicate"])
def test_every_tampering_inside_the_chain_is_found(how: str):
    rng = random.Random(20260630)
    rows = make_chain(40, b"key")
    missed = [trial for trial in range(100) if audit.first_broken(tamper(rows, how, rng), b"key") is None]
    assert missed == []


def test_a_changed_entry_is_named_by_its_number():
    rows = make_chain(9, b"key")
    rows[4] = (*rows[4][:2], "somebody else", *rows[4][3:])
    assert audit.first_broken(rows, b"key") == (5, "entry 5 was changed after it was written")


def test_a_chain_cut_at_its_end_holds_by_itself_but_not_against_the_anchor(registry: Registry, folder: Path):
    load(registry, base())
    newest = entries(registry)[-1][0]
    with registry.cursor() as cursor:
        cursor.execute("DELETE FROM audit_event WHERE seq = ?", [newest])
    assert audit.first_broken(entries(registry), registry.key) is None
    registry.close()
    with pytest.raises(IntegrityProblem, match="1 entries of the trail are missing since"):
        Registry.open(folder)


def test_a_head_ahead_of_the_anchor_is_a_crash_between_commit_and_anchor(registry: Registry, folder: Path):
    load(registry, base())
    registry.close()
    anchors = (folder / ANCHOR).read_text().splitlines()
    (folder / ANCHOR).write_text("\n".join(anchors[:-1]) + "\n")
    with Registry.open(folder) as reopened:
        assert reopened.revision() > 0


def test_a_torn_last_line_of_the_anchor_is_left_out(tmp_path: Path):
    path = tmp_path / "audit.anchor"
    audit.write_anchor(path, audit.Head(1, "a" * 64), datetime(2026, 1, 1, tzinfo=UTC))
    path.write_text(path.read_text() + "2 bbb")
    assert audit.read_anchors(path) == [(1, "a" * 64, "2026-01-01T00:00:00+00:00")]
