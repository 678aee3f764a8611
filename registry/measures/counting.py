"""The statements that count: every measure asked for, split and bounded alike."""

from __future__ import annotations

import re
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from registry import facts
from registry.measures.definition import PROPORTION, QUANTITY, SAMPLING
from registry.measures.strata import ALL

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    import duckdb

    from registry.measures.definition import Measure
    from registry.measures.strata import Question
    from registry.site import Site

PATIENT = "unit.procedure_id.patient_no"
KEPT = "unit.excluded_because IS NULL"
#: Most patients have one procedure: counting them needs no memory of those already seen.
_ALONE = "unit.procedure_id.patient_procedures = 1"
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


class Classified:
    """Measures put to the facts as of the day of one question.

    A measure reads ``procedure_facts`` and hands its ``procedure_id`` on. Here it is given
    the facts that the question is about, narrowed to the columns that it names, and in
    place of the key a record of stratum and patient: so nothing has to be joined back.
    """

    def __init__(self, cursor: duckdb.DuckDBPyConnection, question: Question) -> None:
        self._cursor = cursor
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

    def rows(self, parts: Iterable[str]) -> list[tuple[Any, ...]]:
        """Rows of one statement made of several SELECTs with the same columns."""
        found: list[tuple[Any, ...]] = self._cursor.execute(
            "\nUNION ALL\n".join(parts), self.question.parameters
        ).fetchall()
        return found

    def columns(self, parts: Iterable[str]) -> Iterator[tuple[Any, ...]]:
        """Rows of one statement whose lists are arrays; what is missing is None."""
        found = self._cursor.execute("\nUNION ALL\n".join(parts), self.question.parameters).fetchnumpy()
        return zip(*map(_plain, found.values()), strict=True)

    def lists(self, parts: Iterable[str]) -> dict[tuple[int, str], np.ndarray]:
        """Values by (place, stratum), from SELECTs with the columns place, stratum and a list."""
        found = self._cursor.execute("\nUNION ALL\n".join(parts), self.question.parameters).fetchnumpy()
        place, stratum, values = found.values()
        return {
            (int(number), str(name)): kept for number, name, kept in zip(place, stratum, values, strict=True)
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


def count(units: Classified, measures: Sequence[Measure]) -> dict[tuple[str, str], Counts]:
    """Counts of measures of any kind, by (measure, stratum).

    A stratum in which a measure leaves everything out is there with denominator 0. One
    without procedures is not, except for the single stratum of a question that does not
    split.
    """
    if not measures:
        return {}
    found: dict[tuple[str, str], Counts] = {}
    if units.question.by is None:
        found = {(one.id, ALL): Counts() for one in measures}
    for place, stratum, several, *cells in units.columns(
        _tally(units, place, one) for place, one in enumerate(measures)
    ):
        _add(found.setdefault((measures[place].id, stratum), Counts()), several, *cells)
    order = {one.id: {reason: place for place, reason in enumerate(one.reasons)} for one in measures}
    for (measure_id, _), counts in found.items():
        counts.excluded = dict(sorted(counts.excluded.items(), key=lambda pair: order[measure_id][pair[0]]))
    return found


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
        f"{place} AS place, {units.stratum} AS stratum, count(DISTINCT {PATIENT}) FILTER (WHERE {KEPT} AND NOT {_ALONE}) AS several, "
        f"unit.excluded_because, {unknown} AS unknown, count(*) AS units, {events} AS events, {missing} AS missing, "
        f"count(*) FILTER (WHERE {_ALONE}) AS patients",
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


def measured(units: Classified, measures: Sequence[Measure]) -> dict[tuple[int, str], np.ndarray]:
    """Values of the kept procedures, by (place of the measure in the list, stratum)."""
    return units.lists(
        units.select(
            one,
            f"{place} AS place, {units.stratum} AS stratum, list(unit.measured) AS measured",
            tail=f"WHERE {KEPT} GROUP BY {units.stratum}",
        )
        for place, one in enumerate(measures)
    )
