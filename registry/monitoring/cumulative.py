"""A running sum that signals when events come faster than accepted: its design, path and signals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.errors import UsageProblem
from registry.monitoring.watched import watch
from registry.stats.cusum_limit import lowest_limit
from registry.stats.monitoring import (
    LatticeStep,
    RunLength,
    lattice_cusum,
    lattice_cusum_run_length,
    lattice_step,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    import polars as pl

    from registry.measures.counting import Reader
    from registry.monitoring.watched import Watched
    from registry.stats.arguments import FloatArray

YEARS = 5.0
"""False signals are made this rare, in years at the watched pace, where no limit is given (local default)."""

FEWEST = 50
"""... but not more frequent than one in so many procedures."""


@dataclass(frozen=True)
class Accepted:
    """The rate that is accepted and where it comes from.

    ``x`` of ``n`` procedures, from ``start`` to ``end``, where it was observed; None where
    it was given. ``same`` says that the watched procedures themselves gave it.
    """

    rate: float
    x: int | None = None
    n: int | None = None
    start: date | None = None
    end: date | None = None
    same: bool = False


@dataclass(frozen=True)
class Signal:
    """One signal: at which procedure, and what lies behind it.

    ``procedures`` are those since the sum last stood at 0, in order of time, ``events`` the
    keys of those with the event.
    """

    procedure_id: str
    on: date
    since: date
    procedures: tuple[str, ...]
    events: tuple[str, ...]


@dataclass(frozen=True)
class Cumulative:
    """The chart of one measure.

    ``raised`` is the rate that is looked for; ``step`` adds m - 1 for an event and takes
    off 1 otherwise; the sum signals at ``limit``. ``in_control`` and ``after_rise`` are run
    lengths in procedures at the accepted and at the raised rate.
    """

    watched: Watched
    accepted: Accepted
    factor: float
    step: LatticeStep
    limit: int
    in_control: RunLength
    after_rise: RunLength
    path: tuple[float, ...]
    signals: tuple[Signal, ...]

    @property
    def raised(self) -> float:
        """The rate that is looked for."""
        return self.accepted.rate * self.factor

    @property
    def design(self) -> str:
        """Accepted rate, rise and limit in words, by which a note is kept."""
        return f"accepted {self.accepted.rate:.5g}, rise {self.factor:g} times, limit {self.limit}"


def cumulative(
    registry: Reader,
    measure_id: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    watched_from: date | None = None,
    within: Mapping[str, str] | None = None,
    accepted: float | None = None,
    factor: float = 2.0,
    limit: int | None = None,
    years: float = YEARS,
    minimum: int = 10,
) -> Cumulative:
    """Run the sum over the watched procedures.

    Parameters
    ----------
    registry, measure_id, as_of, start, end, watched_from, within
        As :func:`registry.monitoring.watched.watch`.
    accepted
        Accepted rate, a proportion; where not given, that of the procedures before the watch
        (of the watched ones themselves where there is nothing before).
    factor
        Rise looked for, above 1.
    limit
        Whole height at which the sum signals; where not given, the lowest one that makes
        false signals rarer than one in ``years``.
    minimum
        Fewest procedures from which a rate is taken.

    Raises
    ------
    UsageProblem
        As :func:`registry.monitoring.watched.watch`; no rate to accept, numbers out of
        range, or nothing to watch.
    """
    seen = watch(
        registry,
        measure_id,
        kind="proportion",
        as_of=as_of,
        start=start,
        end=end,
        watched_from=watched_from,
        within=within,
    )
    usual = accepted_rate(seen, accepted, minimum)
    _check(seen, usual, factor, limit, years)
    try:
        step = lattice_step(usual.rate, usual.rate * factor)
        if limit is None:
            wanted = max(FEWEST, years * (seen.per_year or 0.0))
            limit = lowest_limit(step.m, usual.rate, wanted)
    except ValueError as problem:
        raise UsageProblem(f"{measure_id}: {problem}. Choose another accepted rate or rise.") from None
    run = lattice_cusum(seen.during.get_column("event").to_numpy(), step.m, limit)
    return Cumulative(
        seen,
        usual,
        factor,
        step,
        limit,
        lattice_cusum_run_length(step.m, limit, usual.rate),
        lattice_cusum_run_length(step.m, limit, usual.rate * factor),
        tuple(float(one) for one in run.path),
        signals_of(seen.during, run.path, run.signals),
    )


def accepted_rate(seen: Watched, given: float | None, minimum: int) -> Accepted:
    """The rate given, or the one observed before the watch.

    Raises
    ------
    UsageProblem
        There is none.
    """
    if given is not None:
        if not 0.0 < given < 1.0:
            raise UsageProblem(f"Accepted rate {given:g} does not lie between 0 and 1. Write 2 % as 0.02.")
        return Accepted(given)
    same = seen.watched_from is None
    rows = seen.during if same else seen.before
    x, n = int(rows.get_column("event").sum()), rows.height
    where = "are there" if same else f"lie before {seen.watched_from}"
    if n < minimum or x in (0, n):
        raise UsageProblem(
            f"{seen.measure.id}: {n} procedures {where}, {x} with the event: too few to take an accepted rate from. "
            "Give the accepted rate (2 % is 0.02), or watch from a later day."
        )
    days = rows.get_column("day")
    return Accepted(x / n, x, n, days[0], days[-1], same)


def _check(seen: Watched, usual: Accepted, factor: float, limit: int | None, years: float) -> None:
    if not seen.during.height:
        raise UsageProblem(
            f"{seen.measure.id}: no procedure to watch. Watch from an earlier day, or choose a longer period."
        )
    if not factor > 1.0:
        raise UsageProblem(f"Rise {factor:g} is no rise. Write a doubling as 2.")
    if usual.rate * factor >= 1.0:
        raise UsageProblem(
            f"{100 * usual.rate:.3g} % times {factor:g} is 100 % or more. Choose a smaller rise."
        )
    if limit is not None and limit < 1:
        raise UsageProblem(f"Limit {limit} is no height. Write a whole number of 1 or more.")
    if not years > 0:
        raise UsageProblem(f"Years {years:g} is no time between false signals. Write a number above 0.")


def signals_of(rows: pl.DataFrame, path: FloatArray, at: Sequence[int]) -> tuple[Signal, ...]:
    """What lies behind each signal of a sum: the procedures since it last stood at 0.

    Parameters
    ----------
    rows
        Watched procedures with ``event``.
    path
        Height after each of them; the one after a signal started from 0.
    at
        Numbers (from 1) of the procedures at which it signalled.
    """
    keys, days = rows.get_column("procedure_id").to_list(), rows.get_column("day").to_list()
    events = rows.get_column("event").to_list()
    made, after = [], 0
    for number in at:
        first = number - 1
        while first > after and path[first - 1] > 0:
            first -= 1
        behind = range(first, number)
        made.append(
            Signal(
                keys[number - 1],
                days[number - 1],
                days[first],
                tuple(keys[one] for one in behind),
                tuple(keys[one] for one in behind if events[one]),
            )
        )
        after = number
    return tuple(made)
