"""Curves over a marker: area, comparison of two areas, choice of a threshold."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, ndtr

from registry.stats.arguments import FloatArray, normal_quantile, numbers, same_length, whole_counts
from registry.stats.proportions import exact_interval

Limits = tuple[float | None, float | None]

_CHUNK = 100
"""Resamples computed at once; bounds the memory."""


@dataclass(frozen=True)
class RocAuc:
    """Probability that a unit with disease has the higher marker, ties counted half.

    ``ci`` is on the plain scale, cut at 0 and 1; ``ci_logit`` stays inside by itself
    and is the one to show near 1. Where the variance is 0 both are None and
    ``exact_bounds`` says what the smaller group alone supports.
    """

    auc: float | None
    var: float | None
    se_delong: float | None
    se_hanley_mcneil: float | None
    ci: Limits
    ci_logit: Limits
    positives: int
    negatives: int
    exact_bounds: Limits = (None, None)
    reason: str = ""


@dataclass(frozen=True)
class AucComparison:
    """Difference of two areas measured on the same units."""

    diff: float | None
    z: float | None
    p: float | None
    ci: Limits
    reason: str = ""


@dataclass(frozen=True)
class Threshold:
    """Marker value that separates best in these data, and what that is worth elsewhere.

    Positive means marker >= ``threshold``. ``youden`` is the apparent sensitivity +
    specificity - 1; ``corrected`` takes off the ``optimism`` of having chosen the
    threshold on the same data and is the one to report.
    """

    threshold: float | None
    sens: float | None
    spec: float | None
    youden: float | None
    optimism: float | None
    corrected: float | None
    replicates: int
    reason: str = ""


def roc_auc(outcome: ArrayLike, marker: ArrayLike, confidence: float = 0.95) -> RocAuc:
    """Area under the curve of a marker, with two standard errors.

    Parameters
    ----------
    outcome
        1 with disease, 0 without; shape (n,).
    marker
        Higher values speak for disease; shape (n,). Ties are allowed.
    confidence
        Two-sided confidence.

    Returns
    -------
    RocAuc
        None, with a reason, where one outcome is missing.

    Raises
    ------
    ValueError
        Unequal lengths, outcome other than 0 or 1, marker missing.

    Sources
    -------
    DeLong, DeLong and Clarke-Pearson 1988, Biometrics 44:837-845; Hanley and McNeil
    1982, Radiology 143:29-36. From memory.
    """
    ill, values = _labelled(outcome, marker)
    z = normal_quantile(confidence)
    m, n = int(ill.sum()), int((~ill).sum())
    if m == 0 or n == 0:
        return RocAuc(None, None, None, None, (None, None), (None, None), m, n, reason="needs both outcomes")
    placed_ill, placed_well = _placements(ill, values)
    auc = float(placed_ill.mean())
    hanley = sqrt(max(0.0, _exponential_variance(auc, m, n)))
    if m < 2 or n < 2:
        reason = "needs two units of each outcome for a variance"
        return RocAuc(auc, None, None, hanley, (None, None), (None, None), m, n, reason=reason)
    var = float(placed_ill.var(ddof=1) / m + placed_well.var(ddof=1) / n)
    if auc in (0.0, 1.0) or var == 0.0:
        # min(m, n) disjoint pairs are independent, and all agree
        pairs = min(m, n)
        bounds = exact_interval(round(auc * pairs), pairs, confidence) if auc in (0.0, 1.0) else (None, None)
        reason = "the variance is 0 and gives no interval"
        return RocAuc(auc, var, None, hanley or None, (None, None), (None, None), m, n, bounds, reason)
    se = sqrt(var)
    ci = max(0.0, auc - z * se), min(1.0, auc + z * se)
    half, centre = z * se / (auc * (1.0 - auc)), float(logit(auc))
    on_logit = float(expit(centre - half)), float(expit(centre + half))
    return RocAuc(auc, var, se, hanley, ci, on_logit, m, n)


def roc_points(outcome: ArrayLike, marker: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """The curve whose area :func:`roc_auc` gives.

    Parameters
    ----------
    outcome, marker
        As :func:`roc_auc`.

    Returns
    -------
    (false_positive, true_positive)
        Shares at or above each marker value, from (0, 0) to (1, 1), one point per
        distinct value beside the first; tied units of both outcomes make a slope.
        Empty where one outcome is missing.

    Raises
    ------
    ValueError
        As :func:`roc_auc`.
    """
    ill, values = _labelled(outcome, marker)
    if ill.all() or not ill.any():
        return np.empty(0), np.empty(0)
    cuts, place = np.unique(values, return_inverse=True)
    shares = []
    for members in (~ill, ill):
        counted = np.bincount(place[members], minlength=cuts.size)[::-1].cumsum()
        shares.append(np.concatenate(([0.0], counted / counted[-1])))
    return shares[0], shares[1]


def compare_auc(
    outcome: ArrayLike, marker1: ArrayLike, marker2: ArrayLike, confidence: float = 0.95
) -> AucComparison:
    """Difference of the areas of two markers on the same units.

    Parameters
    ----------
    outcome, marker1, marker2
        As :func:`roc_auc`, of one length.
    confidence
        Two-sided confidence of the difference, first minus second.

    Returns
    -------
    AucComparison
        None where a variance cannot be formed; z None where the markers order the
        units in the same way.

    Raises
    ------
    ValueError
        As :func:`roc_auc`.

    Sources
    -------
    DeLong, DeLong and Clarke-Pearson 1988, Biometrics 44:837-845.
    """
    quantile = normal_quantile(confidence)
    ill, first = _labelled(outcome, marker1)
    _, second = _labelled(outcome, marker2)
    m, n = int(ill.sum()), int((~ill).sum())
    if m < 2 or n < 2:
        return AucComparison(None, None, None, (None, None), "needs two units of each outcome")
    ill1, well1 = _placements(ill, first)
    ill2, well2 = _placements(ill, second)
    diff = float(ill1.mean() - ill2.mean())
    var = float((ill1 - ill2).var(ddof=1) / m + (well1 - well2).var(ddof=1) / n)
    if var == 0.0:
        return AucComparison(diff, None, None, (None, None), "the markers order the units in the same way")
    z, half = diff / sqrt(var), quantile * sqrt(var)
    return AucComparison(diff, z, float(2.0 * ndtr(-abs(z))), (diff - half, diff + half))


def best_threshold(
    outcome: ArrayLike,
    marker: ArrayLike,
    replicates: int = 1000,
    seed: int = 1,
    patient: ArrayLike | None = None,
) -> Threshold:
    """Threshold of the largest Youden index, with the optimism of choosing it here.

    Parameters
    ----------
    outcome, marker
        As :func:`roc_auc`.
    replicates
        Resamples for the optimism, at least 1; 1000 or more for a report.
    seed
        Seed of the resampling.
    patient
        Label of the patient of each unit: patients are then resampled as a whole.

    Returns
    -------
    Threshold
        Of equal indices the one with the higher sensitivity. None where one outcome
        is missing; resamples that lack one are left out.

    Raises
    ------
    ValueError
        As :func:`roc_auc`; fewer than one replicate.

    Sources
    -------
    Youden 1950, Cancer 3:32-35; optimism by resampling after Efron 1983, J Am Stat
    Assoc 78:316-331. From memory.
    """
    ill, values = _labelled(outcome, marker)
    if replicates < 1:
        raise ValueError(f"replicates must be 1 or more; got {replicates}")
    labels = np.arange(ill.size) if patient is None else np.asarray(patient)
    same_length(outcome=ill, patient=labels)
    if ill.all() or not ill.any():
        return Threshold(None, None, None, None, None, None, 0, "needs both outcomes")
    cuts, place = np.unique(values, return_inverse=True)
    own = np.ones((1, ill.size))
    apparent = _youden(own, ill, place, cuts.size)[0]
    best = int(np.argmax(apparent))
    optimism = _optimism(ill, place, apparent, labels, replicates, seed)
    sens = float(np.mean(values[ill] >= cuts[best]))
    spec = float(np.mean(values[~ill] < cuts[best]))
    youden = float(apparent[best])
    return Threshold(
        threshold=float(cuts[best]),
        sens=sens,
        spec=spec,
        youden=youden,
        optimism=float(np.mean(optimism)) if optimism.size else None,
        corrected=float(youden - np.mean(optimism)) if optimism.size else None,
        replicates=int(optimism.size),
        reason="" if optimism.size else "no resample held both outcomes",
    )


def _labelled(outcome: ArrayLike, marker: ArrayLike) -> tuple[NDArray[np.bool_], FloatArray]:
    disease = whole_counts(outcome, "outcome")
    values = numbers(marker, "marker")
    same_length(outcome=disease, marker=values)
    if (disease > 1).any():
        raise ValueError(f"outcome must be 0 or 1; got {disease[disease > 1].flat[0]:g}")
    return disease == 1, values


def _placements(ill: NDArray[np.bool_], values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Share of the other group that each unit beats, ties half: O(n log n)."""
    above, below = np.sort(values[ill]), np.sort(values[~ill])
    ill_values, well_values = values[ill], values[~ill]
    lower = np.searchsorted(below, ill_values, "left") + np.searchsorted(below, ill_values, "right")
    higher = np.searchsorted(above, well_values, "left") + np.searchsorted(above, well_values, "right")
    return lower / (2.0 * below.size), 1.0 - higher / (2.0 * above.size)


def _exponential_variance(auc: float, m: int, n: int) -> float:
    q1, q2 = auc / (2.0 - auc), 2.0 * auc**2 / (1.0 + auc)
    own = auc * (1.0 - auc) + (m - 1) * (q1 - auc**2) + (n - 1) * (q2 - auc**2)
    return own / (m * n)


def _youden(weights: FloatArray, ill: NDArray[np.bool_], place: NDArray[np.intp], cuts: int) -> FloatArray:
    """Youden index at every cut, for each row of unit weights; NaN without both outcomes."""
    at_or_above = np.zeros((2, weights.shape[0], cuts))
    for side, members in enumerate((ill, ~ill)):
        for row, weight in enumerate(weights[:, members]):
            at_or_above[side, row] = np.bincount(place[members], weights=weight, minlength=cuts)
    total = at_or_above.sum(axis=2, keepdims=True)
    share = at_or_above[:, :, ::-1].cumsum(axis=2)[:, :, ::-1] / np.where(total > 0, total, np.nan)
    index: FloatArray = share[0] - share[1]
    return index


def _optimism(
    ill: NDArray[np.bool_],
    place: NDArray[np.intp],
    apparent: FloatArray,
    labels: NDArray[np.generic],
    replicates: int,
    seed: int,
) -> FloatArray:
    """Index at the resample's own best cut, there minus in the original data."""
    rng = np.random.default_rng(seed)
    _, patient = np.unique(labels, return_inverse=True)
    patients = int(patient.max()) + 1
    found = []
    for start in range(0, replicates, _CHUNK):
        rows = min(_CHUNK, replicates - start)
        draws = rng.multinomial(patients, np.full(patients, 1.0 / patients), size=rows)
        index = _youden(draws[:, patient].astype(np.float64), ill, place, apparent.size)
        index = index[~np.isnan(index[:, 0])]
        best = np.argmax(index, axis=1)
        found.append(index[np.arange(len(index)), best] - apparent[best])
    return np.concatenate(found)
