"""Effective dose and uptake time per visit: one injection for several targets counts once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry.people import Action, require
from registry.stats.quantiles import Spread, spread
from registry.tracer import DOSE_COEFFICIENTS, EffectiveDose, effective_dose
from registry.uptake.asking import ask

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from registry.measures.counting import Reader


@dataclass(frozen=True)
class Injection:
    """One injection: its tracer, the procedures done with it, and its dose.

    ``activity_mbq`` net of residual; ``uptake_minutes`` to the first breast scan, or to
    the first start of a procedure where no scan is recorded. Without a dose ``reason``
    says why.
    """

    tracer: str
    procedures: tuple[str, ...]
    activity_mbq: float | None
    uptake_minutes: float | None
    dose: EffectiveDose | None
    reason: str = ""


@dataclass(frozen=True)
class Visit:
    """What one patient was given on one day; ``msv`` is None where an injection has no dose."""

    started_on: date
    injections: tuple[Injection, ...]

    @property
    def procedures(self) -> tuple[str, ...]:
        """Procedures of the visit that were done with a tracer."""
        return tuple(sorted(key for one in self.injections for key in one.procedures))

    @property
    def tracers(self) -> tuple[str, ...]:
        """Tracers of the visit, each once."""
        return tuple(sorted({one.tracer for one in self.injections}))

    @property
    def msv(self) -> float | None:
        """Effective dose of the visit, mSv."""
        doses = [one.dose.msv for one in self.injections if one.dose is not None]
        return sum(doses) if len(doses) == len(self.injections) else None


@dataclass(frozen=True)
class VisitDoses:
    """Visits with the same tracers: how many, their dose and uptake time, and why some have none.

    ``shared`` counts visits in which one injection served several procedures. ``coefficients``
    are (tracer, mSv per MBq, source).
    """

    tracers: tuple[str, ...]
    visits: int
    shared: int
    dose: Spread
    uptake_minutes: Spread
    without_dose: dict[str, int]
    coefficients: tuple[tuple[str, float, str], ...]


def visits(
    registry: Reader, *, as_of: date, start: date | None = None, end: date | None = None
) -> list[Visit]:
    """Visits with a tracer, in the order of their days, cancelled procedures included.

    Parameters
    ----------
    registry, as_of, start, end
        As :func:`registry.uptake.scans`.
    """
    require(Action.FIGURES, registry)
    rows = ask(registry, "injections", as_of=as_of, start=start, end=end).to_dicts()
    found: dict[tuple[int, date], list[Injection]] = {}
    for row in rows:
        found.setdefault((row["patient_no"], row["started_on"]), []).append(_injection(row))
    return [Visit(day, tuple(given)) for (_, day), given in found.items()]


def _injection(row: dict[str, Any]) -> Injection:
    dose, reason = None, ""
    if row["activities"] > 1:
        reason = "the procedures of one injection state different activities"
    elif row["activity_mbq"] is None:
        reason = "injected activity missing"
    elif row["tracer"] not in DOSE_COEFFICIENTS:
        reason = "no dose coefficient for this tracer"
    else:
        dose = effective_dose(row["tracer"], row["activity_mbq"])
    return Injection(
        row["tracer"], tuple(row["procedures"]), row["activity_mbq"], row["uptake_minutes"], dose, reason
    )


def visit_doses(found: Iterable[Visit]) -> list[VisitDoses]:
    """Visits grouped by their tracers, in the order of the names."""
    groups: dict[tuple[str, ...], list[Visit]] = {}
    for visit in found:
        groups.setdefault(visit.tracers, []).append(visit)
    return [_group(tracers, groups[tracers]) for tracers in sorted(groups)]


def _group(tracers: tuple[str, ...], found: list[Visit]) -> VisitDoses:
    without: dict[str, int] = {}
    for visit in found:
        reason = next((one.reason for one in visit.injections if one.reason), "")
        if reason:
            without[reason] = without.get(reason, 0) + 1
    minutes = [
        one.uptake_minutes for visit in found for one in visit.injections if one.uptake_minutes is not None
    ]
    return VisitDoses(
        tracers=tracers,
        visits=len(found),
        shared=sum(any(len(one.procedures) > 1 for one in visit.injections) for visit in found),
        dose=spread([visit.msv for visit in found if visit.msv is not None]),
        uptake_minutes=spread(minutes),
        without_dose=without,
        coefficients=tuple((name, *DOSE_COEFFICIENTS[name]) for name in tracers if name in DOSE_COEFFICIENTS),
    )
