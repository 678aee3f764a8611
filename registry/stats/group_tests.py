"""One proportion over several groups: are they the same, do they drift?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, ndtr

from registry.stats.arguments import FloatArray, events_of_trials, numbers, same_length


@dataclass(frozen=True)
class GroupComparison:
    """Chi-square over groups; None, with a reason, where nothing varies.

    ``tarone_z`` and ``tarone_p`` (one-sided) test for more spread between the groups
    than the binomial allows; None for a trend test.
    """

    chi2: float | None
    df: int
    p: float | None
    tarone_z: float | None = None
    tarone_p: float | None = None
    reason: str = ""


def trend_test(x: ArrayLike, n: ArrayLike, scores: ArrayLike | None = None) -> GroupComparison:
    """Test for a linear trend of a proportion over ordered groups.

    Parameters
    ----------
    x, n
        Events and trials of each group, in order, whole, x <= n, equal length.
    scores
        Position of each group on the axis of the trend; 1, 2, ... where not given.

    Returns
    -------
    GroupComparison
        One degree of freedom. None where all scores or all outcomes are equal.

    Raises
    ------
    ValueError
        Counts out of range, lengths that differ.

    Sources
    -------
    Cochran 1954, Biometrics 10:417-451; Armitage 1955, Biometrics 11:375-386. Variance
    over N, not N - 1.
    """
    events, trials = _groups(x, n)
    position = np.arange(1.0, events.size + 1.0) if scores is None else numbers(scores, "scores")
    same_length(x=events, scores=position)
    total = trials.sum()
    if total == 0:
        return GroupComparison(None, 1, None, reason="no trials")
    p = events.sum() / total
    centred = position - np.sum(trials * position) / total
    variance = p * (1.0 - p) * np.sum(trials * centred**2)
    if variance <= 0.0:
        return GroupComparison(None, 1, None, reason="outcomes or positions do not vary")
    chi2 = float(np.sum(centred * (events - trials * p)) ** 2 / variance)
    return GroupComparison(chi2, 1, float(chdtrc(1, chi2)))


def homogeneity_test(x: ArrayLike, n: ArrayLike) -> GroupComparison:
    """Test that a proportion is the same in all groups, with Tarone's test beside it.

    Parameters
    ----------
    x, n
        As :func:`trend_test`; groups without trials are left out.

    Returns
    -------
    GroupComparison
        Groups minus one degrees of freedom. None with fewer than two groups or where
        all outcomes are equal; the Tarone values are None where every group is one trial.

    Raises
    ------
    ValueError
        As :func:`trend_test`.

    Sources
    -------
    Pearson chi-square; Tarone 1979, Biometrika 66:585-590, from memory.
    """
    events, trials = _groups(x, n)
    events, trials = events[trials > 0], trials[trials > 0]
    df = max(0, trials.size - 1)
    if df == 0:
        return GroupComparison(None, df, None, reason="needs two groups with trials")
    p = events.sum() / trials.sum()
    if p in (0.0, 1.0):
        return GroupComparison(None, df, None, reason="no variation: every trial had the same outcome")
    chi2 = float(np.sum((events - trials * p) ** 2 / (trials * p * (1.0 - p))))
    pairs = 2.0 * float(np.sum(trials * (trials - 1.0)))
    spread = float(np.sum((events - trials * p) ** 2)) / (p * (1.0 - p))
    z = (spread - float(trials.sum())) / np.sqrt(pairs) if pairs else None
    return GroupComparison(
        chi2,
        df,
        float(chdtrc(df, chi2)),
        None if z is None else float(z),
        None if z is None else float(ndtr(-z)),
    )


def _groups(x: ArrayLike, n: ArrayLike) -> tuple[FloatArray, FloatArray]:
    events, trials = events_of_trials(x, n)
    same_length(x=events, n=trials)
    return events, trials
