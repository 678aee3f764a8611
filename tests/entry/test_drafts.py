"""Drafts of one person: in which order they stand, what is kept of them, and which are taken away."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from registry.entry import discard, draft, drafts, keep
from registry.entry.drafts import Draft
from registry.errors import Refused
from registry.people import Actor, Role, acting
from registry.store import Registry

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NOW = datetime(2026, 6, 30, 8, 0, tzinfo=UTC)
CELLS = {"complication_id": "C9", "kind": "pain"}
INES, VERA = (Actor(name, frozenset({Role.COORDINATOR})) for name in ("ines", "vera"))


class Clock:
    """A minute later each time it is asked for."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        self.now += timedelta(minutes=1)
        return self.now


@pytest.fixture
def ticking(folder: Path) -> Iterator[Registry]:
    with Registry.open(folder, write=True, clock=Clock()) as opened:
        yield opened


def kept(registry: Registry) -> list[tuple[str, str]]:
    return [(one.table, one.row_key) for one in drafts(registry)]


def test_a_draft_says_when_and_on_which_version_it_was_begun(ticking: Registry):
    with acting(INES):
        before = ticking.clock().replace(tzinfo=None)
        keep(ticking, "complications", "C9", {**CELLS, "grade": "  "}, version="2")
        found = draft(ticking, "complications", "C9")

        assert found == Draft("complications", "C9", found.saved_at, "2", CELLS)
        assert before < found.saved_at < before + timedelta(minutes=10)


def test_the_newest_draft_stands_first(ticking: Registry):
    with acting(INES):
        for key in ("C1", "C3", "C2"):
            keep(ticking, "complications", key, CELLS, version="")

        assert kept(ticking) == [("complications", key) for key in ("C2", "C3", "C1")]


def test_drafts_of_one_moment_stand_by_table_and_key(folder: Path):
    with Registry.open(folder, write=True, clock=lambda: NOW) as registry, acting(INES):
        for table, key in (("pathology", "R1"), ("complications", "C2"), ("complications", "C1")):
            keep(registry, table, key, {"complication_id": key}, version="")

        assert kept(registry) == [("complications", "C1"), ("complications", "C2"), ("pathology", "R1")]


@pytest.mark.parametrize(("table", "key"), [("complications", "R9"), ("pathology", "C9"), ("reviews", "C9")])
def test_a_draft_of_another_table_or_key_is_none_of_this_row(ticking: Registry, table: str, key: str):
    with acting(INES):
        keep(ticking, "complications", "C9", CELLS, version="")
        discard(ticking, table, key)

        assert draft(ticking, table, key) is None
        assert kept(ticking) == [("complications", "C9")]


def test_a_draft_that_is_discarded_takes_no_other_with_it(ticking: Registry):
    """The same key in another table, another key of the table, and the row of another person."""
    for actor in (INES, VERA):
        with acting(actor):
            for table, key in (("complications", "C9"), ("complications", "C8"), ("pathology", "C9")):
                keep(ticking, table, key, {"complication_id": key}, version="")
    with acting(INES):
        discard(ticking, "complications", "C9")

        assert sorted(kept(ticking)) == [("complications", "C8"), ("pathology", "C9")]
    with acting(VERA):
        assert len(kept(ticking)) == 3


@pytest.mark.parametrize(
    ("ask", "kind", "key"),
    [
        (lambda registry: keep(registry, "complications", "C9", CELLS, version=""), "complications", "C9"),
        (lambda registry: draft(registry, "complications", "C9"), "complications", "C9"),
        (lambda registry: discard(registry, "complications", "C9"), "complications", "C9"),
        (drafts, "registry", ""),
    ],
)
def test_that_a_draft_was_refused_stands_in_the_trail(ticking: Registry, ask, kind: str, key: str):
    with acting(Actor("vera", frozenset({Role.VIEWER}))), pytest.raises(Refused):
        ask(ticking)

    assert ticking.rows(
        "SELECT actor, action, object_kind, object_key FROM audit_event WHERE outcome = 'refused'"
    ) == [("vera", "enter or import rows", kind, key)]
