"""What forms find and save, on behalf of whoever looks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards import session
from registry import entry

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.intake import ReportedProblem


def opened(table: str, key: Mapping[str, str]) -> entry.Opened:
    """The stored row of a key."""
    return entry.opened(session.registry(), table, key)


def check(table: str, cells: Mapping[str, str]) -> tuple[ReportedProblem, ...]:
    """What intake would say of a row."""
    return entry.check(session.registry(), table, cells, today=session.today())


def about(table: str, cells: Mapping[str, str]) -> entry.About | None:
    """The finding and the procedure that the keys of a row name."""
    return entry.about(session.registry(), table, cells)


def save(table: str, cells: Mapping[str, str], *, version: str, reason: str) -> None:
    """Save a row."""
    entry.save(session.registry(), table, cells, version=version, reason=reason, today=session.today())


def keep(table: str, row_key: str, cells: Mapping[str, str], *, version: str) -> None:
    """Keep a draft."""
    entry.keep(session.registry(), table, row_key, cells, version=version)


def drafts() -> tuple[entry.Draft, ...]:
    """Drafts of whoever looks."""
    return entry.drafts(session.registry())


def draft(table: str, row_key: str) -> entry.Draft | None:
    """The draft of one row."""
    return entry.draft(session.registry(), table, row_key)


def discard(table: str, row_key: str) -> None:
    """Take a draft away."""
    entry.discard(session.registry(), table, row_key)
