"""Uptake read in the specimens against the diagnosis, and an empty scan as a warning of a missed cancer (0041)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from registry.stats.diagnostic import (
    Accuracy,
    AucComparison,
    LikelihoodRatios,
    VerificationBounds,
    VerifiedAccuracy,
    accuracy,
    begg_greenes,
    compare_auc,
    likelihood_ratios,
    verification_bounds,
)
from registry.uptake.diagnosis import NO_REPORT, RATIO, UNDECIDED

if TYPE_CHECKING:
    from collections.abc import Mapping

AGAINST_DIAGNOSIS = "uptake read in the specimens against a malignant diagnosis at biopsy (the others: normal, benign or high risk)"
MISSED = "no uptake read in the specimens, after a benign result, against cancer at the site within 730 days"
EQUIVOCAL, NO_DIAGNOSIS = "read as equivocal", "no diagnosis, insufficient or suspicious"
REPEAT, EARLY = "repeat procedure", "window not complete"


@dataclass(frozen=True)
class AgainstDiagnosis:
    """Specimens read, against the diagnosis at biopsy.

    ``seen_malignant`` and its like are counts of procedures. ``left_out`` says why others
    with a reading do not count.
    """

    seen_malignant: int
    seen_other: int
    unseen_malignant: int
    unseen_other: int
    left_out: Mapping[str, int]
    accuracy: Accuracy
    ratios: LikelihoodRatios

    @property
    def malignant(self) -> int:
        """Procedures with a malignant diagnosis."""
        return self.seen_malignant + self.unseen_malignant

    @property
    def other(self) -> int:
        """Procedures with another diagnosis."""
        return self.seen_other + self.unseen_other


@dataclass(frozen=True)
class MissedCancer:
    """After a benign result: whether no uptake in the specimens warned of a cancer that was missed.

    Of the procedures ``without`` uptake and those ``with_`` it: a cancer came to light, none did
    and the target is known to be clear, or nobody knows. ``corrected`` allows for who was followed
    where that hung on the scan alone; ``bounds`` assume nothing.
    """

    without: tuple[int, int, int]
    with_: tuple[int, int, int]
    left_out: Mapping[str, int]
    corrected: VerifiedAccuracy
    bounds: VerificationBounds

    @property
    def n(self) -> int:
        """Procedures, those of which nobody knows included."""
        return sum(self.without) + sum(self.with_)

    @property
    def cancers(self) -> int:
        """Cancers that came to light."""
        return self.without[0] + self.with_[0]


@dataclass(frozen=True)
class TwoMarkers:
    """The concentration in the specimens beside the lesion's own uptake, on the same procedures.

    ``n`` procedures hold both, ``malignant`` of them are; ``comparison`` is the area of the
    specimens less that of the lesion's standardised uptake value.
    """

    n: int
    malignant: int
    patients: int
    comparison: AucComparison


def against_diagnosis(found: pl.DataFrame, confidence: float = 0.95) -> AgainstDiagnosis:
    """How far a reading of the specimens goes with the diagnosis at biopsy.

    Parameters
    ----------
    found
        From :func:`registry.uptake.readings`.
    confidence
        Two-sided.
    """
    read = found.filter(pl.col("is_tracer_guided") & pl.col("is_uptake_read"))
    clear = read.filter(~pl.col("is_equivocal"))
    undecided = pl.col("diagnosis").fill_null(NO_REPORT).is_in([*UNDECIDED, NO_REPORT])
    decided = clear.filter(~undecided)
    tp, fp, fn, tn = (
        decided.filter(pl.col("is_uptake_seen") == seen, pl.col("is_malignant") == malignant).height
        for seen, malignant in ((True, True), (True, False), (False, True), (False, False))
    )
    left = {EQUIVOCAL: read.height - clear.height, NO_DIAGNOSIS: clear.height - decided.height}
    return AgainstDiagnosis(
        tp,
        fp,
        fn,
        tn,
        left_out={name: number for name, number in left.items() if number},
        accuracy=accuracy(tp, fp, fn, tn, confidence),
        ratios=likelihood_ratios(tp, fp, fn, tn, confidence),
    )


def missed_cancer(found: pl.DataFrame, confidence: float = 0.95) -> MissedCancer:
    """Whether an empty scan after a benign result warned of a missed cancer.

    Parameters
    ----------
    found
        From :func:`registry.uptake.readings`.
    confidence
        Two-sided.

    Sources
    -------
    Begg and Greenes 1983, Biometrics 39:207-215.
    """
    benign = found.filter(pl.col("is_tracer_guided") & pl.col("is_uptake_read") & pl.col("is_benign_result"))
    left: dict[str, int] = {}
    for name, reason in (
        (REPEAT, ~pl.col("is_index")),
        (EARLY, ~pl.col("is_window_complete")),
        (EQUIVOCAL, pl.col("is_equivocal")),
    ):
        if number := benign.filter(reason).height:
            left[name] = number
        benign = benign.filter(~reason)
    cells = []
    for seen in (False, True):
        rows = benign.filter(pl.col("is_uptake_seen") == seen)
        cancer = rows.filter("has_later_cancer").height
        clear = rows.filter(pl.col("is_resolved") & ~pl.col("has_later_cancer")).height
        cells.append((cancer, clear, rows.height - cancer - clear))
    without, with_ = cells
    return MissedCancer(
        without,
        with_,
        left,
        begg_greenes(*without, *with_, confidence=confidence),
        verification_bounds(*without, *with_),
    )


def beside_the_lesion(found: pl.DataFrame, confidence: float = 0.95) -> TwoMarkers:
    """Whether the specimens tell malignant from not better than the lesion's uptake had done.

    Parameters
    ----------
    found
        From :func:`registry.uptake.readings`.
    confidence
        Two-sided.

    Sources
    -------
    DeLong, DeLong and Clarke-Pearson 1988, Biometrics 44:837-845 (same procedures).
    """
    both = found.filter(
        pl.col(RATIO).is_not_null(),
        pl.col("suv_max") > 0.0,
        ~pl.col("diagnosis").fill_null(NO_REPORT).is_in([*UNDECIDED, NO_REPORT]),
    )
    outcome = both.get_column("is_malignant").cast(pl.Int8).to_numpy()
    return TwoMarkers(
        both.height,
        int(outcome.sum()),
        both.get_column("patient_no").n_unique(),
        compare_auc(
            outcome, both.get_column(RATIO).to_numpy(), both.get_column("suv_max").to_numpy(), confidence
        ),
    )
