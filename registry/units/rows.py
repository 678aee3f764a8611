"""The statements of ``sql/units``: what an operator brought, and which of its procedures one was."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from registry import store
from registry.sqlfiles import queries

if TYPE_CHECKING:
    from registry.measures.counting import Reader

_FIRST = date(1, 1, 1)


@dataclass(frozen=True)
class Background:
    """What an operator brought and did in the period; ``experience_before`` None where not recorded.

    Counts are procedures: all, those with the needle in, those with a supervisor named.
    """

    role: str | None
    experience_before: int | None
    procedures: int
    attempted: int
    supervised: int
    supervisors: tuple[str, ...]


def backgrounds(
    registry: Reader, *, as_of: date, start: date | None, end: date | None
) -> dict[str, Background]:
    """Operator code -> what the operator brought and did in the period; all operators."""
    bounds = {"as_of": as_of, "start": start or _FIRST, "end": end or as_of}
    with registry.cursor() as cursor:
        rows = store.frame(cursor, queries("units")["operators"].sql, bounds).to_dicts()
    return {
        row.pop("operator"): Background(**{**row, "supervisors": tuple(row["supervisors"] or ())})
        for row in rows
    }
