"""The statements that count: every measure asked for, split and bounded alike."""

from __future__ import annotations

import re
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

from registry import facts, store
from registry.measures.definition import QUANTITY
from registry.measures.strata import ALL

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from contextlib import AbstractContextManager

    import duckdb
    import polars as pl

    from registry.measures.definition import Measure
    from registry.measures.strata import Question

STRATUM = "unit.procedure_id.stratum"
PATIENT = "unit.procedure_id.patient_no"
KEPT = "unit.excluded_because IS NULL"
_ALONE = "unit.procedure_id.patient_procedures = 1"


class Reader(Protocol):
    """What counting needs of an open registry, or of a registry as it was known."""

    def cursor(self) -> AbstractContextManager[duckdb.DuckDBPyConnection]:
        """A cursor of its own."""
        ...

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
        found = cursor.execute("SELECT * FROM procedure_facts LIMIT 0").description
        self._columns = frozenset(str(one[0]) for one in found or ()) - {"procedure_id"}

    def select(self, measure: Measure, columns: str, *, tail: str = "", only: str = "TRUE") -> str:
        """A SELECT over the classified procedures.

        Parameters
        ----------
        columns
            May use ``unit.<column of the measure>``, ``STRATUM``, ``PATIENT`` and ``KEPT``.
        tail
            WHERE and GROUP BY.
        only
            A further condition over procedure_facts.
        """
        named = sorted(self._columns.intersection(re.findall(r"\w+", measure.body)))
        return (
            f"SELECT {columns} FROM (\nWITH procedure_facts AS NOT MATERIALIZED (SELECT "
            f"{{'stratum': {self.question.stratum}, 'patient_no': patient_no, 'patient_procedures': patient_procedures}} "
            f"AS procedure_id, {', '.join(named)} FROM procedure_facts "
            f"WHERE {self.question.condition} AND {only})\n"
            f"SELECT * FROM (\n{measure.body}\n) AS classified\n) AS unit {tail}"
        )

    def frame(self, parts: Iterable[str]) -> pl.DataFrame:
        """Rows of one statement made of several SELECTs with the same columns."""
        return store.frame(self._cursor, "\nUNION ALL\n".join(parts), self.question.parameters)


@contextmanager
def classified(registry: Reader, question: Question) -> Iterator[Classified]:
    """The facts as of the day of a question, for as long as the block lasts."""
    with registry.cursor() as cursor, facts.at(cursor, question.as_of):
        yield Classified(cursor, question)


def count(units: Classified, measures: Sequence[Measure]) -> dict[tuple[str, str], Counts]:
    """Counts of proportions and quantities, by (measure, stratum).

    A stratum in which a measure leaves everything out is there with denominator 0. One
    without procedures is not, except for the single stratum of a question that does not
    split.
    """
    if not measures:
        return {}
    found: dict[tuple[str, str], Counts] = {}
    if units.question.by is None:
        found = {(one.id, ALL): Counts() for one in measures}
    for row in units.frame(_tally(units, place, one) for place, one in enumerate(measures)).iter_rows(
        named=True
    ):
        _add(found.setdefault((measures[row["place"]].id, row["stratum"]), Counts()), row)
    for place, stratum, patients in _patients_with_several(units, measures).iter_rows():
        found[measures[place].id, stratum].patients += patients
    order = {one.id: {reason: place for place, reason in enumerate(one.reasons)} for one in measures}
    for (measure_id, _), counts in found.items():
        counts.excluded = dict(sorted(counts.excluded.items(), key=lambda pair: order[measure_id][pair[0]]))
    return found


def _tally(units: Classified, place: int, measure: Measure) -> str:
    unknown = "unit.unknown" if measure.bounds else "CAST(NULL AS VARCHAR)"
    is_quantity = measure.kind == QUANTITY
    events = "0" if is_quantity else "count(*) FILTER (WHERE unit.in_numerator)"
    missing = "count(*) FILTER (WHERE unit.counts_as_missing)" if is_quantity else "0"
    # Most patients have one procedure: counting them needs no list of those already seen.
    alone = f"count(*) FILTER (WHERE {KEPT} AND {_ALONE})"
    return units.select(
        measure,
        f"{place} AS place, {STRATUM} AS stratum, unit.excluded_because, {unknown} AS unknown, count(*) AS units, "
        f"{events} AS events, {missing} AS missing, {alone} AS patients",
        tail=f"GROUP BY {STRATUM}, unit.excluded_because, {unknown}",
    )


def _patients_with_several(units: Classified, measures: Sequence[Measure]) -> pl.DataFrame:
    """Patients in each denominator among those with several procedures: place, stratum, patients."""
    kept = "\nUNION ALL\n".join(
        units.select(
            one,
            f"{place} AS place, {STRATUM} AS stratum, {PATIENT} AS patient_no",
            tail=f"WHERE {KEPT}",
            only="patient_procedures > 1",
        )
        for place, one in enumerate(measures)
    )
    return units.frame(
        [
            f"SELECT place, stratum, count(DISTINCT patient_no) AS patients FROM (\n{kept}\n) AS kept GROUP BY place, stratum"
        ]
    )


def _add(counts: Counts, row: dict[str, Any]) -> None:
    reason = row["excluded_because"]
    if reason is None:
        counts.denominator += row["units"]
        counts.numerator += row["events"]
        counts.patients += row["patients"]
        return
    counts.excluded[reason] = counts.excluded.get(reason, 0) + row["units"]
    if reason not in ("not sampled", "repeat procedure"):
        counts.missing += row["missing"]
    if row["unknown"] is not None:
        counts.unknown[row["unknown"]] = counts.unknown.get(row["unknown"], 0) + row["units"]


Clusters = tuple[list[int], list[int], list[int]]


def per_patient(units: Classified, measures: Sequence[Measure]) -> dict[tuple[str, str], Clusters]:
    """How many patients have y counted among n procedures: (y, n, patients), by (measure, stratum)."""
    parts = []
    for place, one in enumerate(measures):
        clusters = units.select(
            one,
            f"{STRATUM} AS stratum, {PATIENT} AS patient_no, count(*) AS n, "
            "count(*) FILTER (WHERE unit.in_numerator) AS y",
            tail=f"WHERE {KEPT} GROUP BY {STRATUM}, {PATIENT}",
        )
        parts.append(
            f"SELECT {place} AS place, stratum, y, n, count(*) AS patients FROM (\n{clusters}\n) AS cluster "
            "GROUP BY stratum, y, n"
        )
    found: dict[tuple[str, str], Clusters] = {}
    if not parts:
        return found
    for row in units.frame(parts).sort("place", "stratum", "n", "y").iter_rows(named=True):
        kept = found.setdefault((measures[row["place"]].id, row["stratum"]), ([], [], []))
        for column, name in zip(kept, ("y", "n", "patients"), strict=True):
            column.append(row[name])
    return found


def measured(units: Classified, measures: Sequence[Measure]) -> pl.DataFrame:
    """Values of the kept procedures: place of the measure in the list, stratum, measured."""
    return units.frame(
        units.select(
            one,
            f"CAST({place} AS INTEGER) AS place, {STRATUM} AS stratum, unit.measured",
            tail=f"WHERE {KEPT}",
        )
        for place, one in enumerate(measures)
    )
