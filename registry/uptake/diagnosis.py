"""Concentration ratios by diagnosis, and how far they tell malignant from not malignant."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from registry.people import Action, require
from registry.stats.proportions import wilson_interval
from registry.stats.quantiles import Spread, spread
from registry.stats.roc import RocAuc, Threshold, best_threshold, roc_auc, roc_points
from registry.uptake.asking import ask
from registry.vocabulary import labels

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader

Limits = tuple[float, float]

RATIO = "specimen_concentration_ratio"
#: Neither malignant nor not: the biopsy gave no answer.
UNDECIDED = ("insufficient", "suspicious")
NO_REPORT = "no report"
OUTCOME = (
    "malignant at biopsy (in situ, invasive or other malignant) against normal, benign or high risk at biopsy"
)
#: Resamples for the optimism, and how many where the procedures are many.
REPLICATES = 1000
FEWER_REPLICATES = 200
MANY_PROCEDURES = 3000
SEED = 1


@dataclass(frozen=True)
class DiagnosisGroup:
    """Procedures with one worst diagnosis; ``diagnosis`` is a code, or ``no report``.

    ``ratio`` in g/g; ``over_lesion`` the ratio over the lesion's maximum standardised
    uptake value, of those where that is recorded.
    """

    diagnosis: str
    patients: int
    ratio: Spread
    over_lesion: Spread


@dataclass(frozen=True)
class Discrimination:
    """The concentration ratio as a marker of malignancy, on procedures.

    ``left_out`` counts procedures with a ratio and neither outcome, by diagnosis.
    ``found`` and ``cleared`` count, at the threshold, malignant procedures at or above it
    and others below it, with their intervals; None without a threshold. ``curve`` holds
    (false positive, true positive) shares.
    """

    roc: RocAuc
    threshold: Threshold
    patients: int
    patients_with_several: int
    left_out: dict[str, int]
    found: int | None
    cleared: int | None
    found_ci: Limits | None
    cleared_ci: Limits | None
    curve: tuple[tuple[float, float], ...]


def readings(
    registry: Reader, *, as_of: date, start: date | None = None, end: date | None = None
) -> pl.DataFrame:
    """Sampled procedures whose specimens were read or have a concentration ratio.

    Parameters
    ----------
    registry, as_of, start, end
        As :func:`registry.uptake.scans`.

    Returns
    -------
    DataFrame
        procedure_id, patient_no, started_on, diagnosis, is_malignant, is_benign_result,
        is_tracer_guided, is_uptake_read, is_uptake_seen, against_report, lesions,
        is_finding_explained, specimen_concentration_ratio, suv_max, over_lesion.
    """
    require(Action.FIGURES, registry)
    found = ask(registry, "readings", as_of=as_of, start=start, end=end)
    suv = pl.when(pl.col("suv_max") > 0.0).then(pl.col("suv_max"))
    return found.with_columns((pl.col(RATIO) / suv).alias("over_lesion"))


def by_diagnosis(found: pl.DataFrame) -> list[DiagnosisGroup]:
    """Concentration ratios by worst diagnosis, in the order of severity, no report last.

    Parameters
    ----------
    found
        From :func:`readings`; procedures without a ratio are passed over.
    """
    counted = with_ratio(found)
    groups = []
    for code in (*labels("pathology", "diagnosis"), NO_REPORT):
        rows = counted.filter(pl.col("diagnosis") == code)
        if rows.height:
            groups.append(
                DiagnosisGroup(
                    code,
                    rows.get_column("patient_no").n_unique(),
                    spread(rows.get_column(RATIO).to_numpy()),
                    spread(rows.get_column("over_lesion").drop_nulls().to_numpy()),
                )
            )
    return groups


def with_ratio(found: pl.DataFrame) -> pl.DataFrame:
    """Procedures with a concentration ratio; a missing diagnosis reads ``no report``."""
    return found.filter(pl.col(RATIO).is_not_null()).with_columns(pl.col("diagnosis").fill_null(NO_REPORT))


def discrimination(found: pl.DataFrame, confidence: float = 0.95) -> Discrimination:
    """How far the concentration ratio tells malignant from not malignant.

    Parameters
    ----------
    found
        From :func:`readings`.
    confidence
        Two-sided confidence of the intervals.

    Returns
    -------
    Discrimination
        The outcome is ``OUTCOME``. The threshold is the one of the largest Youden index,
        its optimism by resampling patients with a fixed seed.
    """
    counted = with_ratio(found)
    decided = counted.filter(~pl.col("diagnosis").is_in([*UNDECIDED, NO_REPORT]))
    outcome = decided.get_column("is_malignant").cast(pl.Int8).to_numpy()
    marker = decided.get_column(RATIO).to_numpy()
    patient = decided.get_column("patient_no")
    area = roc_auc(outcome, marker, confidence)
    replicates = REPLICATES if decided.height <= MANY_PROCEDURES else FEWER_REPLICATES
    chosen = best_threshold(outcome, marker, replicates, SEED, patient.to_numpy())
    hits = cleared = hits_ci = cleared_ci = None
    if chosen.threshold is not None:
        above = marker >= chosen.threshold
        hits, cleared = int(above[outcome == 1].sum()), int((~above[outcome == 0]).sum())
        hits_ci = _wilson(hits, area.positives, confidence)
        cleared_ci = _wilson(cleared, area.negatives, confidence)
    left_out = counted.filter(pl.col("diagnosis").is_in([*UNDECIDED, NO_REPORT]))
    false_positive, true_positive = roc_points(outcome, marker)
    return Discrimination(
        roc=area,
        threshold=chosen,
        patients=patient.n_unique(),
        patients_with_several=int((patient.value_counts().get_column("count") > 1).sum()),
        left_out=dict(left_out.get_column("diagnosis").value_counts(sort=True).iter_rows()),
        found=hits,
        cleared=cleared,
        found_ci=hits_ci,
        cleared_ci=cleared_ci,
        curve=tuple(zip(false_positive.tolist(), true_positive.tolist(), strict=True)),
    )


def _wilson(events: int, trials: int, confidence: float) -> Limits:
    low, high = wilson_interval(events, trials, confidence)
    return float(low), float(high)
