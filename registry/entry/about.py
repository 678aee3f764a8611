"""What a row that is being entered is about: the finding and the procedure that its keys name."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.store import Registry

_FINDING = "f.finding_id, f.laterality, f.region, f.clock_position, f.finding_type, f.size_mm, f.assessment"


@dataclass(frozen=True)
class About:
    """Where the target lies and, for what follows a procedure, when it was and with which tracer.

    ``finding`` holds finding_id, laterality, region, clock_position, finding_type, size_mm and
    assessment. ``injected_at`` carries its offset.
    """

    finding: Mapping[str, Any]
    procedure_id: str = ""
    started_on: date | None = None
    injected_at: datetime | None = None
    tracer: str = ""
    activity_mbq: float | None = None


def about(registry: Registry, table: str, cells: Mapping[str, str]) -> About | None:
    """The stored finding and procedure of a row; None where its keys name none.

    Parameters
    ----------
    registry
        An open registry.
    table, cells
        Table of a form, and field -> text.
    """
    require(Action.RECORD, registry, kind=table)
    if table == "procedures":
        found = registry.frame(
            f"SELECT {_FINDING} FROM main.findings AS f WHERE f.finding_id = ?",
            [cells.get("finding_id", "").strip()],
        ).to_dicts()
        return About(found[0]) if found else None
    if not cells.get("procedure_id", "").strip():
        return None
    found = registry.frame(
        f"SELECT {_FINDING}, p.procedure_id, p.started_at, p.injected_at, p.injected_at_offset_min, p.tracer, p.activity_mbq "
        "FROM main.procedures AS p JOIN main.findings AS f ON f.finding_id = p.finding_id WHERE p.procedure_id = ?",
        [cells["procedure_id"].strip()],
    ).to_dicts()
    if not found:
        return None
    row = found[0]
    injected = row["injected_at"]
    if injected is not None:
        injected = injected.replace(tzinfo=timezone(timedelta(minutes=row["injected_at_offset_min"] or 0)))
    return About(
        row,
        row["procedure_id"],
        row["started_at"].date(),
        injected,
        row["tracer"] or "",
        row["activity_mbq"],
    )
