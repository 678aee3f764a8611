"""Error of the needle and motion of the target per procedure, as vectors in the frame's axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry import facts, store
from registry.measures import load_measures
from registry.measures.strata import Question
from registry.measures.whose import permitted
from registry.sqlfiles import queries

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    import polars as pl

    from registry.measures.counting import Reader

ERROR_MEASURE, MOTION_MEASURE = "targeting_error_mm", "target_motion_mm"
#: What the vectors can be split by, one column each.
STRATA = ("approach", "device", "guidance", "site", "operator", "year", "quarter")


def vectors(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    within: Mapping[str, str] | None = None,
) -> pl.DataFrame:
    """One row per procedure with its vectors, those left out included.

    Parameters
    ----------
    registry
        An open registry, or one as it was known at a moment.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.
    within
        Stratum -> the one value that is kept.

    Returns
    -------
    DataFrame
        procedure_id, index_date, excluded_because (null = its error counts),
        motion_excluded_because; error_mm, motion_mm and first_error_mm (lengths, mm; the first
        attempt's where that was usable); error_x_mm to motion_z_mm (mm, in the frame's axes);
        attempts, laterality, frame, needle_axis, needle_direction, compression_axis, aperture_mm,
        aperture_judgement; and the columns of ``STRATA``. In the order of day and key.

    Raises
    ------
    UsageProblem
        No such stratum, or a period that ends before it begins.
    """
    within = permitted(registry, None, within)
    question = Question(as_of, start, end, None, dict(within or {}))
    known = load_measures()
    split = ", ".join(f"{Question(as_of, by=name).stratum} AS {name}" for name in STRATA)
    sql = (
        f"WITH needle_error AS (\n{known[ERROR_MEASURE].body}\n),\n"
        f"target_motion AS (\n{known[MOTION_MEASURE].body}\n),\n{facts.attempts()},\nvector AS (\n{queries('aim')['vectors'].sql.strip()}\n)\n"
        f"SELECT vector.*, {split} FROM vector "
        "JOIN procedure_facts AS facts ON facts.procedure_id = vector.procedure_id "
        f"WHERE {question.condition} ORDER BY vector.index_date, vector.procedure_id"
    )
    with facts.at(registry, as_of) as cursor:
        return store.frame(cursor, sql, question.parameters)
