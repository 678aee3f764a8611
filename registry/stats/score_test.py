"""Test of two independent proportions that agrees with the Miettinen-Nurminen intervals."""

from __future__ import annotations

from scipy.special import chdtrc

from registry.stats.arguments import events_of_trials


def score_test(x1: int, n1: int, x2: int, n2: int) -> float | None:
    """P value of no difference: Pearson's chi-square times (N - 1) / N.

    Below 0.05 exactly where the 95 % Miettinen-Nurminen intervals leave out a difference
    of 0 and a ratio of 1.

    Parameters
    ----------
    x1, n1, x2, n2
        Events and trials of the two groups, whole, 0 <= x <= n.

    Returns
    -------
    float or None
        Two-sided; None where a group has no trials or all outcomes are equal.

    Raises
    ------
    ValueError
        Counts out of range.

    Sources
    -------
    Miettinen and Nurminen 1985, Stat Med 4:213-226; recommended for two by two tables by
    Campbell 2007, Stat Med 26:3661-3675, from memory.
    """
    events, trials = events_of_trials([x1, x2], [n1, n2])
    total = float(trials.sum())
    if (trials == 0).any() or events.sum() in (0.0, total):
        return None
    share = float(events.sum()) / total
    spread = share * (1.0 - share) * float((1.0 / trials).sum())
    difference = float(events[0] / trials[0] - events[1] / trials[1])
    return float(chdtrc(1, difference**2 / spread * (total - 1.0) / total))
