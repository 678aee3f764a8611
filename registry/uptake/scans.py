"""Scans of the specimens: counts, net rate, decision, concentration ratio, time of reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry.people import Action, require
from registry.tracer import (
    HALF_LIFE_MIN,
    NetRate,
    SpecimenUptake,
    decay_factor,
    net_rate,
    scan_average_factor,
    specimen_uptake,
)
from registry.uptake.asking import ask
from registry.uptake.decision import Decision, decide
from registry.vocabulary import column

if TYPE_CHECKING:
    from datetime import date

    from registry.measures.counting import Reader

Limits = tuple[float, float]

#: Chance of calling a background too high that is not (project default): such a remark
#: speaks of the tray, not of the tissue, and should be rare.
HIGH_BACKGROUND_ALPHA = 0.001
#: A reference where the site states none: the tracer spread evenly through the body.
EVEN_SPREAD = 1.0


@dataclass(frozen=True)
class Scan:
    """One scan of specimens, its containers pooled.

    ``net`` is in counts per second; ``uptake`` refers it to the time of injection and is
    None where ``missing`` names a value that it needs. ``over_lesion`` is the
    concentration ratio over the lesion's maximum standardised uptake value (g/mL, tissue
    taken as 1 g/mL). ``decay`` is the share of activity left at the start of the scan,
    ``scan_average`` the factor from the mean rate of the scan to its start.
    ``high_background`` says that the background counted more than the specimens, beyond
    chance.
    """

    procedure_id: str
    started_on: date
    scan_id: str
    containers: tuple[str, ...]
    counts: float | None
    background_counts: float | None
    background_kind: str | None
    seconds: float | None
    mass_g: float | None
    minutes: float | None
    nuclide: str | None
    uptake_seen: str | None
    decision: Decision
    missing: tuple[str, ...]
    net: NetRate | None = None
    uptake: SpecimenUptake | None = None
    decay: float | None = None
    scan_average: float | None = None
    over_lesion: float | None = None
    over_lesion_ci: Limits | None = None
    high_background: bool = False


def scans(
    registry: Reader,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    procedure_id: str | None = None,
) -> list[Scan]:
    """Scans of specimens in the order of the procedures.

    Parameters
    ----------
    registry
        An open registry, or one as it was known at a moment.
    as_of
        Nothing scanned or read after this day counts; ``date.max`` leaves nothing out.
    start, end
        First and last day on which a procedure started, both included.
    procedure_id
        Only the scans of this procedure.

    Returns
    -------
    list
        Containers scanned together are one scan; none where nothing was scanned or read.
    """
    require(Action.RECORD if procedure_id else Action.FIGURES, registry)
    rows = ask(registry, "scans", as_of=as_of, start=start, end=end, procedure_id=procedure_id)
    return [scan_of(row) for row in rows.to_dicts()]


def scan_of(row: dict[str, Any]) -> Scan:
    """Turn one row of ``sql/uptake/scans.sql`` into what its counts show."""
    named = column("tracer", "nuclide").get(row["tracer"] or "", "")
    nuclide = named if named in HALF_LIFE_MIN else None
    unusable, absent = _uncounted(row), _unreferred(row, nuclide)
    uptake = _uptake(row, nuclide) if nuclide and not (unusable or absent) else None
    net = uptake.net if uptake else None if unusable else _net(row)
    lesion, over, over_ci = row["suv_max"], None, None
    if uptake is not None and lesion:
        over, over_ci = uptake.ratio / lesion, (uptake.ci[0] / lesion, uptake.ci[1] / lesion)
    minutes = row["minutes_since_injection"]
    decision = decide(
        net,
        background_kind=row["background_kind"],
        reference=row["reference_ratio"] or EVEN_SPREAD,
        ratio_per_rate=uptake.ratio_per_rate if uptake else None,
        missing=unusable or absent,
    )
    return Scan(
        procedure_id=row["procedure_id"],
        started_on=row["started_on"],
        scan_id=row["scan_id"],
        containers=tuple(row["containers"]),
        counts=row["counts"],
        background_counts=row["background_counts"],
        background_kind=row["background_kind"],
        seconds=row["scan_seconds"],
        mass_g=row["mass_g"],
        minutes=minutes,
        nuclide=nuclide,
        uptake_seen=row["uptake_seen"],
        decision=decision,
        missing=(*unusable, *absent),
        net=net,
        uptake=uptake,
        decay=decay_factor(nuclide, minutes) if nuclide and minutes is not None and minutes >= 0.0 else None,
        scan_average=scan_average_factor(nuclide, row["scan_seconds"])
        if nuclide and row["scan_seconds"]
        else None,
        over_lesion=over,
        over_lesion_ci=over_ci,
        high_background=not unusable and _background_is_high(row),
    )


def _uptake(row: dict[str, Any], nuclide: str) -> SpecimenUptake:
    return specimen_uptake(
        int(row["counts"]),
        row["scan_seconds"],
        int(row["background_counts"]),
        mass_g=row["mass_g"],
        calibration_cps_per_kbq=row["calibration_cps_per_kbq"],
        nuclide=nuclide,
        minutes_since_injection=row["minutes_since_injection"],
        activity_mbq=row["activity_mbq"],
        body_mass_kg=row["weight_kg"],
    )


def _net(row: dict[str, Any]) -> NetRate:
    return net_rate(int(row["counts"]), row["scan_seconds"], int(row["background_counts"]))


def _background_is_high(row: dict[str, Any]) -> bool:
    """Whether the regions exchanged would be called measured, with a strict error."""
    gross, empty = int(row["counts"]), int(row["background_counts"])
    return empty > gross and net_rate(empty, row["scan_seconds"], gross, alpha=HIGH_BACKGROUND_ALPHA).detected


def _uncounted(row: dict[str, Any]) -> tuple[str, ...]:
    """What is missing for a net rate. Counting statistics hold for raw counts only."""
    named = {
        "counts": "specimen counts",
        "background_counts": "background counts",
        "scan_seconds": "duration of the scan",
    }
    absent = [name for key, name in named.items() if row[key] is None]
    scaled = [
        f"raw {name} (a number with decimals stands there)"
        for key, name in list(named.items())[:2]
        if row[key] is not None and row[key] != int(row[key])
    ]
    return (*absent, *scaled)


def _unreferred(row: dict[str, Any], nuclide: str | None) -> tuple[str, ...]:
    """What is missing to refer a net rate to injected activity per body mass."""
    named = {
        "mass_g": "mass of the tissue",
        "calibration_cps_per_kbq": "calibration of the scanner",
        "activity_mbq": "injected activity",
        "weight_kg": "body weight",
    }
    absent = [name for key, name in named.items() if row[key] is None]
    if nuclide is None:
        absent.append("tracer with a known half-life")
    if row["minutes_since_injection"] is None:
        absent.append("time from injection to scan")
    elif row["minutes_since_injection"] < 0.0:
        absent.append("time from injection to scan (the scan lies before the injection)")
    return tuple(absent)
