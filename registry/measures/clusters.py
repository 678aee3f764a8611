"""The interval of a proportion with the procedures of each patient held together, beside the plain one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from registry.measures.results import ClusteringEffect
from registry.stats.clustering import ClusteredInterval, anova_icc, clustered_wilson_interval
from registry.stats.proportions import wilson_interval

if TYPE_CHECKING:
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
    y, n, patients = clusters
    return clustered_wilson_interval(
        np.repeat(y, patients).astype(int), np.repeat(n, patients).astype(int), confidence
    )


def effect(clusters: Clusters, confidence: float) -> ClusteringEffect:
    """The effect in one group of procedures.

    Parameters
    ----------
    clusters
        (y, n, patients): how many patients have y counted among n procedures.
    confidence
        Two-sided.
    """
    y, n, patients = clusters
    events, trials = np.repeat(y, patients).astype(int), np.repeat(n, patients).astype(int)
    if not trials.sum():
        return ClusteringEffect(None, None, False, 0, 0)
    cluster = clustered_wilson_interval(events, trials, confidence)
    low, high = wilson_interval(int(events.sum()), int(trials.sum()), confidence)
    ratio = None
    if cluster.lower is not None and cluster.upper is not None and high > low:
        ratio = (cluster.upper - cluster.lower) / (high - low)
    return ClusteringEffect(
        ratio,
        cluster.deff,
        cluster.deff_from == "ratio estimator",
        int(trials.size),
        int(trials.sum()),
        anova_icc(events, trials).icc,
    )
