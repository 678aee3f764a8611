"""The interval of a proportion with the procedures of each patient held together, beside the plain one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from registry.measures.results import ClusteringEffect
from registry.stats.clustering import ClusteredInterval, anova_icc, clustered_wilson_interval
from registry.stats.proportions import wilson_interval

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from registry.measures.counting import Clusters

WORTH_SAYING = 1.10
"""A plain interval that should be wider by more than this factor is worth a line."""


def interval_by_patient(clusters: Clusters, confidence: float) -> ClusteredInterval:
    """Wilson interval on the effective sample size.

    Parameters
    ----------
    clusters
        (y, n, patients): how many patients have y counted among n procedures.
    confidence
        Two-sided.
    """
    return clustered_wilson_interval(*_arrays(clusters), confidence)


def widening(clusters: Clusters, confidence: float) -> float | None:
    """How many times as wide the interval by patient is as the plain one, as in :func:`effect`.

    None without procedures, and where one of the two intervals has no width.
    """
    events, trials = _arrays(clusters)
    if not trials.sum():
        return None
    return _ratio(clustered_wilson_interval(events, trials, confidence), events, trials, confidence)


def effect(clusters: Clusters, confidence: float) -> ClusteringEffect:
    """The effect in one group of procedures.

    Parameters
    ----------
    clusters
        (y, n, patients): how many patients have y counted among n procedures.
    confidence
        Two-sided.
    """
    events, trials = _arrays(clusters)
    if not trials.sum():
        return ClusteringEffect(None, None, False, 0, 0)
    cluster = clustered_wilson_interval(events, trials, confidence)
    return ClusteringEffect(
        _ratio(cluster, events, trials, confidence),
        cluster.deff,
        cluster.deff_from == "ratio estimator",
        int(trials.size),
        int(trials.sum()),
        anova_icc(events, trials).icc,
    )


def _arrays(clusters: Clusters) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    y, n, patients = clusters
    return np.repeat(y, patients).astype(int), np.repeat(n, patients).astype(int)


def _ratio(
    cluster: ClusteredInterval, events: NDArray[np.int64], trials: NDArray[np.int64], confidence: float
) -> float | None:
    low, high = wilson_interval(int(events.sum()), int(trials.sum()), confidence)
    if cluster.lower is None or cluster.upper is None or high <= low:
        return None
    return float((cluster.upper - cluster.lower) / (high - low))
