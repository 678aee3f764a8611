"""The trail to read: who did what, when, and how it ended."""

from __future__ import annotations

import json
from datetime import UTC, datetime, time
from typing import TYPE_CHECKING, Any

from registry.people import Action, require

if TYPE_CHECKING:
    from datetime import date

    from registry.store import Registry

#: In the order in which they are shown.
COLUMNS = ("entry", "time", "actor", "action", "kind", "key", "outcome", "details")
_SQL = """
SELECT seq, happened_at, actor, action, object_kind, object_key, outcome, details FROM audit_event
WHERE ($since IS NULL OR happened_at >= $since)
  AND ($actor IS NULL OR actor = $actor)
  AND ($action IS NULL OR action = $action)
  AND ($outcome IS NULL OR outcome = $outcome)
ORDER BY seq DESC LIMIT $most
"""


def events(
    registry: Registry,
    *,
    since: date | None = None,
    actor: str | None = None,
    action: str | None = None,
    outcome: str | None = None,
    most: int = 1000,
) -> list[dict[str, Any]]:
    """Entries of the trail, the newest first.

    Parameters
    ----------
    registry
        An open registry.
    since
        First day, in UTC.
    actor, action, outcome
        Exactly this; None is any.
    most
        At most so many, 1 or more.

    Returns
    -------
    list
        One row per entry, columns as :data:`COLUMNS`; times in UTC, to the second, details by name.

    Raises
    ------
    Refused
        The actor may not read the trail.
    """
    require(Action.TRAIL, registry, kind="trail")
    begin = None if since is None else datetime.combine(since, time(), UTC).replace(tzinfo=None)
    asked = {"since": begin, "actor": actor, "action": action, "outcome": outcome, "most": most}
    return [
        {
            "entry": seq,
            "time": f"{at:%Y-%m-%d %H:%M:%S}",
            "actor": who,
            "action": what,
            "kind": kind,
            "key": key,
            "outcome": ended,
            "details": json.loads(details),
        }
        for seq, at, who, what, kind, key, ended, details in registry.rows(_SQL, asked)
    ]


def choices(registry: Registry) -> dict[str, list[str]]:
    """The values of actor, action and outcome that the trail holds, in the order of the alphabet."""
    require(Action.TRAIL, registry, kind="trail")
    return {
        name: [one for (one,) in registry.rows(f"SELECT DISTINCT {name} FROM audit_event ORDER BY {name}")]
        for name in ("actor", "action", "outcome")
    }


def in_words(details: dict[str, Any]) -> str:
    """Details on one line; of long lists only how long they are."""
    return "; ".join(
        f"{key}: {_plain(value)}" for key, value in details.items() if value not in ("", [], None)
    )


def _plain(value: Any) -> str:
    if isinstance(value, dict | list):
        parts = list(value.values()) if isinstance(value, dict) else value
        if any(isinstance(one, dict | list) for one in parts):
            return f"{len(parts)} listed"
        named = [f"{key} {one}" for key, one in value.items()] if isinstance(value, dict) else value
        return ", ".join(str(one) for one in named)
    return str(value)
