"""A cohort drawn from a registry: the rows analysed, and how they were reached.

The rows are those of ``sql/cohorts/procedures.sql``, the one definition of what an export may
hold. A filter is a further answer beside each row, compiled to parameters; nothing of a cohort
file becomes part of a statement but names from the list of :mod:`registry.cohorts.fields`.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import audit, facts, provenance, sqlfiles, store
from registry.codebook import load_cohort
from registry.cohorts import flow
from registry.cohorts.definition import CohortFile
from registry.cohorts.filters import Compiler
from registry.cohorts.numbering import number_people, source_of_chance
from registry.errors import UsageProblem
from registry.numerals import grouped
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Mapping

    import duckdb

    from registry.codebook import Cohort, Column
    from registry.cohorts.flow import FlowStep
    from registry.store import Registry

_HEADER = frozenset({"flow", "grain", "title", "note"})
#: In the order of the export's own statement.
_ORDER = ("patient_no", "started_on", "procedure_id")


@dataclass(frozen=True)
class Drawn:
    """A cohort as drawn.

    Attributes
    ----------
    frame
        One row per unit analysed, with exactly the declared ``columns``. For the unit
        finding it is the first sampled procedure of the finding among those eligible, for
        patient the first of the patient.
    flow
        From all procedures to those analysed.
    stamp
        Which program, record, definitions and file gave this; JSON-able.
    comments
        Column of procedure_facts -> its comment in the schema.
    reaching
        Keys of the procedures that came as far as the reference standard, met or not.
    """

    cohort_file: CohortFile
    frame: pl.DataFrame
    columns: tuple[Column, ...]
    flow: tuple[FlowStep, ...]
    stamp: Mapping[str, Any]
    comments: Mapping[str, str]
    reaching: tuple[str, ...] = ()

    @property
    def patients(self) -> int:
        """Patients among the rows analysed."""
        return self.frame["patient_no"].n_unique()

    def need(self, minimum: int) -> None:
        """Refuse to describe fewer patients than the service shows figures of.

        Raises
        ------
        UsageProblem
            How many there are, how many are needed, and where they were left.
        """
        if self.patients >= minimum and self.frame.height:
            return
        largest = max((one for one in self.flow if one.kind == flow.STEP), key=lambda one: one.left_out)
        lost = (
            f" Most were left out here: {largest.label} ({grouped(largest.left_out)})."
            if largest.left_out
            else ""
        )
        if not self.frame.height:
            raise UsageProblem(
                f"Cohort {self.cohort_file.name}: no {self.cohort_file.unit} is left to analyse.{lost} Look at its flow and widen a step."
            )
        raise UsageProblem(
            f"Cohort {self.cohort_file.name}: {self.patients} patients are left, and figures are shown of {minimum} or more "
            f"(minimum_n of site.toml).{lost} Look at its flow and widen a step."
        )


def draw(registry: Registry, cohort_file: CohortFile, *, seed: int | None = None) -> Drawn:
    """Draw a cohort from one state of the record.

    Parameters
    ----------
    registry
        Open for reading or writing.
    seed
        Draws the numbers of patients and operators again. Left out, they are unpredictable.

    Raises
    ------
    UsageProblem
        A code in the file is not one of this service.
    Refused
        The person who acts may not define cohorts.
    """
    require(Action.COHORTS, registry)
    _check_codes(registry, cohort_file)
    cohort = load_cohort()
    with facts.at(registry, cohort_file.as_of) as cursor:
        number_people(cursor, source_of_chance(seed))
        sql, parameters = statement(cohort, cohort_file)
        rows = store.frame(cursor, sql, parameters)
        everything, objecting = _counted(cursor)
        comments = dict(
            cursor.execute(
                "SELECT column_name, comment FROM duckdb_columns() WHERE table_name = 'procedure_facts' AND comment IS NOT NULL"
            ).fetchall()
        )
        head = audit.head(cursor)
    kept, walked, reaching = flow.walk(rows, cohort_file, everything=everything, objecting=objecting)
    frame = kept.sort(_ORDER).select(column.name for column in cohort.columns)
    stamp = {
        **provenance.stamp(registry, as_of=cohort_file.as_of),
        "cohort_file_sha256": cohort_file.sha256,
        "cohort_sql_sha256": _sha256(cohort.sql),
        "flow_sql_sha256": _sha256(_standing()),
        "trail": {"seq": head.seq, "mac": head.mac},
    }
    return Drawn(cohort_file, frame, cohort.columns, walked, stamp, comments, reaching)


def statement(cohort: Cohort, cohort_file: CohortFile) -> tuple[str, dict[str, Any]]:
    """The one statement that gives every row with the answers of every step, and its parameters."""
    compiler = Compiler("drawn")
    answers = {
        flow.IN_PERIOD: "coalesce({day} >= CAST($first_day AS DATE), TRUE) AND coalesce({day} <= CAST($last_day AS DATE), TRUE) AND {day} IS NOT NULL".format(
            day=f"drawn.{cohort_file.index_date}"
        ),
        flow.IN_POPULATION: compiler.condition(cohort_file.population) if cohort_file.population else "TRUE",
        **{
            flow.step_column(place): compiler.condition(one.filter)
            for place, one in enumerate(cohort_file.steps)
        },
        flow.STANDING: "standing.standing",
        flow.STARTED: "standing.started_us",
    }
    said = ",\n    ".join(f"{sql} AS {name}" for name, sql in answers.items())
    sql = (
        f"SELECT\n    drawn.*,\n    {said}\nFROM (\n{cohort.sql}\n) AS drawn\n"
        f"JOIN (\n{_standing()}\n) AS standing ON standing.procedure_id = drawn.procedure_id"
    )
    return sql, {
        "start": None,
        "end": None,
        "first_day": cohort_file.start,
        "last_day": cohort_file.end,
        "as_of": cohort_file.as_of,
        "standard": cohort_file.reference_standard,
        "days": cohort_file.minimum_follow_up_days,
        **compiler.parameters,
    }


def _check_codes(registry: Registry, cohort_file: CohortFile) -> None:
    """Codes in the file are those of this service: a file may come from another."""
    CohortFile.parse(cohort_file.canonical(), f"Cohort {cohort_file.name}", registry.site.added_codes)


def _counted(cursor: duckdb.DuckDBPyConnection) -> tuple[int, int]:
    """Procedures up to the as-of day, and those of patients who object."""
    everything, objecting = cursor.execute(
        "SELECT count(*), count(*) FILTER (WHERE p.research_use IS NOT DISTINCT FROM 'objected') "
        "FROM procedure_facts AS f LEFT JOIN patients AS p ON p.patient = f.patient"
    ).fetchall()[0]
    return int(everything), int(objecting)


def _standing() -> str:
    (file,) = sqlfiles.load_folder("cohort_flow", _HEADER)
    return file.sql


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
