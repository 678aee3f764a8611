"""The queries of ``sql/uptake``, and how they are put to a registry as of a day."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from registry import facts, store
from registry.errors import UsageProblem
from registry.sqlfiles import queries

if TYPE_CHECKING:
    import polars as pl

    from registry.measures.counting import Reader


def ask(
    registry: Reader,
    name: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    procedure_id: str | None = None,
) -> pl.DataFrame:
    """Rows of one query of ``sql/uptake``.

    Parameters
    ----------
    registry
        An open registry, or one as it was known at a moment.
    name
        A file of ``sql/uptake``, without its ending.
    as_of
        Nothing dated after this day counts; ``date.max`` leaves nothing out.
    start, end
        First and last day on which a procedure started, both included.
    procedure_id
        Only this procedure, where the query knows one.

    Raises
    ------
    UsageProblem
        A period that ends before it begins.
    """
    if start and end and start > end:
        raise UsageProblem(
            f"The period runs from {start} to {end}: the first day is after the last. Swap them."
        )
    sql = queries("uptake")[name].sql
    given = {
        "as_of": as_of,
        "start": start or date.min,
        "end": min(end or as_of, as_of),
        "procedure_id": procedure_id,
    }
    asked = {key: value for key, value in given.items() if f"${key}" in sql}
    with facts.at(registry, as_of) as cursor:
        return store.frame(cursor, sql, asked)
