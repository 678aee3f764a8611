"""Proportions where one patient gives several procedures or lesions.

Two procedures in one patient are not independent. The ratio estimator keeps the
proportion as it is and widens the interval by the design effect.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from registry.stats.arguments import (
    FloatArray,
    confidence_level,
    events_of_trials,
    normal_quantile,
    numbers,
    same_length,
)
from registry.stats.proportions import score_limits

PLANNING_ICC = 0.3
"""Within-patient correlation assumed where the data show none (project default)."""


@dataclass(frozen=True)
class RatioEstimate:
    """Proportion over clusters with its linearised standard error and design effect.

    ``deff`` is None, with a ``reason``, where the data cannot show it; ``n_eff`` is
    ``n`` over the design effect, never more than ``n``.
    """

    p: float | None
    se: float | None
    deff: float | None
    n_eff: float | None
    x: int
    n: int
    clusters: int
    reason: str = ""


@dataclass(frozen=True)
class IntraclassCorrelation:
    """Intraclass correlation by analysis of variance, and the inflation it implies."""

    x: int
    n: int
    icc: float | None
    deff: float | None
    reason: str = ""


@dataclass(frozen=True)
class ClusteredInterval:
    """Interval widened by a design effect; unpacks as (lower, upper).

    ``deff`` is the design effect applied (at least 1); ``deff_from`` says whether the
    data showed it or it was planned; ``reason`` is filled where the limits are None.
    """

    ci: tuple[float | None, float | None]
    p: float | None
    deff: float | None
    n_eff: float | None
    clusters: int
    deff_from: str = ""
    reason: str = ""

    @property
    def lower(self) -> float | None:
        """Lower limit, None where there is none."""
        return self.ci[0]

    @property
    def upper(self) -> float | None:
        """Upper limit, None where there is none."""
        return self.ci[1]

    def __iter__(self) -> Iterator[float | None]:
        return iter(self.ci)


@dataclass(frozen=True)
class GroupTest:
    """Chi-square test over groups of clusters, with the groups' design effects."""

    chi2: float | None
    df: int
    p: float | None
    deff: tuple[float, ...]
    reason: str = ""


def ratio_estimate(y: ArrayLike, n: ArrayLike) -> RatioEstimate:
    """Sum of events over sum of trials, with a variance between clusters.

    Parameters
    ----------
    y, n
        Events and trials of each cluster (patient), whole, equal length, y <= n.
        Clusters without trials are left out.

    Returns
    -------
    RatioEstimate
        All None without trials; ``se`` and ``deff`` None for one cluster; ``deff``
        None at 0 and at all events, where the binomial variance vanishes.

    Raises
    ------
    ValueError
        Counts that are negative, fractional, above trials, or of unequal length.

    Sources
    -------
    Rao and Scott 1992, Biometrics 48:577-585; the same variance as a survey mean with
    clusters as sampling units.
    """
    events, trials = _clusters(y, n)
    m, x, total = events.size, int(events.sum()), int(trials.sum())
    if total == 0:
        return RatioEstimate(None, None, None, None, x, total, m, "no trials")
    p = x / total
    if m == 1:
        return RatioEstimate(
            p, None, None, None, x, total, m, "one cluster shows no variance between clusters"
        )
    variance = m / (m - 1) * float(np.sum((events - trials * p) ** 2)) / total**2
    if x in (0, total):
        return RatioEstimate(
            p, 0.0, None, None, x, total, m, "no variation: every trial had the same outcome"
        )
    deff = variance / (p * (1.0 - p) / total)
    return RatioEstimate(p, float(np.sqrt(variance)), deff, total / max(1.0, deff), x, total, m)


def anova_icc(y: ArrayLike, n: ArrayLike) -> IntraclassCorrelation:
    """Intraclass correlation of a yes/no outcome by the classical analysis of variance.

    Parameters
    ----------
    y, n
        As :func:`ratio_estimate`.

    Returns
    -------
    IntraclassCorrelation
        ``deff`` is 1 + (sum n^2 / sum n - 1) icc. It is another design effect than
        that of :func:`ratio_estimate`, which is the one for intervals. None, with a
        reason, where clusters of one, a single cluster or a constant outcome leave
        nothing to compare. Negative values are possible and are returned as they are.

    Raises
    ------
    ValueError
        As :func:`ratio_estimate`.

    Sources
    -------
    Ridout, Demetrio and Firth 1999, Biometrics 55:137-148 (analysis of variance
    estimator); from memory.
    """
    events, trials = _clusters(y, n)
    m, x, total = events.size, int(events.sum()), int(trials.sum())
    if m < 2 or total == m:
        return IntraclassCorrelation(x, total, None, None, "needs two clusters, one of them with two trials")
    p = x / total
    within = float(np.sum(events * (trials - events) / trials)) / (total - m)
    between = float(np.sum((events - trials * p) ** 2 / trials)) / (m - 1)
    size = (total - float(np.sum(trials**2)) / total) / (m - 1)
    spread = between + (size - 1.0) * within
    if spread == 0.0:
        return IntraclassCorrelation(x, total, None, None, "no variation: every trial had the same outcome")
    icc = (between - within) / spread
    return IntraclassCorrelation(x, total, icc, 1.0 + (_mean_partners(trials)) * icc)


def deflated_wilson_interval(
    events: float, trials: float, deff: float, confidence: float = 0.95, clusters: int | None = None
) -> tuple[float | None, float | None]:
    """Wilson interval with the number of trials divided by a design effect.

    Parameters
    ----------
    events, trials
        Sums over all clusters, 0 <= events <= trials.
    deff
        Design effect, above 0.
    confidence
        Two-sided confidence.
    clusters
        Number of clusters: the quantile is then that of t with clusters - 1 degrees
        of freedom, otherwise the normal one.

    Returns
    -------
    (lower, upper)
        Both None where trials is 0 or clusters is 1.

    Raises
    ------
    ValueError
        Design effect not positive, counts out of range, confidence outside (0, 1).

    Sources
    -------
    Short et al. 2020, Stat Methods Med Res 29:111-121.
    """
    x, n = events_of_trials(events, trials)
    inflation = float(numbers(deff, "deff"))
    if inflation <= 0.0:
        raise ValueError(f"deff must be above 0; got {deff}")
    quantile = normal_quantile(confidence)
    if n == 0 or clusters == 1:
        return None, None
    if clusters is not None:
        quantile = float(stdtrit(clusters - 1, (1.0 + confidence_level(confidence)) / 2.0))
    lower, upper = score_limits(x / inflation, n / inflation, quantile)
    return float(lower), float(upper)


def clustered_wilson_interval(
    y: ArrayLike, n: ArrayLike, confidence: float = 0.95, planning_icc: float = PLANNING_ICC
) -> ClusteredInterval:
    """Wilson interval on the effective sample size, with a t quantile over clusters.

    Parameters
    ----------
    y, n
        As :func:`ratio_estimate`: one entry per patient.
    confidence
        Two-sided confidence.
    planning_icc
        Within-patient correlation assumed where no event, or nothing but events, was
        seen and the data cannot show a design effect; 0 to 1.

    Returns
    -------
    ClusteredInterval
        Unpacks as (lower, upper). Design effects below 1 count as 1. Limits None
        without trials and for a single cluster, with the reason.

    Raises
    ------
    ValueError
        As :func:`ratio_estimate`; planning_icc outside 0..1.

    Sources
    -------
    Ratio estimator with effective sample size; quantile t with clusters - 1 degrees
    of freedom (project simulation: coverage 0.94 to 0.96 where the plain interval
    falls to 0.75).
    """
    if not 0.0 <= planning_icc <= 1.0:
        raise ValueError(f"planning_icc must lie in 0..1; got {planning_icc}")
    confidence_level(confidence)
    estimate = ratio_estimate(y, n)
    if estimate.n == 0 or estimate.clusters == 1:
        return ClusteredInterval(
            (None, None), estimate.p, None, None, estimate.clusters, reason=estimate.reason
        )
    deff, origin = _design_effect(estimate, _clusters(y, n)[1], planning_icc)
    ci = deflated_wilson_interval(estimate.x, estimate.n, deff, confidence, estimate.clusters)
    return ClusteredInterval(ci, estimate.p, deff, estimate.n / deff, estimate.clusters, origin)


def rao_scott_test(group: ArrayLike, y: ArrayLike, n: ArrayLike) -> GroupTest:
    """Equality of proportions between groups of clusters, counts divided by design effects.

    Parameters
    ----------
    group
        Label of the group of each cluster.
    y, n
        As :func:`ratio_estimate`.

    Returns
    -------
    GroupTest
        ``deff`` in the order of the sorted labels; a group without variation uses the
        planning design effect. chi2 and p None with fewer than two groups or no
        variation at all.

    Raises
    ------
    ValueError
        As :func:`ratio_estimate`; labels of another length.

    Sources
    -------
    Rao and Scott 1992, Biometrics 48:577-585, method with separate design effects;
    design effects below 1 count as 1.
    """
    from scipy.special import chdtrc

    labels = np.asarray(group)
    events, trials = events_of_trials(y, n)
    same_length(group=labels, y=events, n=trials)
    deffs, x, size = [], [], []
    for label in np.unique(labels):
        own = labels == label
        estimate = ratio_estimate(events[own], trials[own])
        if estimate.n == 0:
            continue
        deff, _ = _design_effect(estimate, trials[own], PLANNING_ICC)
        deffs.append(deff)
        x.append(estimate.x / deff)
        size.append(estimate.n / deff)
    adjusted, effective = np.array(x), np.array(size)
    df = max(0, len(deffs) - 1)
    if df == 0:
        return GroupTest(None, df, None, tuple(deffs), "needs two groups with trials")
    p = adjusted.sum() / effective.sum()
    if p in (0.0, 1.0):
        return GroupTest(None, df, None, tuple(deffs), "no variation: every trial had the same outcome")
    chi2 = float(np.sum((adjusted - effective * p) ** 2 / (effective * p * (1.0 - p))))
    return GroupTest(chi2, df, float(chdtrc(df, chi2)), tuple(deffs))


def _clusters(y: ArrayLike, n: ArrayLike) -> tuple[FloatArray, FloatArray]:
    events, trials = events_of_trials(y, n)
    same_length(y=events, n=trials)
    return events[trials > 0], trials[trials > 0]


def _mean_partners(trials: FloatArray) -> float:
    """Other trials in the cluster of an average trial."""
    return float(np.sum(trials**2) / np.sum(trials)) - 1.0


def _design_effect(estimate: RatioEstimate, trials: FloatArray, planning_icc: float) -> tuple[float, str]:
    if estimate.deff is not None:
        return max(1.0, estimate.deff), "ratio estimator"
    return max(1.0, 1.0 + _mean_partners(trials) * planning_icc), (
        f"planned, within-patient correlation {planning_icc:g} assumed"
    )
