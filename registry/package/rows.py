"""The rows of a package: a cohort as its file defines it, or all procedures of a period."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import audit, facts, provenance, store
from registry.codebook import Column, load_cohort
from registry.cohorts import Drawn, FlowStep, draw
from registry.cohorts.numbering import number_people, source_of_chance
from registry.disclosure import study_keys
from registry.disclosure.profiles import INTERNAL
from registry.disclosure.treatment import Disclosed, disclose, refuse_undeclared

if TYPE_CHECKING:
    from collections.abc import Mapping

    import duckdb

    from registry.known import KnownRegistry
    from registry.package.asked import Asked
    from registry.store import Registry

#: The table of a package, and the column that names one of its rows.
TABLE, KEY = "procedures", ("procedure_id",)


@dataclass(frozen=True)
class Taken:
    """Rows as recorded, and what belongs to them.

    ``head`` is the newest entry of the trail then, ``drawn`` the cohort where a file chose them.
    """

    frame: pl.DataFrame
    columns: tuple[Column, ...]
    flow: tuple[FlowStep, ...]
    stamp: Mapping[str, Any]
    comments: Mapping[str, str]
    head: audit.Head
    drawn: Drawn | None = None


def take(record: Registry | KnownRegistry, asked: Asked) -> Taken:
    """Rows, flow and stamp, all from one state of the record."""
    if asked.cohort is None:
        return _take_period(record, asked)
    drawn = draw(record, asked.cohort, seed=asked.seed)  # type: ignore[arg-type]
    refuse_undeclared(drawn.frame, drawn.columns, "The cohort")
    with record.cursor() as cursor:
        head = audit.head(cursor)
    return Taken(drawn.frame, drawn.columns, drawn.flow, drawn.stamp, drawn.comments, head, drawn)


def treated(
    registry: Registry, record: Registry | KnownRegistry, taken: Taken, asked: Asked, *, draws: bool = True
) -> tuple[Disclosed, int]:
    """The rows under the profile asked for, and the patients whose study keys are no longer kept."""
    chance = source_of_chance(asked.seed)
    if asked.project is None:
        keyed = study_keys.for_one_export(
            taken.frame, chance, records_too=asked.profile.name != INTERNAL.name
        )
    else:
        keyed = study_keys.for_project(registry, record, taken.frame, asked.project, chance, draws=draws)
    made = disclose(keyed.frame, taken.columns, asked.profile, keyed.columns)
    # Sorted by the numbers that leave: the order of the record would say who came first.
    order = [name for name in ("patient_no", *KEY) if name in made.frame.columns]
    return Disclosed(made.frame.sort(order), made.columns, made.decisions), keyed.gone


def _take_period(record: Registry | KnownRegistry, asked: Asked) -> Taken:
    cohort = load_cohort()
    with facts.at(record, asked.as_of) as cursor:
        number_people(cursor, source_of_chance(asked.seed))
        frame = store.frame(cursor, cohort.sql, asked.period)
        flow = _flow(cursor, asked.period)
        head = audit.head(cursor)
        comments = cursor.execute(
            "SELECT column_name, comment FROM duckdb_columns() WHERE table_name = 'procedure_facts' AND comment IS NOT NULL"
        ).fetchall()
    refuse_undeclared(frame, cohort.columns, "sql/cohorts/procedures.sql")
    stamp = provenance.stamp(record, as_of=asked.as_of)
    return Taken(frame, cohort.columns, flow, stamp, dict(comments), head)


def _flow(cursor: duckdb.DuckDBPyConnection, period: dict[str, Any]) -> tuple[FlowStep, ...]:
    """How many procedures each step leaves out, in order."""
    total, inside, kept = cursor.execute(
        "WITH unit AS (SELECT coalesce(f.started_on >= CAST($start AS DATE), true) AND coalesce(f.started_on <= CAST($end AS DATE), true) AS inside, "
        "p.research_use IS NOT DISTINCT FROM 'objected' AS objected "
        "FROM procedure_facts AS f LEFT JOIN patients AS p ON p.patient = f.patient) "
        "SELECT count(*), count(*) FILTER (WHERE inside), count(*) FILTER (WHERE inside AND NOT objected) FROM unit",
        period,
    ).fetchall()[0]
    return (
        FlowStep("all", "procedures started up to the as-of day", 0, total, "start"),
        FlowStep("period", "started outside the period", total - inside, inside, "step"),
        FlowStep("objection", "patient objects to research use", inside - kept, kept, "step"),
    )
