"""Radioactive sources on a day, and count rates of the same source over time."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Any

from registry.people import Action, require
from registry.stats.rates import exact_rate_interval
from registry.tracer import HALF_LIFE_MIN, MINUTES_PER_DAY, half_life_source, source_activity
from registry.uptake.asking import ask

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader

DISPOSED = "disposed"
BASELINE = 6
"""So many first checks of a scanner make its baseline (project default; half a year of monthly checks)."""


@dataclass(frozen=True)
class Source:
    """A source with its activity on the day asked for, and the share of the reference that is left.

    ``activity_mbq`` and ``left`` are None where ``reason`` says why.
    """

    source_id: str
    site: str
    nuclide: str
    state: str
    reference_on: date
    reference_mbq: float
    leak_test_on: date | None
    activity_mbq: float | None
    left: float | None
    half_life: str
    reason: str = ""


@dataclass(frozen=True)
class Constancy:
    """One check: counts per second per MBq of the source as decayed to that day.

    ``relative`` is that rate over the median of all checks of the same scanner. ``expected``
    are the counts that the baseline of the scanner, the median rate of its first
    :data:`BASELINE` checks, gives for the source as decayed to that day; ``ratio`` is
    measured over expected, with 95 % limits of counting alone (the baseline taken as
    known). ``baseline`` marks the checks that made it, ``outside`` says whether the ratio
    lies further from 1 than the local tolerance; None where none is stated.
    """

    check_id: str
    site: str
    scanner: str
    done_on: date
    source_id: str
    cps_per_mbq: float
    relative: float
    counts: float
    expected: float
    ratio: float
    ratio_lower: float
    ratio_upper: float
    baseline: bool
    outside: bool | None


def sources(registry: Reader, *, on: date) -> list[Source]:
    """Sources with their activity on a day, in the order of site and age, newest first.

    Parameters
    ----------
    registry
        An open registry.
    on
        Day of the activity; the state of a source is the one recorded now.
    """
    require(Action.FIGURES, registry)
    return [_source(row, on) for row in ask(registry, "sources", as_of=on).to_dicts()]


def _source(row: dict[str, Any], on: date) -> Source:
    nuclide, reference_on, reference = row["nuclide"], row["reference_on"], row["activity_mbq"]
    activity, reason, half_life = None, "", ""
    if nuclide not in HALF_LIFE_MIN:
        reason = "no half-life for this nuclide"
    else:
        half_life = _half_life_text(nuclide)
        if on < reference_on:
            reason = "the reference day lies after it"
        else:
            activity = source_activity(nuclide, reference, reference_on, on)
    return Source(
        source_id=row["source_id"],
        site=row["site"],
        nuclide=nuclide,
        state=row["state"],
        reference_on=reference_on,
        reference_mbq=reference,
        leak_test_on=row["leak_test_on"],
        activity_mbq=activity,
        left=None if activity is None else activity / reference,
        half_life=half_life,
        reason=reason,
    )


def _half_life_text(nuclide: str) -> str:
    minutes = HALF_LIFE_MIN[nuclide]
    text = f"{minutes / MINUTES_PER_DAY:g} d" if minutes > MINUTES_PER_DAY else f"{minutes:g} min"
    return f"{text}; {half_life_source(nuclide)}"


def constancy(registry: Reader, *, as_of: date) -> list[Constancy]:
    """Count rates of the sources, by scanner and day.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Checks after this day do not count.

    Returns
    -------
    list
        Checks whose source has no half-life, or was used before its reference day, are
        left out. Counting time is short against the half-lives of such sources: the
        activity is that of the day.
    """
    require(Action.FIGURES, registry)
    rates: list[tuple[dict[str, Any], float]] = []
    for row in ask(registry, "constancy", as_of=as_of).to_dicts():
        if row["nuclide"] not in HALF_LIFE_MIN or row["done_on"] < row["reference_on"]:
            continue
        activity = source_activity(row["nuclide"], row["activity_mbq"], row["reference_on"], row["done_on"])
        rates.append((row, row["counts"] / row["seconds"] / activity))
    by_scanner: dict[tuple[str, str], list[float]] = {}
    for row, rate in rates:
        by_scanner.setdefault((row["site"], row["scanner"]), []).append(rate)
    limit = registry.site.numbers.get("counts_tolerance")
    seen: dict[tuple[str, str], int] = {}
    made = []
    for row, rate in rates:
        place = row["site"], row["scanner"]
        seen[place] = seen.get(place, 0) + 1
        usual, first = median(by_scanner[place]), median(by_scanner[place][:BASELINE])
        ratio = rate / first if first else 0.0
        low, high = exact_rate_interval(round(row["counts"]), 1.0)
        scale = ratio / row["counts"] if row["counts"] else 0.0
        made.append(
            Constancy(
                row["check_id"],
                row["site"],
                row["scanner"],
                row["done_on"],
                row["source_id"],
                rate,
                rate / usual if usual else 0.0,
                row["counts"],
                row["counts"] * first / rate if rate else 0.0,
                ratio,
                scale * low,
                scale * high,
                seen[place] <= BASELINE,
                None if limit is None else abs(ratio - 1.0) > limit,
            )
        )
    return made
