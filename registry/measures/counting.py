"""The statements that count: every measure asked for, split and bounded alike."""

from __future__ import annotations

import re
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from registry import facts, store
from registry.measures.conditions import Parts, parts_of
from registry.measures.definition import PROPORTION, QUANTITY, SAMPLING
from registry.measures.one_scan import Cell, Scan, fits
from registry.measures.strata import ALL

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    import duckdb
    import polars as pl

    from registry.measures.definition import Measure
    from registry.measures.strata import Question
    from registry.site import Site

PATIENT = "unit.procedure_id.patient_no"
KEPT = "unit.excluded_because IS NULL"
#: Most patients have one procedure: counting them needs no memory of those already seen.
ALONE = "unit.procedure_id.patient_procedures = 1"
#: Left out for one of these, a value is not missing: none was to be expected.
NEVER_MISSING = ("not sampled", "repeat procedure")


class Reader(facts.Record, Protocol):
    """What counting needs of an open registry, or of a registry as it was known."""

    site: Site

    def stamp(self) -> str:
        """Version stamp for results."""
        ...


@dataclass
class Counts:
    """Counts of one measure in one stratum.

    ``missing`` is counted for quantities only; ``unknown`` maps the sign that a measure
    gives to an unknown outcome to a number of units.
    """

    denominator: int = 0
    numerator: int = 0
    patients: int = 0
    missing: int = 0
    excluded: dict[str, int] = field(default_factory=dict)
    unknown: dict[str, int] = field(default_factory=dict)


Tallies = dict[tuple[str, str], Counts]
"""Counts by (measure, stratum)."""
Values = dict[tuple[str, str], np.ndarray]
"""Values by (measure, stratum); no entry where none is kept."""


class Classified:
    """Measures put to the facts as of the day of one question.

    A measure reads ``procedure_facts`` and hands its ``procedure_id`` on. Here it is given
    the facts that the question is about, narrowed to the columns that it names, and in
    place of the key a record of stratum and patient: so nothing has to be joined back.
    """

    def __init__(self, cursor: duckdb.DuckDBPyConnection, question: Question) -> None:
        self.cursor = cursor
        self.question = question
        #: Expression of the stratum in :meth:`select`; a constant where nothing is split.
        self.stratum = "unit.procedure_id.stratum" if question.by else f"'{ALL}'"
        found = cursor.execute("SELECT * FROM procedure_facts LIMIT 0").description
        self._columns = frozenset(str(one[0]) for one in found or ()) - {"procedure_id"}

    def select(self, measure: Measure, columns: str, *, tail: str = "", only: str = "TRUE") -> str:
        """A SELECT over the classified procedures.

        Parameters
        ----------
        columns
            May use ``unit.<column of the measure>``, :attr:`stratum`, ``PATIENT`` and ``KEPT``.
        tail
            WHERE and GROUP BY.
        only
            A further condition over procedure_facts.
        """
        split = f"'stratum': {self.question.stratum}, " if self.question.by else ""
        if measure.kind == SAMPLING:
            return self._beside_the_facts(measure, split, columns, tail, only)
        named = sorted(self._columns.intersection(re.findall(r"\w+", measure.body)))
        return (
            f"SELECT {columns} FROM (\nWITH procedure_facts AS NOT MATERIALIZED (SELECT "
            f"{{{split}'patient_no': patient_no, 'patient_procedures': patient_procedures}} "
            f"AS procedure_id, {', '.join(named)} FROM procedure_facts "
            f"WHERE {self.question.condition} AND {only})\n"
            f"SELECT * FROM (\n{measure.body}\n) AS classified\n) AS unit {tail}"
        )

    def _beside_the_facts(self, measure: Measure, split: str, columns: str, tail: str, only: str) -> str:
        """The same for a measure that needs the key, to read the tables beside the facts."""
        return (
            "SELECT "
            f"{columns} FROM (\nSELECT classified.* EXCLUDE (procedure_id), facts.unit AS procedure_id FROM (\n"
            f"{measure.body}\n) AS classified JOIN (SELECT procedure_id, {{{split}'patient_no': patient_no, "
            "'patient_procedures': patient_procedures} AS unit FROM procedure_facts "
            f"WHERE {self.question.condition} AND {only}) AS facts "
            f"ON facts.procedure_id = classified.procedure_id\n) AS unit {tail}"
        )

    def parts(self, measure: Measure) -> Parts | str:
        """The measure taken apart for a scan with others, or in words why it is not."""
        told = parts_of(self.cursor, measure, self._columns)
        return told if isinstance(told, str) or fits(told) else "it says more than a byte holds"

    def rows(self, parts: Iterable[str]) -> list[tuple[Any, ...]]:
        """Rows of one statement made of several SELECTs with the same columns."""
        found: list[tuple[Any, ...]] = self.cursor.execute(
            "\nUNION ALL\n".join(parts), self.question.parameters
        ).fetchall()
        return found

    def frame(self, select: str) -> pl.DataFrame:
        """Rows of one SELECT, column by column."""
        return store.frame(self.cursor, select, self.question.parameters)

    def columns(self, parts: Iterable[str]) -> Iterator[tuple[Any, ...]]:
        """Rows of one statement whose lists are arrays; what is missing is None."""
        found = self.cursor.execute("\nUNION ALL\n".join(parts), self.question.parameters).fetchnumpy()
        return zip(*map(_plain, found.values()), strict=True)

    def lists(self, parts: Iterable[str]) -> dict[tuple[str, str], np.ndarray]:
        """Values by (measure, stratum), from SELECTs with the columns measure, stratum and a list."""
        found = self.cursor.execute("\nUNION ALL\n".join(parts), self.question.parameters).fetchnumpy()
        return {
            (str(measure), str(stratum)): kept for measure, stratum, kept in zip(*found.values(), strict=True)
        }


def _plain(column: np.ndarray) -> list[Any]:
    if not isinstance(column, np.ma.MaskedArray):
        kept: list[Any] = column.tolist()
        return kept
    return [None if one is np.ma.masked else one for one in column]


@contextmanager
def classified(registry: Reader, question: Question) -> Iterator[Classified]:
    """The facts as of the day of a question, for as long as the block lasts."""
    with facts.at(registry, question.as_of) as cursor:
        yield Classified(cursor, question)


def count(units: Classified, measures: Sequence[Measure]) -> Tallies:
    """Counts of measures of any kind, by (measure, stratum).

    A stratum in which a measure leaves everything out is there with denominator 0. One
    without procedures is not, except for the single stratum of a question that does not
    split.
    """
    return count_and_measure(units, measures)[0]


def count_and_measure(units: Classified, measures: Sequence[Measure]) -> tuple[Tallies, Values]:
    """As :func:`count`, and the values of the kept procedures of quantities, by (measure, stratum).

    Measures that can be taken apart are counted in one scan, the others each by itself; the
    results are the same.
    """
    if not measures:
        return {}, {}
    parts = {one.id: units.parts(one) for one in measures}
    apart = {name: told for name, told in parts.items() if not isinstance(told, str)}
    others = [one for one in measures if isinstance(parts[one.id], str)]
    found: Tallies = {}
    if units.question.by is None:
        found = {(one.id, ALL): Counts() for one in measures}
    values: Values = {}
    for counted, lists in (
        _count_in_one_scan(units, apart),
        _count_each(units, others),
    ):
        found |= counted
        values |= lists
    order = {one.id: {reason: place for place, reason in enumerate(one.reasons)} for one in measures}
    for (measure_id, _), counts in found.items():
        counts.excluded = dict(sorted(counts.excluded.items(), key=lambda pair: order[measure_id][pair[0]]))
    return found, values


def _count_in_one_scan(units: Classified, measures: Mapping[str, Parts]) -> tuple[Tallies, Values]:
    found: Tallies = {}
    values: Values = {}
    if not measures:
        return found, values
    scan = Scan(units.cursor, units.question, [*measures.values()])
    for place, (name, several) in enumerate(zip(measures, scan.patients_of_several(), strict=True)):
        for cell in scan.cells(place):
            if (name, cell.stratum) not in found:
                found[name, cell.stratum] = Counts(patients=several[cell.stratum])
            _add_cell(found[name, cell.stratum], cell)
        values |= {(name, stratum): kept for stratum, kept in scan.values(place).items()}
    return found, values


def _add_cell(counts: Counts, cell: Cell) -> None:
    _add(
        counts,
        0,
        cell.reason,
        cell.unknown,
        cell.units,
        cell.units * cell.in_numerator,
        cell.units * cell.counts_as_missing,
        cell.units * cell.alone,
    )


def _count_each(units: Classified, measures: Sequence[Measure]) -> tuple[Tallies, Values]:
    found: Tallies = {}
    if not measures:
        return found, {}
    for place, stratum, several, *cells in units.columns(
        _tally(units, place, one) for place, one in enumerate(measures)
    ):
        _add(found.setdefault((measures[place].id, stratum), Counts()), several, *cells)
    lengths = [one for one in measures if one.kind == QUANTITY]
    return found, _measured(units, lengths) if lengths else {}


def _tally(units: Classified, place: int, measure: Measure) -> str:
    unknown = "unit.unknown" if measure.bounds else "CAST(NULL AS VARCHAR)"
    events = "count(*) FILTER (WHERE unit.in_numerator)" if measure.kind == PROPORTION else "0"
    missing = "count(*) FILTER (WHERE unit.counts_as_missing)" if measure.kind == QUANTITY else "0"
    # A constant among the keys is hashed for every row all the same.
    keys = (
        [units.stratum] * bool(units.question.by)
        + ["unit.excluded_because"]
        + [unknown] * bool(measure.bounds)
    )
    return units.select(
        measure,
        f"{place} AS place, {units.stratum} AS stratum, count(DISTINCT {PATIENT}) FILTER (WHERE {KEPT} AND NOT {ALONE}) AS several, "
        f"unit.excluded_because, {unknown} AS unknown, count(*) AS units, {events} AS events, {missing} AS missing, "
        f"count(*) FILTER (WHERE {ALONE}) AS patients",
        tail=f"GROUP BY {', '.join(keys)}",
    )


def _add(
    counts: Counts,
    several: int,
    reason: str | None,
    unknown: str | None,
    units: int,
    events: int,
    missing: int,
    patients: int,
) -> None:
    if reason is None:
        counts.denominator += units
        counts.numerator += events
        counts.patients += patients + several
        return
    counts.excluded[reason] = counts.excluded.get(reason, 0) + units
    if reason not in NEVER_MISSING:
        counts.missing += missing
    if unknown is not None:
        counts.unknown[unknown] = counts.unknown.get(unknown, 0) + units


Clusters = tuple[list[int], list[int], list[int]]


def per_patient(units: Classified, measures: Sequence[Measure]) -> dict[tuple[str, str], Clusters]:
    """How many patients have y counted among n procedures: (y, n, patients), by (measure, stratum)."""
    parts = []
    for place, one in enumerate(measures):
        # Most patients have one procedure: they need no grouping by patient.
        parts.append(
            units.select(
                one,
                f"{place} AS place, {units.stratum} AS stratum, 1 AS n, "
                "CAST(coalesce(unit.in_numerator, FALSE) AS BIGINT) AS y, count(*) AS patients",
                tail=f"WHERE {KEPT} GROUP BY {units.stratum}, coalesce(unit.in_numerator, FALSE)",
                only="patient_procedures = 1",
            )
        )
        clusters = units.select(
            one,
            f"{units.stratum} AS stratum, {PATIENT} AS patient_no, count(*) AS n, "
            "count(*) FILTER (WHERE unit.in_numerator) AS y",
            tail=f"WHERE {KEPT} GROUP BY {units.stratum}, {PATIENT}",
            only="patient_procedures > 1",
        )
        parts.append(
            f"SELECT {place} AS place, stratum, n, y, count(*) AS patients FROM (\n{clusters}\n) AS cluster "
            "GROUP BY stratum, n, y"
        )
    found: dict[tuple[str, str], Clusters] = {}
    for place, stratum, n, y, patients in sorted(units.rows(parts)) if parts else []:
        kept = found.setdefault((measures[place].id, stratum), ([], [], []))
        for column, number in zip(kept, (y, n, patients), strict=True):
            column.append(number)
    return found


def _measured(units: Classified, measures: Sequence[Measure]) -> Values:
    return units.lists(
        units.select(
            one,
            f"'{one.id}' AS measure, {units.stratum} AS stratum, list(unit.measured) AS measured",
            tail=f"WHERE {KEPT} GROUP BY {units.stratum}",
        )
        for one in measures
    )
