"""The rows of ``sql/cores``: one per procedure, with the reason why it is left out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from registry import facts, store
from registry.sqlfiles import SqlFile, load_folder

if TYPE_CHECKING:
    from collections.abc import Mapping

    import polars as pl

    from registry.measures.counting import Reader

_FIRST = date(1, 1, 1)
_REQUIRED = frozenset({"cores", "title", "grain", "exclusions"})


@dataclass(frozen=True)
class Reason:
    """Why a procedure is left out, as the rows name it, and what it means."""

    name: str
    meaning: str


@cache
def _files() -> Mapping[str, SqlFile]:
    found = load_folder("cores", _REQUIRED, frozenset({"note"}))
    return MappingProxyType({one.name: one for one in found})


@dataclass(frozen=True)
class Definition:
    """What the header of a file says: its title, the reasons for leaving out in order, and its note."""

    title: str
    reasons: tuple[Reason, ...]
    note: str


def definition(name: str) -> Definition:
    """The header of a file, for a page to show."""
    header = _files()[name].header
    return Definition(header["title"], reasons(name), header.get("note", ""))


def reasons(name: str) -> tuple[Reason, ...]:
    """Reasons for leaving a procedure out, in the order in which they apply."""
    parts = (part.strip().partition(" (") for part in _files()[name].header["exclusions"].split(";"))
    return tuple(Reason(reason, meaning.removesuffix(")")) for reason, _, meaning in parts)


def rows(
    registry: Reader, name: str, *, as_of: date, start: date | None = None, end: date | None = None
) -> pl.DataFrame:
    """The rows of one file for the procedures of a period, in the order of day and key."""
    with facts.at(registry, as_of) as cursor:
        sql = (
            f"WITH {facts.relations()},\nrow_of AS (\n{_files()[name].sql}\n)\n"
            "SELECT * FROM row_of WHERE index_date BETWEEN $start AND $end ORDER BY index_date, procedure_id"
        )
        bounds = {"as_of": as_of, "start": start or _FIRST, "end": end or as_of}
        return store.frame(cursor, sql, bounds)


def flow(frame: pl.DataFrame, name: str, column: str = "excluded_because") -> list[tuple[str, int, int]]:
    """(reason, left out, remaining) in order; the first entry is ("procedures", 0, all of them)."""
    counts = dict(frame.group_by(column).len().rows())
    remaining = frame.height
    steps = [("procedures", 0, remaining)]
    for one in reasons(name):
        remaining -= counts.get(one.name, 0)
        steps.append((one.name, counts.get(one.name, 0), remaining))
    return steps
