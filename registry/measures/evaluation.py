"""Counts become results: the interval, the bounds, the quantiles."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from registry.errors import UsageProblem
from registry.measures import counting
from registry.measures.b_category import table_results
from registry.measures.curve import curve_results
from registry.measures.definition import PROPORTION, QUANTITY, TABLE, TIME_TO_EVENT, Measure, chosen
from registry.measures.results import Bounds, ClusteringEffect, ProportionResult, QuantityResult
from registry.measures.strata import ALL, Question, in_order
from registry.stats.clustering import ClusteredInterval, clustered_wilson_interval
from registry.stats.estimators import CLUSTERED, CLUSTERED_METHOD, ESTIMATORS
from registry.stats.proportions import upper_bound_no_events, wilson_interval
from registry.stats.vectors import order_statistic_ranks

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.measures.counting import Classified, Counts, Reader
    from registry.measures.results import CategoryTable, Curve

    Result = ProportionResult | QuantityResult | CategoryTable | Curve

_QUANTILES = (0.5, 0.25, 0.75, 0.05, 0.95)


def evaluate(
    registry: Reader,
    ids: Sequence[str],
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    by: str | None = None,
    interval: str = "wilson",
    confidence: float = 0.95,
    within: Mapping[str, str] | None = None,
) -> list[Result]:
    """Count measures, and give each its interval.

    Parameters
    ----------
    registry
        An open registry, or one as it was known at a moment.
    ids
        Measures; the results stand in this order, the strata of each in theirs.
    as_of
        Nothing dated after this day counts.
    start, end
        First and last day on which a procedure started, both included.
    by
        One of ``STRATA``: a result per value, what is missing as "not recorded".
    interval
        Method for proportions: wilson, exact, jeffreys, midp or clustered (by patient).
    confidence
        Two-sided, between 0 and 1 exclusive; the bound where nothing counted is one-sided.
    within
        Stratum -> the one value that is kept.

    Returns
    -------
    list
        :class:`ProportionResult`, :class:`QuantityResult`, :class:`CategoryTable` or
        :class:`Curve`, by the kind of the measure. Without a split there is always one
        result, with stratum "all"; with one, none for a stratum without procedures.

    Raises
    ------
    UsageProblem
        No such measure, stratum or interval, or a period that ends before it begins.
    """
    asked = chosen(ids)
    question = Question(as_of, start, end, by, dict(within or {}))
    _check(interval, confidence)
    plain = "wilson" if interval == CLUSTERED else interval
    stamp = registry.stamp()
    found: list[Result] = []
    with counting.classified(registry, question) as units:
        found += _proportions(
            units, [one for one in asked if one.kind == PROPORTION], interval, confidence, stamp
        )
        found += _quantities(units, [one for one in asked if one.kind == QUANTITY], confidence, stamp)
        for one in asked:
            if one.kind == TABLE:
                found += table_results(units, one, plain, confidence, stamp)
            elif one.kind == TIME_TO_EVENT:
                found += curve_results(units, one, confidence, stamp)
    place = {one: number for number, one in enumerate(ids)}
    return sorted(found, key=lambda result: (place[result.measure], in_order(result.stratum)))


def _check(interval: str, confidence: float) -> None:
    known = (*ESTIMATORS, CLUSTERED)
    if interval not in known:
        raise UsageProblem(f"{interval}: there is no such interval. Known: {', '.join(known)}.")
    if not 0 < confidence < 1:
        raise UsageProblem(f"Confidence {confidence:g} does not lie between 0 and 1. Write 95 % as 0.95.")


def _proportions(
    units: Classified,
    measures: Sequence[Measure],
    interval: str,
    confidence: float,
    stamp: str,
) -> list[ProportionResult]:
    counts = counting.count(units, measures)
    if not counts:
        return []
    x = np.array([one.numerator for one in counts.values()])
    n = np.array([one.denominator for one in counts.values()])
    clusters: dict[tuple[str, str], ClusteredInterval] = {}
    if interval == CLUSTERED:
        clusters = _clustered(units, measures, confidence)
        lower, upper = np.full(len(n), np.nan), np.full(len(n), np.nan)
        method = CLUSTERED_METHOD
    else:
        lower, upper = ESTIMATORS[interval].interval(x, n, confidence)
        method = ESTIMATORS[interval].method
    bounds = {one.id: one.bounds for one in measures}
    made = []
    for place, ((measure, stratum), one) in enumerate(counts.items()):
        limits: tuple[float | None, float | None] = (_number(lower[place]), _number(upper[place]))
        cluster = clusters.get((measure, stratum))
        made.append(
            ProportionResult(
                measure=measure,
                stratum=stratum,
                numerator=one.numerator,
                denominator=one.denominator,
                excluded=one.excluded,
                proportion=_share(one.numerator, one.denominator),
                lower=cluster.lower if cluster else limits[0],
                upper=cluster.upper if cluster else limits[1],
                confidence=confidence,
                interval=interval,
                method=method,
                patients=one.patients,
                registry=stamp,
                bounds=_bounds(bounds[measure], one),
                upper_bound_no_events=None
                if one.numerator
                else upper_bound_no_events(one.denominator, confidence),
                design_effect=cluster.deff if cluster else None,
                **units.question.dates,  # type: ignore[arg-type]
            )
        )
    return made


def _clustered(
    units: Classified, measures: Sequence[Measure], confidence: float
) -> dict[tuple[str, str], ClusteredInterval]:
    return {
        key: clustered_wilson_interval(np.repeat(y, patients), np.repeat(n, patients), confidence)
        for key, (y, n, patients) in counting.per_patient(units, measures).items()
    }


def _bounds(form: str, counts: Counts) -> Bounds | None:
    """The rate if none, and if all, of the unknown outcomes had counted."""
    x, n, u = counts.numerator, counts.denominator, counts.unknown.get("u", 0)
    if form == "missing":
        return Bounds(_share(x, n + u), _share(x + u, n + u), u)
    if form == "cancers":
        return Bounds(_share(x, n), _share(x + u, n + u), u)
    if form == "benign":
        # Unknown units without a benign result could only add to the denominator.
        return Bounds(_share(x, n + counts.unknown.get("v", 0)), _share(x + u, n + u), u)
    return None


def _share(x: int, n: int) -> float | None:
    return x / n if n else None


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _quantities(
    units: Classified, measures: Sequence[Measure], confidence: float, stamp: str
) -> list[QuantityResult]:
    counts = counting.count(units, measures)
    if not counts:
        return []
    known = {one.id: (place, one.value_unit) for place, one in enumerate(measures)}
    values = counting.measured(units, measures)
    made = []
    for (measure, stratum), one in counts.items():
        place, unit = known[measure]
        ordered = np.sort(values.get((place, stratum), np.empty(0)))
        median, q1, q3, p5, p95 = _quantiles(ordered)
        lower, upper = (
            None if rank is None else float(ordered[rank - 1])
            for rank in order_statistic_ranks(ordered.size, 0.5, confidence)
        )
        made.append(
            QuantityResult(
                measure=measure,
                stratum=stratum,
                n=one.denominator,
                missing=one.missing,
                median=median,
                q1=q1,
                q3=q3,
                p5=p5,
                p95=p95,
                lower=lower,
                upper=upper,
                unit=unit,
                confidence=confidence,
                excluded=one.excluded,
                patients=one.patients,
                registry=stamp,
                **units.question.dates,  # type: ignore[arg-type]
            )
        )
    return made


def _quantiles(ordered: np.ndarray) -> list[float | None]:
    if not ordered.size:
        return [None] * len(_QUANTILES)
    return [float(one) for one in np.quantile(ordered, _QUANTILES)]


def clustering(
    registry: Reader,
    measure_id: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    confidence: float = 0.95,
    within: Mapping[str, str] | None = None,
) -> ClusteringEffect:
    """How much wider the interval of a proportion is when a patient's procedures are held together.

    Parameters
    ----------
    measure_id
        A measure of the kind proportion.
    registry, as_of, start, end, confidence, within
        As :func:`evaluate`.

    Raises
    ------
    UsageProblem
        As :func:`evaluate`; the measure is not a proportion.
    """
    (measure,) = chosen([measure_id])
    if measure.kind != PROPORTION:
        raise UsageProblem(f"{measure_id}: is no proportion, and has no interval to widen.")
    question = Question(as_of, start, end, None, dict(within or {}))
    _check("wilson", confidence)
    with counting.classified(registry, question) as units:
        y, n, patients = counting.per_patient(units, [measure]).get((measure_id, ALL), ([], [], []))
    events, trials = np.repeat(y, patients).astype(int), np.repeat(n, patients).astype(int)
    if not trials.size:
        return ClusteringEffect(None, None, False, 0, 0)
    cluster = clustered_wilson_interval(events, trials, confidence)
    low, high = wilson_interval(int(events.sum()), int(trials.sum()), confidence)
    ratio = None
    if cluster.lower is not None and cluster.upper is not None and high > low:
        ratio = (cluster.upper - cluster.lower) / (high - low)
    return ClusteringEffect(
        ratio, cluster.deff, cluster.deff_from == "ratio estimator", int(trials.size), int(trials.sum())
    )
