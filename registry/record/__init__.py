"""One procedure with everything that hangs on it, as it is recorded now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from registry.errors import UsageProblem
from registry.people import Action, require
from registry.people.reads import note_read
from registry.record.missing import missing_fields
from registry.record.stations import Station, line_of
from registry.sqlfiles import queries

if TYPE_CHECKING:
    import polars as pl

    from registry.store import Registry

__all__ = [
    "ProcedureRecord",
    "Row",
    "Station",
    "complications_by_grade",
    "latest_day",
    "newest_procedures",
    "procedure_record",
]

Row = dict[str, Any]


@dataclass(frozen=True)
class ProcedureRecord:
    """A procedure and its rows, coded as in the data dictionary.

    ``chain`` holds the other procedures that ``repeat_of`` links, ``followup`` the events
    on any procedure of that chain. ``reports`` are all versions; ``is_current`` marks those
    that count. ``line`` has one station per step from finding to follow-up. ``missing``
    names expected fields that are empty, in words.
    """

    procedure: Row
    finding: Row
    targeting: tuple[Row, ...]
    specimens: tuple[Row, ...]
    reports: tuple[Row, ...]
    reviews: tuple[Row, ...]
    followup: tuple[Row, ...]
    complications: tuple[Row, ...]
    chain: tuple[Row, ...]
    line: tuple[Station, ...]
    missing: tuple[str, ...]

    @property
    def changes(self) -> tuple[str, ...]:
        """What changed after the latest joint review, one sentence per station."""
        return tuple(station.changed for station in self.line if station.changed)

    def missing_sentence(self) -> str:
        """Number and names of the expected fields that are empty."""
        count = len(self.missing)
        if not count:
            return "No expected field is empty."
        return f"{count} field{'s' if count > 1 else ''} missing: {', '.join(self.missing)}."


def procedure_record(registry: Registry, procedure_id: str) -> ProcedureRecord:
    """Everything recorded about one procedure.

    Parameters
    ----------
    registry
        An open registry.
    procedure_id
        Key of the procedure.

    Returns
    -------
    ProcedureRecord
        Parts of which nothing is recorded are empty.

    Raises
    ------
    UsageProblem
        The registry holds no such procedure.
    Refused
        The actor may not open records.
    """
    actor = require(Action.RECORD, registry, kind="procedure", key=procedure_id)

    def rows(name: str) -> tuple[Row, ...]:
        return tuple(registry.frame(queries("record")[name].sql, {"procedure_id": procedure_id}).to_dicts())

    found = rows("procedure")
    if not found:
        raise UsageProblem(
            "There is no procedure with this key in the registry. Choose one from the list, or correct the key."
        )
    note_read(registry, actor, "procedure", procedure_id)
    names = ("targeting", "specimens", "reports", "reviews", "followup", "complications", "chain")
    parts = {name: rows(name) for name in names}
    everything: dict[str, Any] = {"procedure": found[0], "finding": rows("finding")[0], **parts}
    return ProcedureRecord(**everything, line=line_of(everything), missing=missing_fields(everything))


def newest_procedures(registry: Registry, rows: int) -> pl.DataFrame:
    """Keys of the procedures, latest start first: procedure_id, started_on, site, guidance, status.

    Parameters
    ----------
    registry
        An open registry.
    rows
        At most so many, 0 or more.
    """
    require(Action.RECORD, registry)
    return registry.frame(queries("record")["newest"].sql, {"rows": rows})


def complications_by_grade(
    registry: Registry, *, as_of: date, start: date | None = None, end: date | None = None
) -> pl.DataFrame:
    """Complications within 30 days of the procedure: kind, scheme, grade, complications.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.
    """
    require(Action.FIGURES, registry)
    parameters = {"as_of": as_of, "start": start or date.min, "end": min(end or as_of, as_of)}
    return registry.frame(queries("record")["complications_by_grade"].sql, parameters)


def latest_day(registry: Registry) -> date | None:
    """The latest day on which anything clinical is dated; None in an empty registry."""
    rows = registry.rows(queries("record")["latest_on"].sql)
    return rows[0][0] if rows else None
