"""Entries of the trail; never kept, as each look is asked for anew."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dashboards import session
from registry import trail

if TYPE_CHECKING:
    from datetime import date

#: Entries that a page reads at once.
MOST = 2000


def choices() -> dict[str, list[str]]:
    """The values of actor, action and outcome that the trail holds."""
    return trail.choices(session.registry())


def events(
    since: date | None, actor: str | None, action: str | None, outcome: str | None
) -> list[dict[str, Any]]:
    """The newest entries first, details in words."""
    found = trail.events(
        session.registry(), since=since, actor=actor, action=action, outcome=outcome, most=MOST
    )
    return [{**one, "details": trail.in_words(one["details"])} for one in found]
