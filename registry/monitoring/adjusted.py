"""The running sum adjusted for what was known before each biopsy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.errors import UsageProblem
from registry.monitoring.cumulative import FEWEST, YEARS, signals_of
from registry.monitoring.model import against_expected, fifths, fit, with_predictors
from registry.monitoring.watched import watch
from registry.stats.risk_cusum import risk_adjusted_arl, risk_adjusted_cusum

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from registry.measures.counting import Reader
    from registry.monitoring.cumulative import Signal
    from registry.monitoring.model import Fifth, RiskModel
    from registry.monitoring.watched import Watched
    from registry.stats.arguments import FloatArray
    from registry.stats.rates import ObservedExpected

TENTHS = 10.0


@dataclass(frozen=True)
class Adjusted:
    """The adjusted chart of one measure.

    ``odds_ratio`` is the change looked for; run lengths in procedures with risks like the
    watched ones, the model taken as known. ``watched_fifths`` and ``ratio`` set what was
    seen while watching beside what the model expects.
    """

    watched: Watched
    model: RiskModel
    odds_ratio: float
    limit: float
    in_control: float
    after_rise: float
    path: tuple[float, ...]
    signals: tuple[Signal, ...]
    watched_fifths: tuple[Fifth, ...]
    ratio: ObservedExpected

    @property
    def design(self) -> str:
        """Model, change and limit in words, by which a note is kept."""
        fitted = self.model
        return (
            f"model of {fitted.n} procedures {fitted.start} to {fitted.end}, odds ratio {self.odds_ratio:g}, "
            f"limit {self.limit:g}"
        )


def adjusted(
    registry: Reader,
    measure_id: str,
    *,
    as_of: date,
    watched_from: date,
    start: date | None = None,
    end: date | None = None,
    within: Mapping[str, str] | None = None,
    odds_ratio: float = 2.0,
    limit: float | None = None,
    years: float = YEARS,
    minimum: int = 10,
    model: RiskModel | None = None,
) -> Adjusted:
    """Fit the model before the watch, and run the adjusted sum over the watched procedures.

    The model is fitted on all procedures before the watch, also where only those of one
    stratum are watched: what is accepted is the service's own performance.

    Parameters
    ----------
    registry, measure_id, as_of, watched_from, start, end, within
        As :func:`registry.monitoring.watched.watch`.
    odds_ratio
        Change looked for, above 1.
    limit
        Height at which the sum signals; where not given, the lowest in tenths that makes
        false signals rarer than one in ``years``.
    minimum
        A code with fewer procedures is put together with the other rare ones.
    model
        A model to keep, such as that of an earlier watch or a published one; where not
        given it is fitted.

    Raises
    ------
    UsageProblem
        As :func:`registry.monitoring.watched.watch`; too few events for a model.
    """
    if not odds_ratio > 1.0:
        raise UsageProblem(f"Odds ratio {odds_ratio:g} is no rise. Write a doubling of the odds as 2.")

    def seen_within(kept: Mapping[str, str] | None) -> Watched:
        return watch(
            registry,
            measure_id,
            kind="proportion",
            as_of=as_of,
            start=start,
            end=end,
            watched_from=watched_from,
            within=kept,
        )

    seen = seen_within(within)
    if not seen.during.height:
        raise UsageProblem(f"{measure_id}: no procedure to watch. Watch from an earlier day.")
    if model is None:
        before = (seen_within(None) if within else seen).before
        model = fit(with_predictors(registry, before, as_of), minimum)
    rows = with_predictors(registry, seen.during, as_of)
    risks, outcome = model.risks(rows), rows.get_column("event").to_numpy()
    if limit is None:
        limit = _lowest(risks, odds_ratio, max(FEWEST, years * (seen.per_year or 0.0)))
    elif not limit > 0:
        raise UsageProblem(f"Limit {limit:g} is no height. Write a number above 0.")
    run = risk_adjusted_cusum(risks, outcome, odds_ratio, limit)
    return Adjusted(
        seen,
        model,
        odds_ratio,
        limit,
        risk_adjusted_arl(risks, odds_ratio, limit),
        risk_adjusted_arl(risks, odds_ratio, limit, odds_ratio),
        tuple(map(float, run.path)),
        signals_of(seen.during, run.path, run.signals),
        fifths(risks, outcome),
        against_expected(risks, outcome),
    )


def _lowest(risks: FloatArray, odds_ratio: float, wanted: float) -> float:
    """The lowest limit in tenths whose mean run length is long enough; run lengths grow with it."""
    low, high = 0, 10
    while risk_adjusted_arl(risks, odds_ratio, high / TENTHS) < wanted and high < 200:
        high *= 2
    while high - low > 1:
        middle = (low + high) // 2
        short = risk_adjusted_arl(risks, odds_ratio, middle / TENTHS) < wanted
        low, high = (middle, high) if short else (low, middle)
    return high / TENTHS
