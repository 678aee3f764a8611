"""Cancer after a benign result over time, with death as the competing event."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.measures import counting
from registry.measures.definition import chosen
from registry.measures.results import Curve, CurveEstimate
from registry.measures.strata import Question
from registry.measures.whose import permitted
from registry.stats.time_to_event import cumulative_incidence

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.measures.counting import Classified, Counts, Reader
    from registry.measures.definition import Measure

READ_AT = (365, 730, 1095)
ESTIMATES = ("lost", "free")


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
    within = permitted(registry, None, within)
    (measure,) = chosen(["cancer_after_benign"])
    question = Question(as_of, start, end, None, dict(within or {}))
    with counting.classified(registry, question) as units:
        return curve_results(units, measure, confidence, registry.stamp())[0]


def curve_results(units: Classified, measure: Measure, confidence: float, stamp: str) -> list[Curve]:
    """One curve per stratum."""
    return [
        curve_of(measure, stratum, rows, counts, confidence, stamp, units.question.dates)
        for stratum, rows, counts in curve_counts(units, measure)
    ]


Row = tuple[int, int, int]
"""Days, status (0 left, 1 cancer, 2 death), number of procedures."""


def curve_counts(units: Classified, measure: Measure) -> list[tuple[str, dict[str, list[Row]], Counts]]:
    """What a curve is made of, per stratum: rows of each estimate, and what is left out."""
    counts = counting.count(units, [measure])
    said = [f"unit.{name}_{what}" for name in ESTIMATES for what in ("days", "status")]
    select = units.select(
        measure, f"{units.stratum} AS stratum, {', '.join(said)}", tail=f"WHERE {counting.KEPT}"
    )
    # Both estimates from one answer: the engine would work out the days for each anew.
    rows = units.frame(select)
    found: dict[tuple[str, str], list[Row]] = {}
    for name in ESTIMATES:
        counted = rows.group_by("stratum", f"{name}_days", f"{name}_status").len()
        for stratum, days, status, number in counted.iter_rows():
            found.setdefault((stratum, name), []).append((days, status, number))
    return [
        (stratum, {name: sorted(found.get((stratum, name), [])) for name in ESTIMATES}, one)
        for (_, stratum), one in counts.items()
    ]


def curve_of(
    measure: Measure,
    stratum: str,
    rows: Mapping[str, Sequence[Row]],
    counts: Counts,
    confidence: float,
    stamp: str,
    dates: Mapping[str, date | None],
) -> Curve:
    """The curve from its counts."""
    return Curve(
        measure=measure.id,
        stratum=stratum,
        n=counts.denominator,
        estimates={name: _estimate(name, rows.get(name, ()), confidence) for name in ESTIMATES},
        excluded=counts.excluded,
        patients=counts.patients,
        confidence=confidence,
        interval=measure.interval,
        registry=stamp,
        **dates,  # type: ignore[arg-type]
    )


def _estimate(name: str, rows: Sequence[Row], confidence: float) -> CurveEstimate:
    """Read at the fixed days, at every day on which the curve steps, and at the last that anybody was followed to."""
    table = np.array(sorted(rows), dtype=np.int64).reshape(-1, 3)
    days, status = np.repeat(table[:, 0], table[:, 2]), np.repeat(table[:, 1], table[:, 2])
    steps = np.unique(np.concatenate([[0], days[status == 1], days[-1:]])).astype(int)
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


def drawn_steps(one: CurveEstimate) -> pl.DataFrame:
    """The steps up to the last fixed day, and the level held until then by those who are followed so long.

    Returns
    -------
    DataFrame
        Columns estimate, days, incidence, lower, upper (shares) and at_risk, in the order of days.
    """
    kept = sum(day <= one.at[-1] for day in one.step_days)
    held = [(one.at[-1], kept - 1, one.at_risk[-1])] if one.at_risk[-1] else []
    rows = [*((one.step_days[i], i, one.step_at_risk[i]) for i in range(kept)), *held]
    return pl.DataFrame(
        {
            "estimate": [one.name] * len(rows),
            "days": [day for day, _, _ in rows],
            "incidence": [one.steps[i] for _, i, _ in rows],
            "lower": [one.step_lower[i] for _, i, _ in rows],
            "upper": [one.step_upper[i] for _, i, _ in rows],
            "at_risk": [left for _, _, left in rows],
        },
        schema={
            "estimate": pl.String,
            "days": pl.Int64,
            "incidence": pl.Float64,
            "lower": pl.Float64,
            "upper": pl.Float64,
            "at_risk": pl.Int64,
        },
    )


def _numbers(values: np.ndarray) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(one) else float(one) for one in values)
