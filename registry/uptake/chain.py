"""Is the imaging and targeting chain as it was? Leak tests due, phantom errors, clocks.

No published tolerance was found that could be a default: each is a local one of
``site.toml``, and where none is stated nothing is judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from math import exp, hypot, log
from typing import TYPE_CHECKING

import numpy as np

from registry.people import Action, require
from registry.stats.trend import Slope, median_slope
from registry.stats.vectors import hotelling_test
from registry.tracer import HALF_LIFE_MIN
from registry.uptake.asking import ask
from registry.uptake.constancy import DISPOSED, sources

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from registry.measures.counting import Reader

LEAK_DAYS, COUNTS_SHARE, PHANTOM_MM, CLOCK_S = TOLERANCES = (
    "leak_test_days",
    "counts_tolerance",
    "phantom_tolerance_mm",
    "clock_tolerance_s",
)
"""Settings of ``[constancy]`` in site.toml; none has a default."""

NO_TOLERANCE = "no local tolerance"
OVERDUE, DUE, NOT_DUE, NO_INTERVAL = "overdue", "due today", "not due", "no local interval"
_DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class LeakTest:
    """Leak test of one source that is not disposed of.

    ``due_on`` is the last test, or the reference day where none is recorded, and the local
    interval after it; None where the service states no interval. ``days`` are those left,
    negative when overdue.
    """

    source_id: str
    site: str
    nuclide: str
    tested_on: date | None
    due_on: date | None
    days: int | None
    standing: str


@dataclass(frozen=True)
class PhantomCheck:
    """One phantom: error vector and its length, mm; ``outside`` None where no tolerance is stated."""

    check_id: str
    site: str
    scanner: str
    done_on: date
    error_mm: tuple[float, float, float]
    length_mm: float
    outside: bool | None


@dataclass(frozen=True)
class PhantomTrend:
    """One scanner: slope of the length of the error, mm a year, and the mean error.

    ``mean_mm`` is along x, y, z; ``p`` tests whether it is nothing (Hotelling), None for too few.
    """

    site: str
    scanner: str
    checks: int
    outside: int | None
    slope: Slope
    mean_mm: tuple[float, float, float]
    p: float | None


@dataclass(frozen=True)
class ClockCheck:
    """One comparison of clocks; ``shift`` is what the offset does to an F-18 activity corrected for decay."""

    check_id: str
    site: str
    scanner: str
    done_on: date
    offset_s: float
    shift: float
    outside: bool | None


def tolerance(registry: Reader, name: str) -> float | None:
    """A local tolerance; None where the service states none."""
    return registry.site.numbers.get(name)


def leak_tests(registry: Reader, *, on: date) -> list[LeakTest]:
    """Leak tests of the sources in use or stored, those due first.

    Parameters
    ----------
    registry
        An open registry.
    on
        Day for which it is asked.
    """
    require(Action.FIGURES, registry)
    interval = tolerance(registry, LEAK_DAYS)
    made = []
    for one in sources(registry, on=on):
        if one.state == DISPOSED:
            continue
        tested = one.leak_test_on if one.leak_test_on and one.leak_test_on <= on else None
        due = None if interval is None else (tested or one.reference_on) + timedelta(days=interval)
        days = None if due is None else (due - on).days
        standing = NO_INTERVAL if days is None else OVERDUE if days < 0 else NOT_DUE if days else DUE
        made.append(LeakTest(one.source_id, one.site, one.nuclide, tested, due, days, standing))
    return sorted(made, key=lambda one: (one.days is None, one.days or 0, one.site, one.source_id))


def phantom_checks(registry: Reader, *, as_of: date) -> list[PhantomCheck]:
    """Errors on the phantom, by site, scanner and day.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Checks after this day do not count.
    """
    require(Action.FIGURES, registry)
    limit = tolerance(registry, PHANTOM_MM)
    made = []
    for row in ask(registry, "phantom", as_of=as_of).to_dicts():
        error = (row["error_x_mm"], row["error_y_mm"], row["error_z_mm"])
        length = hypot(*error)
        made.append(
            PhantomCheck(
                row["check_id"],
                row["site"],
                row["scanner"],
                row["done_on"],
                error,
                length,
                None if limit is None else length > limit,
            )
        )
    return made


def phantom_trends(found: Sequence[PhantomCheck], confidence: float = 0.95) -> list[PhantomTrend]:
    """Trend and mean of the errors of each scanner, in the order of the checks."""
    groups: dict[tuple[str, str], list[PhantomCheck]] = {}
    for one in found:
        groups.setdefault((one.site, one.scanner), []).append(one)
    made = []
    for (site, scanner), checks in groups.items():
        errors = np.array([one.error_mm for one in checks])
        years = [one.done_on.toordinal() / _DAYS_A_YEAR for one in checks]
        test = hotelling_test(errors) if len(checks) > errors.shape[1] else None
        x, y, z = errors.mean(axis=0).tolist()
        made.append(
            PhantomTrend(
                site,
                scanner,
                len(checks),
                None if checks[0].outside is None else sum(bool(one.outside) for one in checks),
                median_slope(years, [one.length_mm for one in checks], confidence),
                (x, y, z),
                None if test is None else test.p,
            )
        )
    return made


def clock_checks(registry: Reader, *, as_of: date) -> list[ClockCheck]:
    """Scanner clocks against the reference clock, by site, scanner and day.

    Parameters
    ----------
    registry
        An open registry.
    as_of
        Checks after this day do not count.

    Returns
    -------
    list
        ``shift`` is the relative change of an F-18 activity that is corrected with a time
        wrong by the offset: exp(ln 2 x offset / half-life) - 1.
    """
    require(Action.FIGURES, registry)
    limit = tolerance(registry, CLOCK_S)
    rate = log(2.0) / (60.0 * HALF_LIFE_MIN["F-18"])
    return [
        ClockCheck(
            row["check_id"],
            row["site"],
            row["scanner"],
            row["done_on"],
            row["offset_s"],
            exp(rate * row["offset_s"]) - 1.0,
            None if limit is None else abs(row["offset_s"]) > limit,
        )
        for row in ask(registry, "clocks", as_of=as_of).to_dicts()
    ]
