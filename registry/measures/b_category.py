"""The B-category table: thirteen ratios from one cross table of category and outcome."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from registry.measures import counting
from registry.measures.b_category_patients import Groups, PatientCells, cells_of, groups_of_several
from registry.measures.clusters import interval_by_patient, widening
from registry.measures.counting import Counts
from registry.measures.definition import chosen
from registry.measures.results import CategoryRatio, CategoryTable
from registry.measures.strata import ALL, Question
from registry.people import Action, require
from registry.stats.estimators import CLUSTERED, ESTIMATORS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from registry.measures.counting import Classified, Reader
    from registry.measures.definition import Measure

_CATEGORIES = ("B1", "B2", "B3", "B4", "B5")
_OUTCOMES = ("m", "b", "n")


def b_category_table(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    interval: str = "wilson",
    confidence: float = 0.95,
    within: Mapping[str, str] | None = None,
) -> CategoryTable:
    """The cross table and its ratios for one group of procedures.

    Parameters
    ----------
    registry, as_of, start, end, confidence, within
        As :func:`registry.measures.evaluate`.
    interval
        wilson, exact, jeffreys, midp or clustered (by patient). A ratio of two groups has
        none by patient, and keeps the Wilson interval.

    Raises
    ------
    ValueError
        No such interval.
    """
    require(Action.FIGURES, registry)
    (measure,) = chosen(["b_category_accuracy"])
    question = Question(as_of, start, end, None, dict(within or {}))
    with counting.classified(registry, question) as units:
        return table_results(units, measure, interval, confidence, registry.stamp())[0]


def table_results(
    units: Classified, measure: Measure, interval: str, confidence: float, stamp: str
) -> list[CategoryTable]:
    """One table per stratum."""
    return [
        table_of(measure, stratum, rows, patients, counts, interval, confidence, stamp, units.question.dates)
        for stratum, rows, patients, counts in table_counts(units, measure)
    ]


Row = tuple[str, str, bool, int]
"""Category, outcome, whether resolved, number of procedures."""


def table_counts(units: Classified, measure: Measure) -> list[tuple[str, list[Row], Groups, Counts]]:
    """What a table is made of, per stratum: its cells, its groups of patients, and what is left out."""
    said = f"unit.excluded_because, unit.b_category, unit.outcome, unit.is_resolved, {counting.ALONE}"
    alike = units.rows(
        [
            units.select(
                measure,
                f"{units.stratum} AS stratum, {said} AS alone, count(*) AS units",
                tail=f"GROUP BY {units.stratum}, {said}",
            )
        ]
    )
    several = groups_of_several(units, measure)
    strata = [ALL] if units.question.by is None else sorted({row[0] for row in alike})
    made = []
    for stratum in strata:
        own = [tuple(row) for name, *row in alike if name == stratum]
        left_out: Counter[str] = Counter()
        cells: Counter[tuple[str, str, bool]] = Counter()
        alone: Counter[str] = Counter()
        for reason, category, outcome, is_resolved, is_alone, number in own:
            if reason is not None:
                left_out[reason] += number
                continue
            cells[category, outcome, is_resolved] += number
            if is_alone:
                alone[f"{category} {outcome}"] += number
        groups = [([cell], number) for cell, number in alone.items()] + several.get(stratum, [])
        counts = Counts(
            denominator=cells.total(),
            patients=sum(patients for _, patients in groups),
            excluded={reason: left_out[reason] for reason in measure.reasons if left_out[reason]},
        )
        # In one order, so that sums over them have the same last digit each time.
        made.append((stratum, [(*cell, number) for cell, number in cells.items()], sorted(groups), counts))
    return made


def table_of(
    measure: Measure,
    stratum: str,
    rows: Sequence[Row],
    groups: Groups | None,
    counts: Counts,
    interval: str,
    confidence: float,
    stamp: str,
    dates: Mapping[str, date | None],
) -> CategoryTable:
    """The table from its counts.

    Parameters
    ----------
    groups
        Groups of patients; None where they are not known: then nothing is said of how much
        wider an interval by patient would be.
    """
    patients = None if groups is None else cells_of(groups)
    cells = {outcome: [0] * len(_CATEGORIES) for outcome in _OUTCOMES}
    unresolved = [0] * len(_CATEGORIES)
    for category, outcome, is_resolved, units in rows:
        column = _CATEGORIES.index(category)
        cells[outcome][column] += units
        if outcome == "n" and not is_resolved:
            unresolved[column] += units
    m, b, n = (cells[outcome] for outcome in _OUTCOMES)
    ratios = {one.name: one for one in _ratios(m, b, n, unresolved, patients, interval, confidence)}
    return CategoryTable(
        measure=measure.id,
        stratum=stratum,
        cells={outcome: tuple(row) for outcome, row in cells.items()},
        unresolved=tuple(unresolved),
        cancers=sum(m) + n[4],
        benign=sum(b),
        total=sum(m) + sum(b) + sum(n),
        ratios=tuple(ratios.values()),
        identities=_identities(ratios, m, b, n),
        excluded=counts.excluded,
        patients=counts.patients,
        confidence=confidence,
        interval=interval,
        registry=stamp,
        **dates,  # type: ignore[arg-type]
    )


def _ratios(
    m: list[int],
    b: list[int],
    n: list[int],
    unresolved: list[int],
    patients: PatientCells | None,
    interval: str,
    confidence: float,
) -> list[CategoryRatio]:
    """Each ratio as x over n, with its interval; index 0 is B1."""
    open_units = sum(unresolved[:4])
    left_open = {"miss_rate": open_units, "npv_b2": unresolved[1], "specificity_full": open_units}
    own = {} if patients is None else _counts(patients.m, patients.b, patients.n)
    made = []
    for name, (x, size) in _counts(m, b, n).items():
        plain = "wilson" if interval == CLUSTERED else interval
        # It compares b5, which is no part of C, with C: it can exceed 1 in a tiny table.
        lower, upper = ESTIMATORS[plain].interval(min(x, size), size, confidence)
        method, wider = plain, None
        if patients is not None and name != "false_positive":
            y, trials = own[name]
            clusters = (y.tolist(), trials.tolist(), patients.patients.tolist())
            wider = widening(clusters, confidence)
            if interval == CLUSTERED:
                lower, upper = interval_by_patient(clusters, confidence)
                method = CLUSTERED
        made.append(
            CategoryRatio(
                name, x, size, x / size if size else None, lower, upper, left_open.get(name), method, wider
            )
        )
    return made


def _counts(m: Any, b: Any, n: Any) -> dict[str, tuple[Any, Any]]:
    """Numerator and denominator of each ratio, from numbers or from arrays over patients; index 0 is B1."""
    columns = [m[place] + b[place] + n[place] for place in range(len(_CATEGORIES))]
    # A malignant biopsy that was never operated counts as cancer.
    cancers, benign, total = sum(m) + n[4], sum(b), sum(columns)
    return {
        "absolute_sensitivity": (m[4] + n[4], cancers),
        "complete_sensitivity": (m[4] + n[4] + m[3] + m[2], cancers),
        "miss_rate": (m[1] + m[0], cancers),
        "false_negative_b2": (m[1], cancers),
        "false_positive": (b[4], cancers),
        "suspicious_rate": (columns[2] + columns[3], total),
        "b1_rate": (columns[0], total),
        "ppv_b5": (columns[4] - b[4], columns[4]),
        "ppv_b4": (m[3], columns[3]),
        "ppv_b3": (m[2], columns[2]),
        "npv_b2": (columns[1] - m[1], columns[1]),
        "specificity_biopsied": (b[1], benign),
        "specificity_full": (b[1] + n[1], benign + sum(n[:4])),
    }


def _identities(
    ratios: dict[str, CategoryRatio], m: list[int], b: list[int], n: list[int]
) -> dict[str, bool]:
    absolute, complete = ratios["absolute_sensitivity"], ratios["complete_sensitivity"]
    missed, suspicious = ratios["miss_rate"], ratios["suspicious_rate"]
    columns = [sum(counts) for counts in zip(m, b, n, strict=True)]
    return {
        "complete sensitivity + miss rate = 1": complete.x + missed.x == complete.n,
        "absolute sensitivity <= complete sensitivity": absolute.x <= complete.x,
        "columns sum to T": sum(columns) == suspicious.n,
    }
