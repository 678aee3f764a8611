"""Time to an event that not everybody was followed long enough to show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from registry.stats.arguments import (
    FloatArray,
    confidence_level,
    normal_quantile,
    numbers,
    same_length,
    whole_counts,
)
from registry.stats.interval_censoring import IntervalCensored, turnbull
from registry.stats.proportions import upper_bound_no_events

__all__ = [
    "Incidence",
    "IntervalCensored",
    "LogrankTest",
    "Survival",
    "cumulative_incidence",
    "kaplan_meier",
    "logrank",
    "turnbull",
]

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Survival:
    """Kaplan-Meier estimate at chosen times.

    All arrays run along ``at``. ``lower`` and ``upper`` are NaN where S is 1 or 0:
    there the log(-log) limits do not exist, and ``no_event_bound`` gives the one-sided
    upper bound of the event probability instead (NaN elsewhere). ``at_risk`` counts
    units with time >= at; ``beyond`` marks times after the last unit was seen, where
    the curve is only carried on.
    """

    at: FloatArray
    S: FloatArray
    se: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: IntArray
    no_event_bound: FloatArray
    beyond: BoolArray
    n: int
    events: int


@dataclass(frozen=True)
class Incidence:
    """Cumulative incidence of one cause beside the others, at chosen times.

    Arrays as in :class:`Survival`, limits NaN where the incidence is 0 or 1.
    ``events`` counts the cause asked for, ``competing`` all others.
    """

    at: FloatArray
    incidence: FloatArray
    se: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: IntArray
    no_event_bound: FloatArray
    beyond: BoolArray
    n: int
    events: int
    competing: int


@dataclass(frozen=True)
class LogrankTest:
    """Comparison of survival between groups."""

    chi2: float | None
    df: int
    p: float | None
    reason: str = ""


def kaplan_meier(time: ArrayLike, event: ArrayLike, at: ArrayLike, confidence: float = 0.95) -> Survival:
    """Probability of no event up to each time, with log(-log) limits.

    Only for an outcome without competing events; with them use
    :func:`cumulative_incidence`, since one minus this estimate is then too high.

    Parameters
    ----------
    time
        Time to the event or to the last look, 0 or more, any one unit; shape (n,).
    event
        1 where the event was seen at that time, 0 where it was not.
    at
        Times at which the estimate is wanted, 0 or more.
    confidence
        Two-sided confidence of the limits at each time taken alone.

    Returns
    -------
    Survival
        An event and a last look at the same time count the event first. Without
        units every estimate is NaN.

    Raises
    ------
    ValueError
        Unequal lengths, negative or missing times, event other than 0 or 1.

    Sources
    -------
    Kaplan and Meier 1958, J Am Stat Assoc 53:457-481; Greenwood variance; log(-log)
    limits of Kalbfleisch and Prentice 1980. From memory.
    """
    seen = whole_counts(event, "event")
    if (seen > 1).any():
        raise ValueError(f"event must be 0 or 1; got {seen[seen > 1].flat[0]:g}")
    table = _event_table(time, seen, at)
    left, died = table.at_risk, table.any_event
    steps = np.cumprod(1.0 - died / left)
    survival = table.read(steps, before=1.0)
    # where everybody left has the event the curve is 0 and so is the product
    hazard_variance = np.cumsum(died / (left * np.maximum(left - died, 1.0)))
    se = survival * np.sqrt(table.read(hazard_variance, before=0.0))
    lower, upper = _log_minus_log(survival, se, confidence)
    return Survival(
        at=table.at,
        S=survival,
        se=se,
        lower=lower,
        upper=upper,
        at_risk=table.at_risk_then,
        no_event_bound=_bound_without_events(survival == 1.0, table.at_risk_then, confidence),
        beyond=table.beyond,
        n=table.n,
        events=int(died.sum()),
    )


def cumulative_incidence(
    time: ArrayLike, status: ArrayLike, at: ArrayLike, confidence: float = 0.95, cause: int = 1
) -> Incidence:
    """Probability that one cause has come first by each time (Aalen-Johansen).

    Parameters
    ----------
    time
        Time to the first event or to the last look, 0 or more, any one unit; shape (n,).
    status
        0 not seen to have any event; 1, 2, ... the cause of the first event.
    at
        Times at which the estimate is wanted, 0 or more.
    confidence
        Two-sided confidence of the limits at each time taken alone.
    cause
        Status value whose incidence is estimated.

    Returns
    -------
    Incidence
        An event and a last look at the same time count the event first. Without
        units every estimate is NaN. Limits are F^exp(+-z se / (F log F)).

    Raises
    ------
    ValueError
        Unequal lengths, negative or missing times, status or cause not a whole number.

    Sources
    -------
    Aalen and Johansen 1978, Scand J Stat 5:141-150; delta-method variance and log(-log)
    limits of Marubini and Valsecchi 1995. From memory; the variance is the one of two
    widely used programs, and differs slightly from Gray's.
    """
    if cause < 1:
        raise ValueError(f"cause must be 1 or more; got {cause}")
    reasons = whole_counts(status, "status")
    table = _event_table(time, reasons, at, cause)
    left, died, mine = table.at_risk, table.any_event, table.cause_event
    before = np.concatenate([[1.0], np.cumprod(1.0 - died / left)])[:-1]
    steps = np.cumsum(before * mine / left)
    incidence = table.read(steps, before=0.0)
    se = np.sqrt(np.maximum(_incidence_variance(table, before, steps, incidence), 0.0))
    lower, upper = _log_minus_log(incidence, se, confidence)
    return Incidence(
        at=table.at,
        incidence=incidence,
        se=se,
        lower=lower,
        upper=upper,
        at_risk=table.at_risk_then,
        no_event_bound=_bound_without_events(incidence == 0.0, table.at_risk_then, confidence),
        beyond=table.beyond,
        n=table.n,
        events=int(mine.sum()),
        competing=int(died.sum() - mine.sum()),
    )


def logrank(time: ArrayLike, event: ArrayLike, group: ArrayLike) -> LogrankTest:
    """Test that survival is the same in all groups.

    Parameters
    ----------
    time, event
        As :func:`kaplan_meier`.
    group
        Label of the group of each unit.

    Returns
    -------
    LogrankTest
        None, with a reason, for fewer than two groups or no event.

    Raises
    ------
    ValueError
        As :func:`kaplan_meier`.

    Sources
    -------
    Mantel 1966, Cancer Chemother Rep 50:163-170. From memory.
    """
    times = numbers(time, "time", minimum=0.0)
    seen = whole_counts(event, "event")
    if (seen > 1).any():
        raise ValueError(f"event must be 0 or 1; got {seen[seen > 1].flat[0]:g}")
    labels = np.asarray(group)
    same_length(time=times, event=seen, group=labels)
    df = max(0, np.unique(labels).size - 1)
    if df == 0:
        return LogrankTest(None, df, None, "needs two groups")
    if not seen.any():
        return LogrankTest(None, df, None, "no event in any group")
    groups, own = np.unique(labels, return_inverse=True)
    when = np.unique(times[seen == 1])
    at_risk = np.empty((groups.size, when.size))
    events = np.empty_like(at_risk)
    for place in range(groups.size):
        those = np.sort(times[own == place])
        at_risk[place] = those.size - np.searchsorted(those, when, side="left")
        events[place] = np.bincount(
            np.searchsorted(when, times[(own == place) & (seen == 1)]), minlength=when.size
        )
    everyone, happened = at_risk.sum(axis=0), events.sum(axis=0)
    share = at_risk / everyone
    excess = (events - happened * share).sum(axis=1)[:-1]
    # the last one at risk has no variance of its own: 0 of 0
    spread = happened * (everyone - happened) / np.maximum(everyone - 1.0, 1.0)
    variance = np.diag((spread * share).sum(axis=1)) - (spread * share) @ share.T
    chi2 = float(excess @ np.linalg.pinv(variance[:-1, :-1]) @ excess)
    return LogrankTest(chi2, df, float(chdtrc(df, chi2)))


@dataclass(frozen=True)
class _EventTable:
    """Distinct times with what happened at each, and where the wanted times fall."""

    at: FloatArray
    place: IntArray
    at_risk: FloatArray
    any_event: FloatArray
    cause_event: FloatArray
    at_risk_then: IntArray
    beyond: BoolArray
    n: int

    def read(self, steps: NDArray[np.floating], before: float) -> FloatArray:
        """Value of a right-continuous step function at the wanted times."""
        start = before if self.n else np.nan
        return np.concatenate([[start], steps])[self.place]


def _event_table(time: ArrayLike, status: FloatArray, at: ArrayLike, cause: int = 1) -> _EventTable:
    times = numbers(time, "time", minimum=0.0)
    wanted = np.atleast_1d(numbers(at, "at", minimum=0.0))
    count = same_length(time=times, status=status)
    distinct, place, here = np.unique(times, return_inverse=True, return_counts=True)
    at_risk = (count - np.cumsum(here) + here).astype(np.float64)
    in_order = np.sort(times)
    return _EventTable(
        at=wanted,
        place=np.searchsorted(distinct, wanted, side="right"),
        at_risk=at_risk,
        any_event=np.bincount(place[status > 0], minlength=distinct.size).astype(np.float64),
        cause_event=np.bincount(place[status == cause], minlength=distinct.size).astype(np.float64),
        at_risk_then=count - np.searchsorted(in_order, wanted, side="left"),
        beyond=wanted > (in_order[-1] if count else np.inf),
        n=count,
    )


def _incidence_variance(
    table: _EventTable, before: FloatArray, steps: FloatArray, incidence: FloatArray
) -> FloatArray:
    """Delta-method variance at the wanted times, as running sums over the distinct times."""
    left, died, mine = table.at_risk, table.any_event, table.cause_event
    # where everybody left has an event the curve is flat afterwards and the term is 0
    hazard = np.where(left > died, died / (left * np.maximum(left - died, 1.0)), 0.0)
    own = before * mine / left**2

    def total(values: FloatArray) -> FloatArray:
        return table.read(np.cumsum(values), before=0.0)

    return (
        incidence**2 * total(hazard)
        - 2.0 * incidence * total(steps * hazard)
        + total(steps**2 * hazard)
        + total(before**2 * (left - mine) * mine / left**3)
        - 2.0 * (incidence * total(own) - total(steps * own))
    )


def _log_minus_log(
    probability: FloatArray, se: FloatArray, confidence: float
) -> tuple[FloatArray, FloatArray]:
    """Limits p^exp(+-z se / (p log p)); NaN where p is 0 or 1 and the logarithm fails."""
    z = normal_quantile(confidence)
    usable = (probability > 0.0) & (probability < 1.0)
    p = np.where(usable, probability, 0.5)
    width = np.abs(z * se / (p * np.log(p)))
    lower = np.where(usable, p ** np.exp(width), np.nan)
    upper = np.where(usable, p ** np.exp(-width), np.nan)
    return lower, upper


def _bound_without_events(none_seen: BoolArray, at_risk: IntArray, confidence: float) -> FloatArray:
    bound: FloatArray = upper_bound_no_events(at_risk, confidence_level(confidence))
    return np.where(none_seen, bound, np.nan)
