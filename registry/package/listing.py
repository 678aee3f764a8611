"""Who exported what, for what purpose and in which form: the exports of the trail."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from registry.people import Action, require

if TYPE_CHECKING:
    from registry.store import Registry

#: In the order in which they are shown.
COLUMNS = (
    "entry",
    "time",
    "actor",
    "what",
    "purpose",
    "profile",
    "project",
    "cohort",
    "cohort_sha256",
    "rows",
    "files",
)
_SQL = """
SELECT seq, happened_at, actor, object_kind, object_key, details FROM audit_event
WHERE action = 'export' AND outcome = 'done' AND ($actor IS NULL OR actor = $actor)
ORDER BY seq DESC
"""


def exports(registry: Registry) -> list[dict[str, Any]]:
    """Every export, the newest first; columns as :data:`COLUMNS`.

    Raises
    ------
    Refused
        The actor may not read the trail.
    """
    require(Action.TRAIL, registry, kind="trail")
    return _rows(registry, None)


def own_exports(registry: Registry) -> list[dict[str, Any]]:
    """Those of the person who acts.

    Raises
    ------
    Refused
        The actor may not export.
    """
    return _rows(registry, require(Action.EXPORT, registry).name)


def _rows(registry: Registry, actor: str | None) -> list[dict[str, Any]]:
    found = registry.rows(_SQL, {"actor": actor})
    return [_row(seq, at, who, kind, key, json.loads(details)) for seq, at, who, kind, key, details in found]


def _row(seq: int, at: Any, actor: str, kind: str, key: str, details: dict[str, Any]) -> dict[str, Any]:
    rows = details.get("rows", details.get("units"))
    files = details.get("files") or {}
    return {
        "entry": seq,
        "time": f"{at:%Y-%m-%d %H:%M:%S}",
        "actor": actor,
        "what": f"{kind} {key}",
        "purpose": details.get("reason", ""),
        "profile": details.get("profile", ""),
        "project": details.get("project") or "",
        "cohort": _cohort(details),
        "cohort_sha256": details.get("cohort_sha256") or "",
        "rows": rows,
        "files": len(files),
    }


def _cohort(details: dict[str, Any]) -> str:
    """The cohort and its version, or the period."""
    if details.get("cohort"):
        return f"{details['cohort']} {details['cohort_version']}"
    period = [details.get("from") or "", details.get("to") or ""]
    return " to ".join(period) if any(period) else ""
