"""The procedures behind a number, and how many each exclusion leaves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from registry import facts, store
from registry.measures import counting
from registry.measures.definition import chosen
from registry.measures.strata import Question
from registry.measures.whose import permitted
from registry.people import Action

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from registry.measures.counting import Reader

_CONTEXT = ("site", "operator", "guidance", "assessment", "finding_type", "status", "diagnosis")


def procedures(
    registry: Reader,
    measure_id: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    by: str | None = None,
    within: Mapping[str, str] | None = None,
    stratum: str | None = None,
) -> pl.DataFrame:
    """The procedures behind a measure, those left out included.

    Parameters
    ----------
    measure_id
        One measure, of any kind.
    stratum
        Only this value of ``by``.
    registry, as_of, start, end, by, within
        As :func:`registry.measures.evaluate`.

    Returns
    -------
    DataFrame
        procedure_id, index_date, excluded_because (null = kept), what the measure says
        of a kept procedure (in_numerator, measured, ...; null where it is left out),
        stratum, and columns of context. In the order of day and key.

    Raises
    ------
    UsageProblem
        As :func:`registry.measures.evaluate`.
    """
    within = permitted(registry, by, within, Action.PROCEDURES)
    rows = behind(registry, measure_id, Question(as_of, start, end, by, dict(within or {})))
    return rows if stratum is None else rows.filter(pl.col("stratum") == stratum)


def behind(registry: Reader, measure_id: str, question: Question) -> pl.DataFrame:
    """Rows of :func:`procedures` for services that only count them; they ask who may."""
    rows = judged(registry, measure_id, question).drop("counts_as_missing", "unknown", strict=False)
    said = rows.columns[rows.columns.index("excluded_because") + 1 : rows.columns.index("stratum")]
    left_out = pl.col("excluded_because").is_not_null()
    return rows.with_columns(
        pl.when(left_out).then(None).otherwise(pl.col(name)).alias(name) for name in said
    )


def judged(registry: Reader, measure_id: str, question: Question) -> pl.DataFrame:
    """As :func:`behind`, with everything the measure says of those left out as well.

    The same procedures in the same order whatever the measure is.
    """
    (measure,) = chosen([measure_id])
    context = ", ".join(f"facts.{name}" for name in _CONTEXT)
    sql = (
        f"SELECT unit.*, {question.stratum} AS stratum, {context} FROM (\n{measure.body}\n) AS unit "
        f"JOIN procedure_facts AS facts ON facts.procedure_id = unit.procedure_id WHERE {question.condition} "
        "ORDER BY unit.index_date, unit.procedure_id"
    )
    with facts.at(registry, question.as_of) as cursor:
        return store.frame(cursor, sql, question.parameters)


def exclusion_flow(
    registry: Reader,
    measure_id: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    within: Mapping[str, str] | None = None,
) -> list[tuple[str, int, int]]:
    """How many procedures each exclusion of a measure leaves out, in order.

    Parameters
    ----------
    registry, as_of, start, end, within
        As :func:`registry.measures.evaluate`.

    Returns
    -------
    list
        (reason, left out, remaining); the first entry is ("procedures", 0, all of them),
        the last one's remaining is the denominator.
    """
    within = permitted(registry, None, within)
    (measure,) = chosen([measure_id])
    question = Question(as_of, start, end, None, dict(within or {}))
    with counting.classified(registry, question) as units:
        select = units.select(
            measure, "unit.excluded_because, count(*) AS units", tail="GROUP BY unit.excluded_because"
        )
        counts = dict(units.rows([select]))
    remaining = sum(counts.values())
    flow = [("procedures", 0, remaining)]
    for reason in measure.reasons:
        remaining -= counts.get(reason, 0)
        flow.append((reason, counts.get(reason, 0), remaining))
    return flow
