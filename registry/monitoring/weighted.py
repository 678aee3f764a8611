"""Weighted mean of a quantity: its usual level, its path, and where it leaves its limits.

Days and distances are skewed, and the run lengths of a weighted mean hold for normal
values. So each value is replaced by its normal score among the usual ones, and what is
drawn is brought back to the unit of the quantity.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr, ndtri

from registry.errors import UsageProblem
from registry.monitoring.cumulative import Signal
from registry.monitoring.watched import watch
from registry.stats.ewma import ewma
from registry.stats.monitoring import ewma_arl

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from registry.measures.counting import Reader
    from registry.monitoring.watched import Watched
    from registry.stats.arguments import FloatArray

SMOOTHING, WIDTH = 0.05, 2.615
"""One false signal in 500 (Lucas and Saccucci 1990, Technometrics 32:1-12)."""


@dataclass(frozen=True)
class Weighted:
    """The chart of one quantity.

    ``center`` is the median of the procedures before the watch, ``n`` of them; of the
    watched ones themselves where nothing lies before (``same``). Path and limits are in the
    unit of the quantity: the usual value with that normal score. Run lengths in procedures,
    for a level that stays and for one that moves by one standard deviation of the scores,
    to ``shifted``, which 84 % of the usual values do not reach.
    """

    watched: Watched
    center: float
    shifted: float
    n: int
    same: bool
    smoothing: float
    width: float
    in_control: float
    after_shift: float
    path: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    signals: tuple[Signal, ...]

    @property
    def design(self) -> str:
        """Level, weight and limits in words, by which a note is kept."""
        return f"median {self.center:.5g} of {self.n}, weight {self.smoothing:g}, limits {self.width:g} sd"


def weighted(
    registry: Reader,
    measure_id: str,
    *,
    as_of: date,
    start: date | None = None,
    end: date | None = None,
    watched_from: date | None = None,
    within: Mapping[str, str] | None = None,
    smoothing: float = SMOOTHING,
    width: float = WIDTH,
    minimum: int = 10,
) -> Weighted:
    """Run the weighted mean over the watched procedures.

    Parameters
    ----------
    registry, measure_id, as_of, start, end, watched_from, within
        As :func:`registry.monitoring.watched.watch`.
    smoothing, width
        As :func:`registry.stats.ewma.ewma`.
    minimum
        Fewest values from which a usual level is taken.

    Raises
    ------
    UsageProblem
        As :func:`registry.monitoring.watched.watch`; too few values, all of them equal, or
        nothing to watch.
    """

    seen = watch(
        registry,
        measure_id,
        kind="quantity",
        as_of=as_of,
        start=start,
        end=end,
        watched_from=watched_from,
        within=within,
    )
    same = watched_from is None
    usual = (seen.during if same else seen.before).get_column("value")
    where = "there are" if same else f"before {watched_from} there are"
    if len(usual) < max(minimum, 2) or usual.n_unique() < 2 or not seen.during.height:
        raise UsageProblem(
            f"{measure_id}: {where} {len(usual)} values and {seen.during.height} to watch: too few. "
            "Watch from another day, or choose a longer period."
        )
    known = np.sort(usual.to_numpy())
    own = _scores(known, known)
    run = ewma(
        _scores(seen.during.get_column("value").to_numpy(), known),
        0.0,
        float(own.std(ddof=1)),
        smoothing,
        width,
    )
    keys, days = seen.during.get_column("procedure_id").to_list(), seen.during.get_column("day").to_list()
    made: list[Signal] = []
    last = -1
    for number in run.beyond:
        first, above = number - 1, run.path[number - 1] > 0
        while first > 0 and (run.path[first - 1] > 0) == above:
            first -= 1
        if first == last:
            continue  # not back at the usual level since the signal before
        last = first
        made.append(Signal(keys[number - 1], days[number - 1], days[first], tuple(keys[first:number]), ()))
    path, lower, upper = (
        tuple(map(float, np.quantile(known, ndtr(line)))) for line in (run.path, run.lower, run.upper)
    )
    return Weighted(
        seen,
        float(np.quantile(known, 0.5)),
        float(np.quantile(known, ndtr(1.0))),
        len(usual),
        same,
        smoothing,
        width,
        ewma_arl(smoothing, width, 0.0),
        ewma_arl(smoothing, width, 1.0),
        path,
        lower,
        upper,
        tuple(made),
    )


def _scores(values: FloatArray, known: FloatArray) -> FloatArray:
    """Normal scores of values among sorted usual ones; equal values share the middle of their ranks."""
    below = np.searchsorted(known, values, "left")
    upto = np.searchsorted(known, values, "right")
    # half a place from either end, so that a value beyond all usual ones still has a score
    score: FloatArray = ndtri(((below + upto) / 2.0 + 0.5) / (known.size + 1.0))
    return score
