"""What waits for somebody: reviews, reports, follow-ups, recommended steps.

A worklist is one SQL file whose header says what question it answers, for whom, and in
which order. It reads the record as it is known now; ``as_of`` leaves out what is dated
later.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import facts, store
from registry.errors import UsageProblem
from registry.people import Action, require
from registry.schedules import RESULT_CLASSES
from registry.sqlfiles import HeaderProblem, load_folder
from registry.vocabulary import column

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from registry.site import Site
    from registry.store import Registry

_REQUIRED = frozenset({"worklist", "title", "question", "who", "order", "columns", "narrow", "note"})


@dataclass(frozen=True)
class Worklist:
    """One worklist, as its file states it.

    ``columns`` are the columns of :func:`rows`, in order; ``narrow`` are those for which a
    terminal has room.
    """

    name: str
    title: str
    question: str
    who: str
    order: str
    note: str
    columns: tuple[str, ...]
    narrow: tuple[str, ...]
    sql: str


@cache
def load_worklists() -> Mapping[str, Worklist]:
    """All worklists by name.

    Raises
    ------
    HeaderProblem
        A header lacks a key, has an unknown one, names another worklist than its file, or
        a narrow column that is none.
    """
    found = {}
    for one in load_folder("worklists", _REQUIRED):
        head = one.header
        if head["worklist"] != one.name:
            raise HeaderProblem(
                f"sql/worklists/{one.name}.sql: its header says {head['worklist']}. Let both say the same."
            )
        columns, narrow = (
            tuple(part.strip() for part in head[key].split(",")) for key in ("columns", "narrow")
        )
        if foreign := [column for column in narrow if column not in columns]:
            raise HeaderProblem(
                f"sql/worklists/{one.name}.sql: narrow names {foreign[0]}, which is no column of it."
            )
        texts = {key: head[key] for key in ("title", "question", "who", "order", "note")}
        found[one.name] = Worklist(one.name, **texts, columns=columns, narrow=narrow, sql=one.sql)
    return MappingProxyType(found)


def rows(registry: Registry, name: str, *, as_of: date) -> pl.DataFrame:
    """Rows of one worklist, in its order, with clinical keys only.

    Parameters
    ----------
    registry
        An open registry.
    name
        One of :func:`load_worklists`.
    as_of
        Nothing dated after this day counts.

    Returns
    -------
    DataFrame
        Columns as the header names them; no rows where nothing waits.

    Raises
    ------
    UsageProblem
        There is no such worklist.
    """
    require(Action.WORKLISTS, registry)
    known = load_worklists()
    if name not in known:
        raise UsageProblem(f"{name}: there is no such worklist. Known: {', '.join(known)}.")
    sql = known[name].sql
    parameters: dict[str, Any] = {"as_of": as_of}
    if "$benign_months" in sql:
        parameters["benign_months"] = list(registry.site.benign_months)
    with facts.at(registry, as_of) as cursor:
        if "follow_up_schedule" in sql:
            cursor.register("follow_up_schedule", schedule(registry.site).to_arrow())
            parameters["specific"] = [code for code, group in column("lesion", "group").items() if group]
        return store.frame(cursor, sql, parameters)


def schedule(site: Site) -> pl.DataFrame:
    """Months of follow-up by result: result_class, months; one row a date."""
    months = {
        name: site.schedule.get(name) or (site.benign_months if name in _BENIGN else ())
        for name in RESULT_CLASSES
    }
    rows = [(name, month) for name, listed in months.items() for month in listed]
    return pl.DataFrame(rows, schema={"result_class": pl.String, "months": pl.Int32}, orient="row")


_BENIGN = frozenset({"non_specific", "tracer_only", "specific"})
