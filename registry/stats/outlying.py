"""Whether one unit among several has another rate than the others, and how often chance alone says so."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from registry.stats.arguments import FloatArray, events_of_trials, same_length

SMALL_SHARE = 0.1
"""A unit with a smaller share of all trials may stay in the rate it is compared with."""


@dataclass(frozen=True)
class AgainstOthers:
    """Each unit against all the others together, arrays along the units.

    ``rate`` is what the unit is compared with, ``expected`` the events it would have at
    that rate, ``p`` the two-sided exact probability. NaN where there are no trials, or no
    others.
    """

    rate: FloatArray
    expected: FloatArray
    p: FloatArray


def against_others(x: ArrayLike, n: ArrayLike) -> AgainstOthers:
    """Compare each unit with all the others together.

    Parameters
    ----------
    x, n
        Events and trials of each unit, whole, 0 <= x <= n, shape (k,).

    Returns
    -------
    AgainstOthers
        The rate is that of all units where the unit holds less than a tenth of the trials,
        else that of the others alone, so that a large unit is not compared with itself.

    Raises
    ------
    ValueError
        Counts out of range, lengths that differ.

    Sources
    -------
    Fisher's exact test, two-sided by the sum of all tables no more probable; it counts the
    uncertainty of the others as well, which a binomial test against their rate would not.
    """
    from scipy.stats import fisher_exact

    events, trials = events_of_trials(x, n)
    count = same_length(x=events, n=trials)
    total, of = float(events.sum()), float(trials.sum())
    rate, p = np.full(count, np.nan), np.full(count, np.nan)
    for i in range(count):
        others, rest = of - trials[i], total - events[i]
        if not trials[i] or not others:
            continue
        rate[i] = total / of if trials[i] < SMALL_SHARE * of else rest / others
        table = [[events[i], trials[i] - events[i]], [rest, others - rest]]
        p[i] = float(fisher_exact(np.array(table, dtype=np.int64)).pvalue)
    return AgainstOthers(rate, rate * trials, p)


def chance_of_any(units: int, level: float) -> float:
    """Probability that at least one of several units lies outside its limits by chance alone.

    Parameters
    ----------
    units
        How many units are looked at, 0 or more.
    level
        Probability that one unit lies inside, such as 0.95.

    Raises
    ------
    ValueError
        A negative number of units, or a level outside (0, 1).

    Sources
    -------
    Independent units with one and the same true rate: 1 - level ** units.
    """
    if units < 0:
        raise ValueError(f"units must be 0 or more; got {units}")
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, both ends excluded; got {level}")
    return 1.0 - level**units


def smaller_tail(x: ArrayLike, n: ArrayLike, rate: float) -> FloatArray:
    """Chance of a count so far out or further on its own side, by the binomial distribution.

    Interpolated limits are made for drawing: a count at the next whole number beyond one may
    itself be quite likely, such as 24 of 24 at a rate of 96 %. Whether a count lies outside is
    judged by this chance instead.

    Parameters
    ----------
    x, n
        Events and trials, whole, shape (k,) or one number.
    rate
        Rate around which the limits lie, between 0 and 1 exclusive.

    Returns
    -------
    array
        The smaller of P(R <= x) and P(R >= x); 1 without trials.

    Raises
    ------
    ValueError
        Counts out of range, rate outside (0, 1).
    """
    events, trials = events_of_trials(x, n)
    if not 0.0 < rate < 1.0:
        raise ValueError(f"rate must lie between 0 and 1, both ends excluded; got {rate:g}")
    from scipy.stats import binom

    tails: FloatArray = np.minimum(binom.cdf(events, trials, rate), binom.sf(events - 1, trials, rate))
    return tails
