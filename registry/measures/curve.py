"""Cancer after a benign result over time, with death as the competing event."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.measures import counting
from registry.measures.definition import chosen
from registry.measures.results import Curve, CurveEstimate
from registry.measures.strata import ALL, Question
from registry.stats.time_to_event import cumulative_incidence

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from registry.measures.counting import Classified, Reader
    from registry.measures.definition import Measure

READ_AT = (365, 730, 1095)
_ESTIMATES = ("lost", "free")


def curve(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    confidence: float = 0.95,
    within: Mapping[str, str] | None = None,
) -> Curve:
    """Cumulative incidence of cancer after a benign result, by two estimates that are no bounds.

    ``lost`` leaves a procedure out after the last day on which its target is known to be
    clear and is usually too high; ``free`` follows everybody to the as-of date and is
    too low. Show both, with the numbers at risk.

    Parameters
    ----------
    registry, as_of, start, end, confidence, within
        As :func:`registry.measures.evaluate`.
    """
    (measure,) = chosen(["cancer_after_benign"])
    question = Question(as_of, start, end, None, dict(within or {}))
    with counting.classified(registry, question) as units:
        return curve_results(units, measure, confidence, registry.stamp())[0]


def curve_results(units: Classified, measure: Measure, confidence: float, stamp: str) -> list[Curve]:
    """One curve per stratum."""
    columns = (
        f"{counting.STRATUM} AS stratum, {counting.PATIENT} AS patient_no, unit.excluded_because, "
        "unit.lost_days, unit.lost_status, unit.free_days, unit.free_status"
    )
    rows = units.frame([units.select(measure, columns)])
    parts = rows.partition_by("stratum", as_dict=True) if units.question.by else {(ALL,): rows}
    return [
        _curve(measure, units.question, str(key[0]), part, confidence, stamp) for key, part in parts.items()
    ]


def _curve(
    measure: Measure, question: Question, stratum: str, rows: pl.DataFrame, confidence: float, stamp: str
) -> Curve:
    kept = rows.filter(pl.col("excluded_because").is_null())
    left_out = dict(rows.drop_nulls("excluded_because")["excluded_because"].value_counts().iter_rows())
    return Curve(
        measure=measure.id,
        stratum=stratum,
        n=kept.height,
        estimates={
            name: _estimate(
                name, kept[f"{name}_days"].to_numpy(), kept[f"{name}_status"].to_numpy(), confidence
            )
            for name in _ESTIMATES
        },
        excluded={reason: left_out[reason] for reason in measure.reasons if reason in left_out},
        patients=kept["patient_no"].n_unique(),
        confidence=confidence,
        interval=measure.interval,
        registry=stamp,
        **question.dates,  # type: ignore[arg-type]
    )


def _estimate(name: str, days: np.ndarray, status: np.ndarray, confidence: float) -> CurveEstimate:
    """Read at the fixed days, and at every day on which the curve steps."""
    steps = np.unique(np.concatenate([[0], days[status == 1]])).astype(int)
    read = cumulative_incidence(days, status, [*READ_AT, *steps], confidence)
    fixed, stepped = slice(0, len(READ_AT)), slice(len(READ_AT), None)
    return CurveEstimate(
        name=name,
        at=READ_AT,
        incidence=_numbers(read.incidence[fixed]),
        lower=_numbers(read.lower[fixed]),
        upper=_numbers(read.upper[fixed]),
        at_risk=tuple(int(one) for one in read.at_risk[fixed]),
        step_days=tuple(int(one) for one in steps),
        steps=tuple(0.0 if np.isnan(one) else float(one) for one in read.incidence[stepped]),
        step_lower=_numbers(read.lower[stepped]),
        step_upper=_numbers(read.upper[stepped]),
        step_at_risk=tuple(int(one) for one in read.at_risk[stepped]),
        events=read.events,
        deaths=read.competing,
    )


def _numbers(values: np.ndarray) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(one) else float(one) for one in values)
