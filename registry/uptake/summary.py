"""Everything about tracer in the specimens as flat rows, for the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from registry.people import Action, require
from registry.uptake.decision import DECISIONS
from registry.uptake.diagnosis import OUTCOME, SEED, by_diagnosis, discrimination, readings
from registry.uptake.dose import visit_doses, visits
from registry.uptake.planning_and_day import lesion_ratios, same_lesion
from registry.uptake.readers import (
    AGAINST_REPORT,
    JUDGEMENTS,
    benign_with_uptake,
    blind_readings,
    judged_against_counts,
)
from registry.uptake.scans import scans
from registry.uptake.warning import (
    against_diagnosis,
    beside_the_lesion,
    missed_cancer,
)
from registry.uptake.warning_rows import of_diagnosis, of_lesion, of_markers, of_missed

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    import polars as pl

    from registry.measures.counting import Reader
    from registry.stats.quantiles import Spread
    from registry.uptake.dose import VisitDoses
    from registry.uptake.warning_rows import Figure

Row = dict[str, Any]

COLUMNS = ("part", "what", "x", "n", "value", "lower", "upper", "unit", "method")


def summary(
    registry: Reader, *, minimum_n: int, as_of: date, start: date | None = None, end: date | None = None
) -> list[Row]:
    """Counts, ratios, curve, threshold, readings and doses as rows of ``COLUMNS``.

    Parameters
    ----------
    registry, as_of, start, end
        As :func:`registry.uptake.scans`.
    minimum_n
        Smallest number for which more than counts is given.
    """
    require(Action.FIGURES, registry)
    found = readings(registry, as_of=as_of, start=start, end=end)
    scanned = scans(registry, as_of=as_of, start=start, end=end)
    doses = visit_doses(visits(registry, as_of=as_of, start=start, end=end))
    rows: list[Row] = []
    judged = judged_against_counts(scanned)
    for judgement in JUDGEMENTS:
        for key in DECISIONS:
            if number := judged.get((judgement, key)):
                rows.append(
                    _row("scans", f"read {judgement or 'by nobody'}, {key}", x=number, n=len(scanned))
                )
    for group in by_diagnosis(found):
        rows.append(_median("ratio", group.diagnosis, group.ratio, "g/g", minimum_n))
    for group in by_diagnosis(found):
        rows.append(_median("ratio over SUV max", group.diagnosis, group.over_lesion, "1", minimum_n))
    rows += _curve(found, minimum_n)
    for one in blind_readings(found, as_of=as_of, start=start, end=end):
        enough = one.denominator >= minimum_n
        rows.append(
            _row(
                "uptake seen",
                AGAINST_REPORT[one.stratum],
                x=one.numerator,
                n=one.denominator,
                value=one.proportion if enough else None,
                limits=(one.lower, one.upper) if enough else (None, None),
                method=one.method if enough else _few(one.denominator, minimum_n),
            )
        )
    rows += _warning(found, minimum_n)
    lesions = same_lesion(lesion_ratios(registry, as_of=as_of, start=start, end=end))
    rows += _figures(
        "lesion at planning and on the day", of_lesion(lesions, minimum_n), {"a ratio of 0": lesions.zeros}
    )
    benign = benign_with_uptake(found)
    unexplained = benign.height - int(benign.get_column("is_finding_explained").sum())
    what = "benign or normal; of these x without a lesion named as explaining the finding"
    rows.append(_row("uptake seen", what, x=unexplained, n=benign.height))
    for group_of in doses:
        rows += _doses(group_of, minimum_n)
    return rows


def _row(
    part: str,
    what: str,
    *,
    x: int | None = None,
    n: int | None = None,
    value: float | None = None,
    limits: tuple[float | None, float | None] = (None, None),
    unit: str = "",
    method: str = "",
) -> Row:
    return dict(zip(COLUMNS, (part, what, x, n, value, *limits, unit, method), strict=True))


def _warning(found: pl.DataFrame, minimum_n: int) -> list[Row]:
    """Readings against the diagnosis, an empty scan as a warning, specimens beside the lesion."""
    told, missed = against_diagnosis(found), missed_cancer(found)
    return [
        *_figures("uptake seen against diagnosis", of_diagnosis(told, minimum_n), told.left_out),
        *_figures("no uptake seen against missed cancer", of_missed(missed, minimum_n), missed.left_out),
        *_figures("specimens beside the lesion", of_markers(beside_the_lesion(found), minimum_n), {}),
    ]


def _figures(part: str, figures: list[Figure], left_out: Mapping[str, int]) -> list[Row]:
    rows = [
        _row(
            part,
            one.what,
            x=one.x,
            n=one.n,
            value=one.value,
            limits=one.limits,
            unit=one.unit,
            method=one.method,
        )
        for one in figures
    ]
    return rows + [_row(part, f"left out: {name}", x=number) for name, number in left_out.items() if number]


def _few(n: int, minimum_n: int) -> str:
    return "no procedures" if n == 0 else f"fewer than {minimum_n}"


def _median(part: str, what: str, lies: Spread, unit: str, minimum_n: int) -> Row:
    if lies.n < minimum_n:
        return _row(part, what, n=lies.n, unit=unit, method=_few(lies.n, minimum_n))
    return _row(
        part,
        what,
        n=lies.n,
        value=lies.median,
        limits=(lies.lower, lies.upper),
        unit=unit,
        method="median, order statistics",
    )


def _curve(found: pl.DataFrame, minimum_n: int) -> list[Row]:
    told = discrimination(found)
    area, chosen = told.roc, told.threshold
    n = area.positives + area.negatives
    if min(area.positives, area.negatives) < minimum_n:
        few = f"malignant {area.positives}, not {area.negatives}: fewer than {minimum_n} in one group"
        return [_row("curve", OUTCOME, n=n, method=few)]
    several = f"{told.patients_with_several} of {told.patients} patients with several procedures"
    rows = [
        _row(
            "curve",
            f"area, {OUTCOME}",
            x=area.positives,
            n=n,
            value=area.auc,
            limits=area.ci_logit,
            method=area.reason or f"DeLong, logit scale; {several}",
        ),
        _row("curve", "threshold of the largest Youden index", value=chosen.threshold, unit="g/g"),
    ]
    for what, x, size, limits in (
        ("sensitivity at it, apparent", told.found, area.positives, told.found_ci),
        ("specificity at it, apparent", told.cleared, area.negatives, told.cleared_ci),
    ):
        if x is not None and limits is not None:
            rows.append(_row("curve", what, x=x, n=size, value=x / size, limits=limits, method="Wilson"))
    resampled = f"{chosen.replicates} resamples of patients, seed {SEED}"
    rows += [
        _row("curve", "Youden index, apparent", value=chosen.youden),
        _row("curve", "optimism of having chosen it here", value=chosen.optimism, method=resampled),
        _row("curve", "Youden index, corrected", value=chosen.corrected),
    ]
    return rows


def _doses(group: VisitDoses, minimum_n: int) -> list[Row]:
    name = " + ".join(group.tracers)
    dose = _median("effective dose per visit", name, group.dose, "mSv", minimum_n)
    named = "; ".join(f"{value:g} mSv/MBq ({source})" for _, value, source in group.coefficients)
    dose["method"] = "; ".join(part for part in (dose["method"], named) if part)
    shared = "visits in which one injection served several targets, counted once"
    return [
        dose,
        _row("effective dose per visit", f"{name}: {shared}", x=group.shared, n=group.visits),
        _median("uptake time", name, group.uptake_minutes, "min", minimum_n),
    ]
