"""Running sums that signal when a yes/no outcome becomes more frequent."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, inf, log

import numpy as np
from numpy.typing import ArrayLike

from registry.stats.arguments import FloatArray, numbers, same_length, whole_counts
from registry.stats.run_length import Chain, RunLength

GRID = 2000
"""About as many states divide the height of a sum with uneven steps."""

HIGHEST = 1_000_000
"""Downward steps to a limit beyond which no run length is computed."""


@dataclass(frozen=True)
class CusumRun:
    """Value of the sum after each unit, and the units (from 1) at which it signalled.

    After a signal the sum starts again at 0.
    """

    path: FloatArray
    signals: tuple[int, ...]


@dataclass(frozen=True)
class LatticeStep:
    """Whole-numbered steps: up by ``m`` - 1 for an event, down by 1 otherwise.

    ``p1`` is the raised rate for which these steps are the likelihood's own.
    """

    m: int
    p1: float


def bernoulli_cusum(outcomes: ArrayLike, p0: float, p1: float, limit: float) -> CusumRun:
    """Sum of log-likelihood steps for a rate p1 against p0, never below 0.

    Parameters
    ----------
    outcomes
        1 event, 0 none, in order of time; shape (n,).
    p0, p1
        Accepted and raised rate, 0 < p0 < p1 < 1.
    limit
        Height at which the sum signals, above 0, in log-likelihood units.

    Returns
    -------
    CusumRun
        The path keeps the height at a signal; the next step starts from 0.

    Raises
    ------
    ValueError
        Outcomes other than 0 or 1, rates out of order, limit not positive.

    Sources
    -------
    Reynolds and Stoumbos 1999, J Qual Technol 31:87-108. From memory.
    """
    event, none = _steps(p0, p1)
    _positive(limit)
    seen = _yes_no(outcomes)
    return _run(np.where(seen, event, none), limit)


def bernoulli_cusum_arl(p0: float, p1: float, limit: float, p: float) -> float:
    """Mean number of units until :func:`bernoulli_cusum` signals.

    Parameters
    ----------
    p0, p1, limit
        As :func:`bernoulli_cusum`.
    p
        True rate, between 0 and 1 exclusive.

    Returns
    -------
    float
        Average run length from 0.

    Raises
    ------
    ValueError
        As :func:`bernoulli_cusum`; p outside (0, 1).

    Sources
    -------
    Markov chain of Brook and Evans 1972, Biometrika 59:539-549, on cells that the
    downward step fills exactly, the upward one shared between its neighbours; rounding
    to the nearest state is 6 % wrong at p0 = 0.02, p1 = 0.04, limit 3.
    """
    return _uneven_chain(p0, p1, limit, p).mean()


def bernoulli_cusum_run_length(p0: float, p1: float, limit: float, p: float) -> RunLength:
    """Mean and median run length of :func:`bernoulli_cusum`.

    Parameters, Raises, Sources
    ---------------------------
    As :func:`bernoulli_cusum_arl`.

    Returns
    -------
    RunLength
        In control the median is about 0.7 of the mean: half the false signals come
        before it.
    """
    return _uneven_chain(p0, p1, limit, p).run_length()


def lattice_step(p0: float, p1: float) -> LatticeStep:
    """Whole-numbered steps for the raised rate next above p1 that allows them.

    Parameters
    ----------
    p0, p1
        As :func:`bernoulli_cusum`.

    Returns
    -------
    LatticeStep
        With the raised rate for which the steps are exact.

    Raises
    ------
    ValueError
        As :func:`bernoulli_cusum`.

    Sources
    -------
    Reynolds and Stoumbos 1999, J Qual Technol 31:87-108. From memory.
    """
    event, none = _steps(p0, p1)
    m = max(2, floor(1.0 - event / none))
    from scipy.optimize import brentq

    def excess(raised: float) -> float:
        up, down = _steps(p0, raised)
        return 1.0 - up / down - m

    try:
        exact = float(brentq(excess, p0 * (1.0 + 1e-9), 1.0 - 1e-12, xtol=1e-15))
    except ValueError:
        raise ValueError(
            f"no whole step fits a rise from {p0} to {p1}: the accepted rate is too common"
        ) from None
    return LatticeStep(m, exact)


def lattice_cusum(outcomes: ArrayLike, m: int, limit: int) -> CusumRun:
    """Sum of whole steps: m - 1 for an event, -1 otherwise, never below 0.

    Parameters
    ----------
    outcomes
        As :func:`bernoulli_cusum`.
    m
        Step of :func:`lattice_step`, 2 or more.
    limit
        Whole height at which the sum signals, 1 or more.

    Returns, Raises
    ---------------
    As :func:`bernoulli_cusum`.
    """
    _lattice(m, limit)
    return _run(np.where(_yes_no(outcomes), m - 1.0, -1.0), limit)


def lattice_cusum_run_length(m: int, limit: int, p: float) -> RunLength:
    """Exact mean and median run length of :func:`lattice_cusum`.

    Parameters
    ----------
    m, limit
        As :func:`lattice_cusum`.
    p
        True rate, between 0 and 1 exclusive.

    Returns
    -------
    RunLength
        From a sum of 0.

    Raises
    ------
    ValueError
        m below 2, limit below 1, p outside (0, 1).

    Sources
    -------
    Exact linear system of the Markov chain on the whole numbers.
    """
    _lattice(m, limit)
    _inside(p, "p")
    state = np.arange(limit)
    chain = Chain(limit)
    chain.add(state, state + m - 1, p)
    chain.add(state, np.maximum(state - 1, 0), 1.0 - p)
    return chain.run_length()


def risk_adjusted_scores(risks: ArrayLike, outcomes: ArrayLike, odds_ratio: float) -> FloatArray:
    """Log-likelihood steps for odds of the event changed by a ratio, by own risk.

    Parameters
    ----------
    risks
        Predicted probability of each unit under the accepted performance, in (0, 1).
    outcomes
        1 event, 0 none; of the same length.
    odds_ratio
        Change looked for: above 1 worse, below 1 better.

    Returns
    -------
    array
        outcome * log(ratio) - log(1 - risk + ratio * risk).

    Raises
    ------
    ValueError
        Risks outside (0, 1), outcomes other than 0 or 1, ratio not positive or 1.

    Sources
    -------
    Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441-452.
    """
    chances, seen = numbers(risks, "risks"), _yes_no(outcomes)
    same_length(risks=chances, outcomes=seen)
    if ((chances <= 0) | (chances >= 1)).any():
        raise ValueError("risks must lie between 0 and 1, both ends excluded")
    if odds_ratio <= 0 or odds_ratio == 1:
        raise ValueError(f"odds_ratio must be positive and other than 1; got {odds_ratio}")
    steps: FloatArray = seen * log(odds_ratio) - np.log1p(chances * (odds_ratio - 1.0))
    return steps


def _steps(p0: float, p1: float) -> tuple[float, float]:
    _inside(p0, "p0")
    _inside(p1, "p1")
    if p0 >= p1:
        raise ValueError(f"p1 must be above p0; got {p0} and {p1}")
    return log(p1 / p0), log((1.0 - p1) / (1.0 - p0))


def _inside(p: float, name: str) -> None:
    if not 0.0 < p < 1.0:
        raise ValueError(f"{name} must lie between 0 and 1, both ends excluded; got {p}")


def _positive(limit: float) -> None:
    if not 0.0 < limit < inf:
        raise ValueError(f"limit must be a number above 0; got {limit}")


def _lattice(m: int, limit: int) -> None:
    if m != int(m) or m < 2:
        raise ValueError(f"m must be a whole number of 2 or more; got {m}")
    if limit != int(limit) or limit < 1:
        raise ValueError(f"limit must be a whole number of 1 or more; got {limit}")


def _yes_no(outcomes: ArrayLike) -> FloatArray:
    seen = whole_counts(outcomes, "outcomes")
    same_length(outcomes=seen)
    if (seen > 1).any():
        raise ValueError(f"outcomes must be 0 or 1; got {seen[seen > 1].flat[0]:g}")
    return seen


def _run(steps: FloatArray, limit: float) -> CusumRun:
    path, signals, height = np.empty(steps.size), [], 0.0
    for unit, step in enumerate(steps):
        height = max(0.0, height + float(step))
        path[unit] = height
        if height >= limit:
            signals.append(unit + 1)
            height = 0.0
    return CusumRun(path, tuple(signals))


def _uneven_chain(p0: float, p1: float, limit: float, p: float) -> Chain:
    event, none = _steps(p0, p1)
    _positive(limit)
    _inside(p, "p")
    # a whole number of cells per downward step: only the rare upward step is shared out
    cells = max(1, round(-none * GRID / limit))
    height = limit / -none * cells
    if height > HIGHEST:
        raise ValueError(f"limit is out of reach for these rates; got {limit}")
    size = max(1, ceil(height - 1e-9))
    state = np.arange(size)
    chain = Chain(size)
    chain.add(state, np.maximum(state - cells, 0), 1.0 - p)
    target = state + event / -none * cells
    below = np.floor(target + 1e-9)
    share = np.maximum(target - below, 0.0)
    inside = target < height - 1e-9
    chain.add(state[inside], below[inside].astype(np.int64), p * (1.0 - share[inside]))
    chain.add(state[inside], np.minimum(below[inside].astype(np.int64) + 1, size - 1), p * share[inside])
    return chain
