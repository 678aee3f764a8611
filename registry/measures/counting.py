"""The one statement that counts: every measure asked for, split and bounded alike."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

from registry import facts, store

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from contextlib import AbstractContextManager

    import duckdb
    import polars as pl

    from registry.measures.definition import Measure
    from registry.measures.strata import Question

# A row number stands in for the key of a procedure while measures are counted: each of them
# is joined to its strata and patients, and numbers join several times faster than texts.
_NUMBERED = (
    "procedure_facts AS NOT MATERIALIZED (SELECT * REPLACE (rowid AS procedure_id) FROM procedure_facts)"
)


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
    """Counts of one measure in one stratum; ``rows`` holds the number of each further cell."""

    denominator: int = 0
    numerator: int = 0
    patients: int = 0
    missing: int = 0
    excluded: dict[str, int] = field(default_factory=dict)
    unknown: dict[str, int] = field(default_factory=dict)


def ask(registry: Reader, question: Question, sql: str) -> pl.DataFrame:
    """Rows of one statement over the facts as of the day of the question."""
    with registry.cursor() as cursor, facts.at(cursor, question.as_of):
        return store.frame(cursor, sql, question.parameters)


def units(measure: Measure, question: Question, columns: str) -> str:
    """A SELECT over the classified procedures that the question is about.

    ``columns`` may use ``unit.<column of the measure>``, ``facts.<column of
    procedure_facts>`` and ``facts.stratum``.
    """
    return (
        f"SELECT {columns} FROM (\n{measure.sql.strip()}\n) AS unit\n"
        f"JOIN (SELECT *, {question.stratum} AS stratum FROM procedure_facts WHERE {question.condition}) AS facts\n"
        "ON facts.procedure_id = unit.procedure_id"
    )


def together(parts: Iterable[str]) -> str:
    """One statement of several SELECTs; in it procedure_id is a number."""
    return f"WITH {_NUMBERED}\n" + "\nUNION ALL\n".join(parts)


# Most patients have one procedure: counting them needs no set of the patients already seen.
_PATIENTS = (
    "count(*) FILTER (WHERE unit.excluded_because IS NULL AND facts.patient_procedures = 1) AS single_patients, "
    "count(DISTINCT CASE WHEN unit.excluded_because IS NULL AND facts.patient_procedures > 1 "
    "THEN facts.patient_no END) AS other_patients"
)


def count(registry: Reader, measures: Sequence[Measure], question: Question) -> dict[tuple[str, str], Counts]:
    """Counts of proportions and quantities, by (measure, stratum).

    A stratum in which a measure leaves everything out is there with denominator 0. One
    without procedures is not, except for the single stratum of a question that does not
    split.
    """
    if not measures:
        return {}
    rows = ask(
        registry, question, together(_tally(place, one, question) for place, one in enumerate(measures))
    )
    found: dict[tuple[str, str], Counts] = {}
    if question.by is None:
        found = {(one.id, question.stratum.strip("'")): Counts() for one in measures}
    for row in rows.iter_rows(named=True):
        counts = found.setdefault((measures[row["place"]].id, row["stratum"]), Counts())
        _add(counts, row)
    order = {one.id: {reason: place for place, reason in enumerate(one.reasons)} for one in measures}
    for (measure_id, _), counts in found.items():
        counts.excluded = dict(sorted(counts.excluded.items(), key=lambda pair: order[measure_id][pair[0]]))
    return found


def _tally(place: int, measure: Measure, question: Question) -> str:
    unknown = "unit.unknown" if measure.bounds else "CAST(NULL AS VARCHAR)"
    quantity = measure.kind == "quantity"
    events = "0" if quantity else "count(*) FILTER (WHERE unit.in_numerator)"
    missing = "count(*) FILTER (WHERE unit.counts_as_missing)" if quantity else "0"
    return (
        units(
            measure,
            question,
            f"{place} AS place, facts.stratum, unit.excluded_because, {unknown} AS unknown, "
            f"count(*) AS units, {events} AS events, {missing} AS missing, {_PATIENTS}",
        )
        + f"\nGROUP BY facts.stratum, unit.excluded_because, {unknown}"
    )


def _add(counts: Counts, row: dict[str, Any]) -> None:
    reason = row["excluded_because"]
    if reason is None:
        counts.denominator += row["units"]
        counts.numerator += row["events"]
        counts.patients += row["single_patients"] + row["other_patients"]
        return
    counts.excluded[reason] = counts.excluded.get(reason, 0) + row["units"]
    if reason not in ("not sampled", "repeat procedure"):
        counts.missing += row["missing"]
    if row["unknown"] is not None:
        counts.unknown[row["unknown"]] = counts.unknown.get(row["unknown"], 0) + row["units"]


def per_patient(
    registry: Reader, measures: Sequence[Measure], question: Question
) -> dict[tuple[str, str], tuple[list[int], list[int], list[int]]]:
    """How many patients have y counted among n procedures: (y, n, patients), by (measure, stratum)."""
    parts = []
    for place, one in enumerate(measures):
        clusters = (
            units(
                one,
                question,
                "facts.stratum, facts.patient_no, count(*) AS n, count(*) FILTER (WHERE unit.in_numerator) AS y",
            )
            + "\nWHERE unit.excluded_because IS NULL GROUP BY facts.stratum, facts.patient_no"
        )
        parts.append(
            f"SELECT {place} AS place, stratum, y, n, count(*) AS patients FROM (\n{clusters}\n) AS cluster "
            "GROUP BY stratum, y, n"
        )
    found: dict[tuple[str, str], tuple[list[int], list[int], list[int]]] = {}
    if not parts:
        return found
    for row in (
        ask(registry, question, together(parts)).sort("place", "stratum", "n", "y").iter_rows(named=True)
    ):
        kept = found.setdefault((measures[row["place"]].id, row["stratum"]), ([], [], []))
        for column, name in zip(kept, ("y", "n", "patients"), strict=True):
            column.append(row[name])
    return found


def measured(registry: Reader, measures: Sequence[Measure], question: Question) -> pl.DataFrame:
    """Values of the kept procedures: place of the measure in the list, stratum, measured."""
    parts = [
        units(one, question, f"CAST({place} AS INTEGER) AS place, facts.stratum, unit.measured")
        + "\nWHERE unit.excluded_because IS NULL"
        for place, one in enumerate(measures)
    ]
    return ask(registry, question, together(parts))
