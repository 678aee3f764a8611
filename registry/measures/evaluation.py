"""Counts become results: the interval, the bounds, the quantiles."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from registry.errors import UsageProblem
from registry.measures import counting
from registry.measures.b_category import table_results
from registry.measures.curve import curve_results
from registry.measures.definition import (
    PROPORTION,
    QUANTITY,
    SAMPLING,
    TABLE,
    TIME_TO_EVENT,
    Measure,
    chosen,
)
from registry.measures.results import Bounds, ProportionResult, QuantityResult
from registry.measures.strata import Question, in_order
from registry.measures.whose import permitted
from registry.stats.clustering import ClusteredInterval, clustered_wilson_interval
from registry.stats.estimators import CLUSTERED, CLUSTERED_METHOD, ESTIMATORS
from registry.stats.proportions import bounds_with_missing, upper_bound_no_events
from registry.stats.quantiles import spread

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.measures.counting import Classified, Clusters, Counts, Reader, Tallies, Values
    from registry.measures.results import CategoryTable, Curve
    from registry.sampling import SamplingResult

    Result: TypeAlias = ProportionResult | QuantityResult | CategoryTable | Curve | SamplingResult


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
    among: Sequence[str] | None = None,
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
    among
        Keys of the only procedures that are asked about, such as those of a cohort; not
        for the probability of sampling, which is asked of a whole service.

    Returns
    -------
    list
        :class:`ProportionResult`, :class:`QuantityResult`, :class:`CategoryTable`,
        :class:`Curve` or :class:`registry.sampling.SamplingResult`, by the kind of the measure. Without a split there is always one
        result, with stratum "all"; with one, none for a stratum without procedures.

    Raises
    ------
    UsageProblem
        No such measure, stratum or interval, a period that ends before it begins, or the
        probability of sampling among some procedures.
    """
    within = permitted(registry, by, within)
    asked = chosen(ids)
    question = Question(as_of, start, end, by, dict(within or {}), among)
    check(interval, confidence)
    stamp = registry.stamp()
    found: list[Result] = []
    with counting.classified(registry, question) as units:
        rates = [one for one in asked if one.kind == PROPORTION]
        lengths = [one for one in asked if one.kind == QUANTITY]
        counts, values = counting.count_and_measure(units, [*rates, *lengths])
        found += _proportions(units, rates, counts, interval, confidence, stamp)
        found += _quantities(units, lengths, counts, values, confidence, stamp)
        for one in asked:
            if one.kind == TABLE:
                found += table_results(units, one, interval, confidence, stamp)
            elif one.kind == TIME_TO_EVENT:
                found += curve_results(units, one, confidence, stamp)
    if any(one.kind == SAMPLING for one in asked):
        if among is not None:
            raise UsageProblem(
                f"{next(one.id for one in asked if one.kind == SAMPLING)}: is asked of a whole service, not of some of its procedures."
            )
        # It asks the measures for its rows, and can only be met from inside.
        from registry.sampling import sampling_results

        found += sampling_results(registry, as_of=as_of, start=start, end=end, by=by, within=within)
    place = {one: number for number, one in enumerate(ids)}
    return sorted(found, key=lambda result: (place[result.measure], in_order(result.stratum)))


def check(interval: str, confidence: float) -> None:
    """Refuse an interval or a confidence that does not exist.

    Raises
    ------
    UsageProblem
        With what to write instead.
    """
    known = (*ESTIMATORS, CLUSTERED)
    if interval not in known:
        raise UsageProblem(f"{interval}: there is no such interval. Known: {', '.join(known)}.")
    if not 0 < confidence < 1:
        raise UsageProblem(f"Confidence {confidence:g} does not lie between 0 and 1. Write 95 % as 0.95.")


def _proportions(
    units: Classified,
    measures: Sequence[Measure],
    counts: Tallies,
    interval: str,
    confidence: float,
    stamp: str,
) -> list[ProportionResult]:
    clusters = counting.per_patient(units, measures) if interval == CLUSTERED else {}
    bounds = {one.id: one.bounds for one in measures}
    return proportions_of(
        {key: one for key, one in counts.items() if key[0] in bounds},
        bounds,
        clusters,
        interval=interval,
        confidence=confidence,
        stamp=stamp,
        dates=units.question.dates,
    )


def proportions_of(
    counts: Mapping[tuple[str, str], Counts],
    bounds: Mapping[str, str],
    clusters: Mapping[tuple[str, str], Clusters],
    *,
    interval: str,
    confidence: float,
    stamp: str,
    dates: Mapping[str, date | None],
) -> list[ProportionResult]:
    """Counts with their interval and bounds, by (measure, stratum); in the order of ``counts``.

    Parameters
    ----------
    bounds
        Measure -> form of its bounds for unknown outcomes, empty where it has none.
    clusters
        What each patient has, for the clustered interval; else empty.
    """
    if not counts:
        return []
    x = np.array([one.numerator for one in counts.values()])
    n = np.array([one.denominator for one in counts.values()])
    held: dict[tuple[str, str], ClusteredInterval] = {}
    if interval == CLUSTERED:
        held = _clustered(clusters, confidence)
        lower, upper = np.full(len(n), np.nan), np.full(len(n), np.nan)
        method = CLUSTERED_METHOD
    else:
        lower, upper = ESTIMATORS[interval].interval(x, n, confidence)
        method = ESTIMATORS[interval].method
    made = []
    for place, ((measure, stratum), one) in enumerate(counts.items()):
        limits: tuple[float | None, float | None] = (_number(lower[place]), _number(upper[place]))
        cluster = held.get((measure, stratum))
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
                bounds=_bounds(bounds[measure], one, confidence),
                upper_bound_no_events=None
                if one.numerator
                else upper_bound_no_events(one.denominator, confidence),
                design_effect=cluster.deff if cluster else None,
                **dates,  # type: ignore[arg-type]
            )
        )
    return made


def _clustered(
    clusters: Mapping[tuple[str, str], Clusters], confidence: float
) -> dict[tuple[str, str], ClusteredInterval]:
    return {
        key: clustered_wilson_interval(np.repeat(y, patients), np.repeat(n, patients), confidence)
        for key, (y, n, patients) in clusters.items()
    }


def extremes(form: str, counts: Counts) -> tuple[tuple[int, int], tuple[int, int]] | None:
    """Counts (x, n) if none, and if all, of the unknown outcomes had counted; None without bounds."""
    x, n, u = counts.numerator, counts.denominator, counts.unknown.get("u", 0)
    if form == "missing":
        return (x, n + u), (x + u, n + u)
    if form == "cancers":
        return (x, n), (x + u, n + u)
    if form == "benign":
        # Unknown units without a benign result could only add to the denominator.
        return (x, n + counts.unknown.get("v", 0)), (x + u, n + u)
    return None


def _bounds(form: str, counts: Counts, confidence: float) -> Bounds | None:
    """The rate if none, and if all, of the unknown outcomes had counted; with chance allowed for where it can be."""
    found = extremes(form, counts)
    if found is None:
        return None
    best, worst = (_share(*one) for one in found)
    unknown = counts.unknown.get("u", 0)
    if form != "missing":
        return Bounds(best, worst, unknown)
    around = bounds_with_missing(counts.numerator, counts.denominator, unknown, confidence)
    return Bounds(best, worst, unknown, *around.ci)


def _share(x: int, n: int) -> float | None:
    return x / n if n else None


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _quantities(
    units: Classified,
    measures: Sequence[Measure],
    counts: Tallies,
    values: Values,
    confidence: float,
    stamp: str,
) -> list[QuantityResult]:
    known = {one.id: one.value_unit for one in measures}
    made = []
    for (measure, stratum), one in counts.items():
        if measure not in known:
            continue
        lies = spread(values.get((measure, stratum), np.empty(0)), confidence)
        made.append(
            QuantityResult(
                measure=measure,
                stratum=stratum,
                n=one.denominator,
                missing=one.missing,
                median=lies.median,
                q1=lies.q1,
                q3=lies.q3,
                p5=lies.p5,
                p95=lies.p95,
                lower=lies.lower,
                upper=lies.upper,
                unit=known[measure],
                confidence=confidence,
                excluded=one.excluded,
                patients=one.patients,
                registry=stamp,
                **units.question.dates,  # type: ignore[arg-type]
            )
        )
    return made
