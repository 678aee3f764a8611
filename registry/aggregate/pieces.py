"""Cross-tables and curves as counts: what stands in a file, what may be small in it, and its sums."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

CATEGORIES = ("B1", "B2", "B3", "B4", "B5")
OUTCOMES = ("m", "b", "n")
INTERVALS = ((0, 182), (183, 365), (366, 730), (731, 1095))
"""First and last day of the intervals of an event table; the last but open one follows."""

Row = tuple[int, int, int]
Step = tuple[int, int | None, int, int, int, int]
"""First day, last day (None: open), at risk at its start, cancers, deaths, followed no further."""


@dataclass(frozen=True)
class TableCell:
    """The B-category table of one stratum.

    ``cells`` maps the outcome (m cancer, b excised without, n neither) to five counts, B1
    to B5; ``unresolved`` has the n of them that are not resolved. ``groups`` are
    (cells such as "B1 m", patients), in internal files only.
    """

    n: int
    patients: int | None
    cells: Mapping[str, tuple[int, ...]]
    unresolved: tuple[int, ...]
    excluded: Mapping[str, int] = field(default_factory=dict)
    groups: tuple[tuple[tuple[str, ...], int], ...] | None = None

    def counts(self) -> dict[str, int]:
        """Every count by what it counts."""
        made = {"denominator": self.n}
        made |= {f"{name} {place}": one for name in OUTCOMES for place, one in enumerate(self.cells[name])}
        made |= {f"not resolved {place}": one for place, one in enumerate(self.unresolved)}
        made |= {
            f"resolved {place}": self.cells["n"][place] - one for place, one in enumerate(self.unresolved)
        }
        return made | _of_all(self)

    def rows(self) -> list[tuple[str, str, bool, int]]:
        """Category, outcome, whether resolved, number: as the table is made of."""
        made = []
        for place, category in enumerate(CATEGORIES):
            for outcome in OUTCOMES:
                number, open_ = self.cells[outcome][place], self.unresolved[place] if outcome == "n" else 0
                made += [(category, outcome, True, number - open_), (category, outcome, False, open_)]
        return [one for one in made if one[3]]


@dataclass(frozen=True)
class CurveCell:
    """Cancer after a benign result in one stratum.

    ``steps`` maps the estimate to the rows of its event table by :data:`INTERVALS`.
    ``days`` maps it to (days, status, number), status 0 followed no further, 1 cancer, 2
    death; in internal files only.
    """

    n: int
    patients: int | None
    steps: Mapping[str, tuple[Step, ...]]
    excluded: Mapping[str, int] = field(default_factory=dict)
    days: Mapping[str, tuple[Row, ...]] | None = None

    def counts(self) -> dict[str, int]:
        """Every count by what it counts."""
        made = {"denominator": self.n}
        for name, steps in self.steps.items():
            for first, _, *numbers in steps:
                made |= {f"{name} {first} {place}": one for place, one in enumerate(numbers)}
        return made | _of_all(self)


Piece = TableCell | CurveCell


def _of_all(piece: Piece) -> dict[str, int]:
    made = {f"left out: {reason}": count for reason, count in piece.excluded.items()}
    return made if piece.patients is None else {**made, "patients": piece.patients}


def event_table(rows: Sequence[Row]) -> tuple[Step, ...]:
    """At risk, cancers, deaths and the end of follow-up in each interval; those with nobody at risk left out."""
    spans: list[tuple[int, int | None]] = [*INTERVALS, (INTERVALS[-1][1] + 1, None)]
    made: list[Step] = []
    for first, last in spans:
        at_risk = sum(number for days, _, number in rows if first == 0 or days >= first)
        inside = [
            sum(
                number
                for days, status, number in rows
                if status == wanted and (first == 0 or days >= first) and (last is None or days <= last)
            )
            for wanted in (1, 2, 0)
        ]
        if at_risk:
            made.append((first, last, at_risk, *inside))  # type: ignore[arg-type]
    return tuple(made)


# -- sums ------------------------------------------------------------------------------


def sum_of(pieces: Sequence[Piece]) -> Piece:
    """Several places as one; what only some of them hold is left out."""
    excluded: dict[str, int] = {}
    for one in pieces:
        for reason, count in one.excluded.items():
            excluded[reason] = excluded.get(reason, 0) + count
    n, people = sum(one.n for one in pieces), [one.patients for one in pieces]
    patients = None if None in people else sum(one or 0 for one in people)
    tables = [one for one in pieces if isinstance(one, TableCell)]
    curves = [one for one in pieces if isinstance(one, CurveCell)]
    if tables:
        cells = {name: _added([one.cells[name] for one in tables]) for name in OUTCOMES}
        unresolved = _added([one.unresolved for one in tables])
        return TableCell(n, patients, cells, unresolved, excluded, _groups(tables))
    names = curves[0].steps
    return CurveCell(
        n,
        patients,
        {name: _steps([one.steps[name] for one in curves]) for name in names},
        excluded,
        _days(curves),
    )


def _added(rows: Sequence[Sequence[int]]) -> tuple[int, ...]:
    return tuple(sum(column) for column in zip(*rows, strict=True))


def _groups(tables: Sequence[TableCell]) -> tuple[tuple[tuple[str, ...], int], ...] | None:
    found: dict[tuple[str, ...], int] = {}
    for one in tables:
        if one.groups is None:
            return None
        for cells, patients in one.groups:
            found[cells] = found.get(cells, 0) + patients
    return tuple(sorted(found.items()))


def _steps(parts: Sequence[Sequence[Step]]) -> tuple[Step, ...]:
    found: dict[tuple[int, int | None], tuple[int, ...]] = {}
    for part in parts:
        for first, last, *numbers in part:
            kept = found.get((first, last), (0, 0, 0, 0))
            found[first, last] = _added([kept, numbers])
    return tuple((first, last, *found[first, last]) for first, last in sorted(found, key=lambda one: one[0]))  # type: ignore[misc]


def _days(curves: Sequence[CurveCell]) -> dict[str, tuple[Row, ...]] | None:
    made: dict[str, tuple[Row, ...]] = {}
    for name in curves[0].steps:
        found: dict[tuple[int, int], int] = {}
        for one in curves:
            if one.days is None:
                return None
            for days, status, number in one.days[name]:
                found[days, status] = found.get((days, status), 0) + number
        made[name] = tuple((days, status, found[days, status]) for days, status in sorted(found))
    return made


# -- the file --------------------------------------------------------------------------


def piece_out(piece: Piece) -> dict[str, Any]:
    """JSON-able."""
    made: dict[str, Any] = {"n": piece.n, "patients": piece.patients, "excluded": dict(piece.excluded)}
    if isinstance(piece, TableCell):
        groups = piece.groups
        return {
            **made,
            "cells": {name: list(piece.cells[name]) for name in OUTCOMES},
            "unresolved": list(piece.unresolved),
            "groups": None if groups is None else [[list(cells), number] for cells, number in groups],
        }
    days = piece.days
    return {
        **made,
        "steps": {name: [list(one) for one in steps] for name, steps in piece.steps.items()},
        "days": None if days is None else {name: [list(one) for one in rows] for name, rows in days.items()},
    }


def piece_in(given: Mapping[str, Any], kind: str) -> Piece:
    """From a file.

    Raises
    ------
    ValueError, KeyError, TypeError
        A field is missing or one too many, a count is none, or they do not add up.
    """
    is_table = kind == "table"
    fields = {
        "n",
        "patients",
        "excluded",
        *(("cells", "unresolved", "groups") if is_table else ("steps", "days")),
    }
    if set(given) != fields:
        raise ValueError("a table or curve lacks a field or has one too many")
    made = _table_in(given) if is_table else _curve_in(given)
    if not all(type(one) is int and one >= 0 for one in made.counts().values()):
        raise ValueError("a count is no whole number from 0 on")
    if made.patients is not None and made.patients > made.n:
        raise ValueError("more patients than procedures")
    return made


def _table_in(given: Mapping[str, Any]) -> TableCell:
    cells = {name: tuple(given["cells"][name]) for name in OUTCOMES}
    unresolved, groups = tuple(given["unresolved"]), given["groups"]
    if any(len(one) != len(CATEGORIES) for one in (*cells.values(), unresolved)):
        raise ValueError("a B-category table has five columns")
    made = TableCell(
        given["n"],
        given["patients"],
        cells,
        unresolved,
        dict(given["excluded"]),
        None if groups is None else tuple((tuple(names), number) for names, number in groups),
    )
    if sum(map(sum, cells.values())) != made.n:
        raise ValueError("the cells of a table do not add up to its procedures")
    if made.groups is not None:
        found: dict[str, int] = {}
        for names, number in made.groups:
            for name in names:
                found[name] = found.get(name, 0) + number
        stated = {
            f"{category} {outcome}": cells[outcome][place]
            for outcome in OUTCOMES
            for place, category in enumerate(CATEGORIES)
        }
        if found != {name: number for name, number in stated.items() if number}:
            raise ValueError("the cells by patient do not add up to those of the table")
    return made


def _curve_in(given: Mapping[str, Any]) -> CurveCell:
    days = given["days"]
    made = CurveCell(
        given["n"],
        given["patients"],
        {str(name): tuple(tuple(one) for one in rows) for name, rows in given["steps"].items()},
        dict(given["excluded"]),
        None
        if days is None
        else {str(name): tuple(tuple(one) for one in rows) for name, rows in days.items()},
    )
    spans = [*INTERVALS, (INTERVALS[-1][1] + 1, None)]
    for steps in made.steps.values():
        if any((first, last) not in spans for first, last, *_ in steps):
            raise ValueError("an interval of the event table is none of the stated ones")
        left = made.n
        for _, _, at_risk, *ended in steps:
            if at_risk != left:
                raise ValueError("the numbers at risk do not follow from what happened before")
            left = at_risk - sum(ended)
        if left:
            raise ValueError("the event table does not end with nobody at risk")
    if made.days is not None and {name: event_table(rows) for name, rows in made.days.items()} != dict(
        made.steps
    ):
        raise ValueError("the event table is not that of its days")
    return made
