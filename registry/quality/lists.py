"""Lists that the quality committee reads procedure by procedure: one SQL file of ``sql/quality`` each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from registry import facts, store
from registry.measures import load_measures
from registry.people import Action, require
from registry.sqlfiles import load_folder

if TYPE_CHECKING:
    from collections.abc import Mapping

    import polars as pl

    from registry.measures.counting import Reader

FIRST_DAY = date(1, 1, 1)
_REQUIRED = frozenset({"quality", "title", "grain", "order", "note"})


@dataclass(frozen=True)
class ListFile:
    """One file of ``sql/quality`` as its header states it."""

    name: str
    title: str
    note: str
    sql: str


@cache
def files() -> Mapping[str, ListFile]:
    """The statements by name."""
    found = load_folder("quality", _REQUIRED)
    return MappingProxyType(
        {one.name: ListFile(one.name, one.header["title"], one.header["note"], one.sql) for one in found}
    )


def asked(
    registry: Reader, name: str, *, as_of: date, start: date | None, end: date | None, given: str = ""
) -> pl.DataFrame:
    """Rows of one file for the procedures of a period; ``given`` defines relations that it reads."""
    sql = files()[name].sql
    if given:
        sql = f"WITH {given}\nSELECT * FROM (\n{sql}\n) AS asked"
    bounds = {"as_of": as_of, "start": start or FIRST_DAY, "end": min(end or as_of, as_of)}
    with facts.at(registry, as_of) as cursor:
        return store.frame(cursor, sql, bounds)


def discordant(
    registry: Reader, *, as_of: date, start: date | None = None, end: date | None = None
) -> pl.DataFrame:
    """Every procedure with a discordant joint review, and how it ended.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.

    Returns
    -------
    DataFrame
        Columns as in ``sql/quality/discordant.sql``, in the order of day and key.

    Raises
    ------
    Refused
        Whoever asks may not see procedures.
    """
    require(Action.PROCEDURES, registry)
    given = f"later_tissue AS (\n{files()['later_tissue'].sql}\n)"
    found = asked(registry, "discordant", as_of=as_of, start=start, end=end, given=given)
    return found.sort("started_on", "procedure_id")


def not_conclusive(
    registry: Reader, *, as_of: date, start: date | None = None, end: date | None = None
) -> dict[str, tuple[int, int]]:
    """Measure of discordance -> procedures not reviewed, and reviewed without a decision.

    Parameters, Raises
    ------------------
    As :func:`discordant`; figures are enough.
    """
    require(Action.FIGURES, registry)
    rows = asked(registry, "not_conclusive", as_of=as_of, start=start, end=end)
    return {measure: (none, unsure) for measure, none, unsure in rows.iter_rows()}


def b_category_review(
    registry: Reader, *, as_of: date, start: date | None = None, end: date | None = None
) -> pl.DataFrame:
    """Malignant biopsies with an excision without cancer, and B1 or B2 followed by cancer.

    Parameters, Returns, Raises
    ---------------------------
    As :func:`discordant`, columns as in ``sql/quality/b_category_review.sql``.
    """
    require(Action.PROCEDURES, registry)
    table = load_measures()["b_category_accuracy"].body
    given = f"classified AS (\n{table}\n)"
    found = asked(registry, "b_category_review", as_of=as_of, start=start, end=end, given=given)
    return found.sort("why", "started_on", "procedure_id")
