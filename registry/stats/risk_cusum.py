"""Running sum adjusted for each unit's own risk: its path, and how long it runs until it signals."""

from __future__ import annotations

from math import ceil, log

import numpy as np
from numpy.typing import ArrayLike

from registry.stats.arguments import numbers
from registry.stats.cusum import CusumRun, risk_adjusted_scores
from registry.stats.run_length import Chain

CELLS = 400
"""States into which the height is divided; each step is shared between its neighbours."""

GROUPS = 40
"""The risks are taken together in so many groups of equal size, each with its mean."""


def risk_adjusted_cusum(risks: ArrayLike, outcomes: ArrayLike, odds_ratio: float, limit: float) -> CusumRun:
    """Sum of risk-adjusted steps, never below 0, that starts again at 0 after a signal.

    Parameters
    ----------
    risks, outcomes, odds_ratio
        As :func:`registry.stats.cusum.risk_adjusted_scores`, in order of time.
    limit
        Height at which the sum signals, above 0, in log-likelihood units.

    Raises
    ------
    ValueError
        As :func:`registry.stats.cusum.risk_adjusted_scores`; limit not positive.

    Sources
    -------
    Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441-452.
    """
    if not limit > 0:
        raise ValueError(f"limit must be above 0; got {limit}")
    steps = risk_adjusted_scores(risks, outcomes, odds_ratio)
    path, signals, height = np.empty(steps.size), [], 0.0
    for unit, step in enumerate(steps):
        height = max(0.0, height + float(step))
        path[unit] = height
        if height >= limit:
            signals.append(unit + 1)
            height = 0.0
    return CusumRun(path, tuple(signals))


def risk_adjusted_arl(risks: ArrayLike, odds_ratio: float, limit: float, true_ratio: float = 1.0) -> float:
    """Mean number of units until :func:`risk_adjusted_cusum` signals, for units with risks like these.

    Parameters
    ----------
    risks
        Risks under the accepted performance, in (0, 1), shape (n,); the next unit is
        drawn from them.
    odds_ratio, limit
        As :func:`risk_adjusted_cusum`; odds_ratio above 1.
    true_ratio
        Odds of the event over the accepted odds, above 0.

    Returns
    -------
    float
        Average run length from 0; the risks are taken as known.

    Raises
    ------
    ValueError
        No risks or risks outside (0, 1), ratios out of range, limit not positive.

    Sources
    -------
    Markov chain of Brook and Evans 1972, Biometrika 59:539-549, each step shared between
    the two neighbouring states.
    """
    chances = np.sort(numbers(risks, "risks").ravel())
    if chances.size == 0 or chances[0] <= 0 or chances[-1] >= 1:
        raise ValueError("risks must be given and lie between 0 and 1, both ends excluded")
    if odds_ratio <= 1 or true_ratio <= 0 or not limit > 0:
        raise ValueError("odds_ratio must be above 1, true_ratio and limit above 0")
    groups = np.array_split(chances, min(GROUPS, chances.size))
    cell = limit / CELLS
    size = ceil(limit / cell - 1e-9)
    state = np.arange(size)
    chain = Chain(size)
    for group in groups:
        risk, share = float(group.mean()), group.size / chances.size
        down = -log(1.0 - risk + odds_ratio * risk)
        true = true_ratio * risk / (1.0 - risk + true_ratio * risk)
        for step, chance in ((log(odds_ratio) + down, true), (down, 1.0 - true)):
            target = np.maximum(state + step / cell, 0.0)
            below = np.floor(target + 1e-9)
            upper = np.maximum(target - below, 0.0)
            inside = target < size - 1e-9
            place = below[inside].astype(np.int64)
            chain.add(state[inside], place, share * chance * (1.0 - upper[inside]))
            chain.add(state[inside], np.minimum(place + 1, size - 1), share * chance * upper[inside])
    return chain.mean()
