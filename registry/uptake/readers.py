"""What the readers saw: blind to the report or not, and beside what the counts show."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from registry.measures.results import ProportionResult
from registry.stats.estimators import ESTIMATORS
from registry.stats.proportions import upper_bound_no_events

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from registry.uptake.scans import Scan

MEASURE = "specimen_uptake"
#: What a reading was against the first report -> how that reads.
AGAINST_REPORT = {
    "before": "read before the report (blind to it)",
    "same day": "read on the day of the report, order not known",
    "after": "read after the report (not blind)",
    "time not recorded": "time of reading not recorded",
}
#: Judgements of the readers in the order of the tables; empty is a scan that nobody read.
JUDGEMENTS = ("yes", "equivocal", "no", None)


def blind_readings(
    found: pl.DataFrame,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    interval: str = "wilson",
    confidence: float = 0.95,
    stamp: str = "",
) -> list[ProportionResult]:
    """The measure ``specimen_uptake`` split by whether the reader could know the report.

    Parameters
    ----------
    found
        From :func:`registry.uptake.readings`.
    as_of, start, end
        As they were asked of it; printed with the result.
    interval
        wilson, exact, jeffreys or midp.
    confidence
        Two-sided.
    stamp
        Version stamp of the registry.

    Returns
    -------
    list
        One result per key of ``AGAINST_REPORT``, those without readings included; the
        numerators and denominators add up to those of the measure.
    """
    read = found.filter(pl.col("is_tracer_guided") & pl.col("is_uptake_read"))
    method = ESTIMATORS[interval]
    made = []
    for stratum in AGAINST_REPORT:
        rows = read.filter(pl.col("against_report") == stratum)
        x, n = int(rows.get_column("is_uptake_seen").sum()), rows.height
        limits = [float(one) for one in method.interval(x, n, confidence)] if n else [None, None]
        made.append(
            ProportionResult(
                measure=MEASURE,
                stratum=stratum,
                numerator=x,
                denominator=n,
                excluded={},
                proportion=x / n if n else None,
                lower=limits[0],
                upper=limits[1],
                confidence=confidence,
                interval=interval,
                method=method.method,
                patients=rows.get_column("patient_no").n_unique(),
                as_of=as_of,
                start=start,
                end=end,
                registry=stamp,
                upper_bound_no_events=upper_bound_no_events(n, confidence) if n and not x else None,
            )
        )
    return made


def judged_against_counts(found: Iterable[Scan]) -> dict[tuple[str | None, str], int]:
    """Scans by the reader's judgement and by what the counts show.

    Returns
    -------
    dict
        (judgement or None where nobody read it, key of the decision) -> scans; pairs that
        do not occur are missing.
    """
    counts: dict[tuple[str | None, str], int] = {}
    for scan in found:
        place = (scan.uptake_seen, scan.decision.key)
        counts[place] = counts.get(place, 0) + 1
    return counts


def benign_with_uptake(found: pl.DataFrame) -> pl.DataFrame:
    """Procedures whose specimens were read as uptake and whose diagnosis is benign or normal.

    Parameters
    ----------
    found
        From :func:`registry.uptake.readings`.

    Returns
    -------
    DataFrame
        Its columns; first those in whose reports no lesion is named as explaining the
        finding (non-specific), then the others, each latest first.
    """
    rows = found.filter(pl.col("is_uptake_seen") & pl.col("is_benign_result"))
    return rows.sort(["is_finding_explained", "started_on", "procedure_id"], descending=[False, True, False])
