"""Decay, counting and uptake: what the tracer in a specimen says, and what it cannot.

One half-life per nuclide, in one place, with its source, recorded with what it gave.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from math import inf, log
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from registry.sqlfiles import read_text
from registry.stats.arguments import numbers
from registry.stats.counting import NetRate, net_rate

__all__ = [
    "DOSE_COEFFICIENTS",
    "HALF_LIFE_MIN",
    "EffectiveDose",
    "NetRate",
    "SpecimenUptake",
    "decay_factor",
    "effective_dose",
    "half_life_source",
    "net_rate",
    "scan_average_factor",
    "source_activity",
    "specimen_uptake",
]

MINUTES_PER_DAY = 1440.0


@dataclass(frozen=True)
class SpecimenUptake:
    """Tracer in a specimen, referred to the time of injection.

    ``concentration`` in kBq per g, ``ratio`` over injected activity per body mass
    (g/g), each with an interval from the counting alone. ``ratio_per_rate`` (g/g for one
    net count per second) turns a decision threshold or detection limit into a ratio.
    """

    concentration: float
    concentration_ci: tuple[float, float]
    ratio: float
    ci: tuple[float, float]
    net: NetRate
    half_life_min: float
    ratio_per_rate: float


@dataclass(frozen=True)
class EffectiveDose:
    """Effective dose of an adult with the coefficient it was computed with."""

    msv: float
    coefficient_msv_per_mbq: float
    source: str


class _HalfLives(Mapping[str, float]):
    """Half-life in minutes per nuclide, read when first asked for."""

    def __getitem__(self, nuclide: str) -> float:
        return _half_lives()[nuclide][0]

    def __iter__(self) -> Iterator[str]:
        return iter(_half_lives())

    def __len__(self) -> int:
        return len(_half_lives())


HALF_LIFE_MIN: Mapping[str, float] = _HalfLives()
"""Half-life in minutes by nuclide; the source of each from :func:`half_life_source`."""

DOSE_COEFFICIENTS: Mapping[str, tuple[float, str]] = {
    "F-18 FDG": (0.019, "ICRP coefficient for adults"),
    "Tc-99m sestamibi": (0.009, "ICRP publication 128, adult at rest; from memory"),
}


def half_life_source(nuclide: str) -> str:
    """Where the half-life of a nuclide is taken from.

    Raises
    ------
    ValueError
        Unknown nuclide.
    """
    return _known(nuclide)[1]


def decay_factor(nuclide: str, minutes: ArrayLike) -> Any:
    """Share of the activity that is left after a time.

    Parameters
    ----------
    nuclide
        One of ``HALF_LIFE_MIN``.
    minutes
        Time passed since the reference, 0 or more; one number or an array.

    Returns
    -------
    float or array
        1 at 0 minutes; dividing by it refers a later activity back.

    Raises
    ------
    ValueError
        Unknown nuclide, time negative or missing.
    """
    passed = numbers(minutes, "minutes", minimum=0.0)
    left = np.exp(-_decay_constant(nuclide) * passed)
    return left if passed.ndim else float(left)


def scan_average_factor(nuclide: str, seconds: ArrayLike) -> Any:
    """Factor that turns the mean rate of a scan into the rate at its start.

    Parameters
    ----------
    nuclide
        One of ``HALF_LIFE_MIN``.
    seconds
        Duration of the scan, 0 or more; one number or an array.

    Returns
    -------
    float or array
        lambda T / (1 - exp(-lambda T)), 1 for no duration. Correcting from the middle
        of the scan instead is an approximation.

    Raises
    ------
    ValueError
        Unknown nuclide, duration negative or missing.
    """
    duration = numbers(seconds, "seconds", minimum=0.0)
    exponent = _decay_constant(nuclide) * duration / 60.0
    safe = np.where(exponent > 0.0, exponent, 1.0)
    factor = np.where(exponent > 0.0, safe / -np.expm1(-safe), 1.0)
    return factor if duration.ndim else float(factor)


def specimen_uptake(
    counts: int,
    seconds: float,
    background_counts: int,
    *,
    mass_g: float,
    calibration_cps_per_kbq: float,
    nuclide: str,
    minutes_since_injection: float,
    activity_mbq: float,
    body_mass_kg: float,
    background_seconds: float | None = None,
    confidence: float = 0.95,
) -> SpecimenUptake:
    """Activity concentration of a specimen and its ratio to injected activity per mass.

    Parameters
    ----------
    counts, seconds, background_counts, background_seconds, confidence
        As :func:`net_rate`; pooled over the containers of one scan.
    mass_g
        Net tissue mass, above 0; pooled likewise.
    calibration_cps_per_kbq
        Counts per second per kBq of this scanner for a specimen, above 0.
    nuclide
        One of ``HALF_LIFE_MIN``.
    minutes_since_injection
        From injection to the start of the scan, 0 or more.
    activity_mbq
        Activity injected, net of residual, above 0.
    body_mass_kg
        Body mass, above 0.

    Returns
    -------
    SpecimenUptake
        Not corrected for the size of the specimen: thin cores read too low. Compare
        ratios within one scanner, not between scanners.

    Raises
    ------
    ValueError
        Unknown nuclide, values out of range.

    Sources
    -------
    Decay to the start of the scan exactly, from its mean rate; counting uncertainty
    only: mass, calibration and activity are taken as known.
    """
    positive = {
        "mass_g": mass_g,
        "calibration_cps_per_kbq": calibration_cps_per_kbq,
        "activity_mbq": activity_mbq,
        "body_mass_kg": body_mass_kg,
    }
    for name, value in positive.items():
        if not 0.0 < value < inf:
            raise ValueError(f"{name} must be above 0; got {value}")
    net = net_rate(counts, seconds, background_counts, background_seconds, confidence=confidence)
    back = scan_average_factor(nuclide, seconds) / decay_factor(nuclide, minutes_since_injection)
    per_gram = back / (calibration_cps_per_kbq * mass_g)
    # injected kBq per gram of body: MBq/kg are the same number
    expected = activity_mbq / body_mass_kg
    low, high = (limit * per_gram for limit in net.ci)
    return SpecimenUptake(
        concentration=net.net_rate * per_gram,
        concentration_ci=(low, high),
        ratio=net.net_rate * per_gram / expected,
        ci=(low / expected, high / expected),
        net=net,
        half_life_min=HALF_LIFE_MIN[nuclide],
        ratio_per_rate=per_gram / expected,
    )


def source_activity(nuclide: str, activity: float, reference_on: date, day: date) -> float:
    """Activity of a sealed source on a later day.

    Parameters
    ----------
    nuclide
        One of ``HALF_LIFE_MIN``.
    activity
        Activity on the reference day, above 0, any unit.
    reference_on, day
        Reference day and day asked for, not before it.

    Returns
    -------
    float
        In the unit given.

    Raises
    ------
    ValueError
        Unknown nuclide, activity not positive, day before the reference.
    """
    if not 0.0 < activity < inf:
        raise ValueError(f"activity must be above 0; got {activity}")
    days = (day - reference_on).days
    if days < 0:
        raise ValueError(f"day must not lie before the reference day; got {days} days")
    return float(activity * decay_factor(nuclide, days * MINUTES_PER_DAY))


def effective_dose(tracer: str, activity_mbq: float) -> EffectiveDose:
    """Effective dose of an adult from an injected activity.

    Parameters
    ----------
    tracer
        One of ``DOSE_COEFFICIENTS``.
    activity_mbq
        Activity injected, 0 or more.

    Returns
    -------
    EffectiveDose
        A population figure for comparison, not the dose of a person.

    Raises
    ------
    ValueError
        Tracer without a coefficient, activity negative or missing.
    """
    amount = float(numbers(activity_mbq, "activity_mbq", minimum=0.0))
    if tracer not in DOSE_COEFFICIENTS:
        raise ValueError(f"no dose coefficient for {tracer!r}; known: {', '.join(DOSE_COEFFICIENTS)}")
    coefficient, source = DOSE_COEFFICIENTS[tracer]
    return EffectiveDose(amount * coefficient, coefficient, source)


@cache
def _half_lives() -> dict[str, tuple[float, str]]:
    rows = csv.DictReader(read_text("vocabulary", "nuclide.csv").splitlines())
    return {row["nuclide"]: (float(row["half_life_min"]), row["source"]) for row in rows}


def _known(nuclide: str) -> tuple[float, str]:
    try:
        return _half_lives()[nuclide]
    except KeyError:
        raise ValueError(f"no half-life for {nuclide!r}; known: {', '.join(HALF_LIFE_MIN)}") from None


def _decay_constant(nuclide: str) -> float:
    return log(2.0) / _known(nuclide)[0]
