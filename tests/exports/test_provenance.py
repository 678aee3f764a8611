"""The stamp: which program, record, definitions and day an output speaks of."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

import pytest

from registry import __version__, provenance
from registry.known import as_known
from registry.sqlfiles import folder
from tests.build import base, load

if TYPE_CHECKING:
    from pathlib import Path

    from registry.store import Registry

AS_OF = date(2026, 6, 30)


def test_the_stamp_names_program_record_day_and_definitions(registry: Registry):
    load(registry, base())
    made = provenance.stamp(registry, as_of=AS_OF)
    schema = registry.rows("SELECT max(number) FROM schema_version")[0][0]
    assert made == {
        "program": f"biopsy-outcomes {__version__}",
        "schema": schema,
        "revision": registry.revision(),
        "as_of": "2026-06-30",
        "definitions_sha256": provenance.definitions_sha256("facts", "measures"),
    }


def test_a_record_rebuilt_as_it_was_known_says_so(registry: Registry):
    load(registry, base())
    with as_known(registry, datetime(2026, 1, 1, tzinfo=UTC)) as known:
        made = provenance.stamp(known, as_of=AS_OF)
    plain = provenance.stamp(registry, as_of=AS_OF)
    assert made == {**plain, "known_at": "2026-01-01T00:00:00+00:00"}


def test_the_digest_is_over_names_lengths_and_texts():
    """Written out again by hand: a file is its path, its length and its text."""
    digest = hashlib.sha256()
    for place in sorted(folder("worklists").iterdir(), key=lambda one: one.name):
        text = place.read_text(encoding="utf-8")
        digest.update(f"worklists/{place.name}\n{len(text)}\n{text}\n".encode())
    assert provenance.definitions_sha256("worklists") == digest.hexdigest()


@pytest.mark.parametrize("change", ["text", "name", "another ending"])
def test_a_changed_definition_changes_the_digest_and_another_file_does_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: str
):
    monkeypatch.setattr(provenance, "folder", lambda name: tmp_path / name)
    (tmp_path / "measures").mkdir()
    first = tmp_path / "measures" / "one.sql"
    first.write_text("SELECT 1\n", encoding="utf-8")
    before = provenance.definitions_sha256.__wrapped__("measures")
    if change == "text":
        first.write_text("SELECT 2\n", encoding="utf-8")
    elif change == "name":
        first.rename(tmp_path / "measures" / "two.sql")
    else:
        (tmp_path / "measures" / "notes.txt").write_text("not a definition", encoding="utf-8")
    after = provenance.definitions_sha256.__wrapped__("measures")
    assert (after == before) == (change == "another ending")
