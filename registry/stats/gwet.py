"""Agreement that does not fall when one answer is much commoner than the other (Gwet)."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from registry.stats.arguments import FloatArray, confidence_level, whole_counts

Limits = tuple[float | None, float | None]

ALL_AGREE = "all units agree: the variance is 0 and gives no interval"
"""Why a perfect coefficient carries no interval."""


@dataclass(frozen=True)
class GwetAgreement:
    """Agreement with chance judged from how hard the categories are to tell apart.

    ``ac1`` is filled without weights, ``ac2`` with them; the other is None.
    """

    ac1: float | None
    ac2: float | None
    se: float | None
    ci: Limits
    po: float | None
    n: int
    reason: str = ""


def gwet_ac(table: ArrayLike, weights: str | None = None, confidence: float = 0.95) -> GwetAgreement:
    """Gwet's AC1 of two readers, or AC2 with weights.

    Parameters
    ----------
    table, weights, confidence
        As :func:`cohen_kappa`.

    Returns
    -------
    GwetAgreement
        Interval by t with n - 1 degrees of freedom, ending at -1 and 1; None without
        units, standard error None for one unit.

    Raises
    ------
    ValueError
        As :func:`cohen_kappa`; fewer than two categories.

    Sources
    -------
    Gwet 2008, Br J Math Stat Psychol 61:29-48; Gwet, Handbook of Inter-Rater
    Reliability, 2014.
    """
    counts = square_table(table)
    credit = agreement_weights(len(counts), weights)
    rows, columns = np.nonzero(counts)
    repeats = counts[rows, columns].astype(int)
    ratings = np.zeros((rows.size, len(counts)))
    np.add.at(ratings, (np.arange(rows.size), rows), 1.0)
    np.add.at(ratings, (np.arange(rows.size), columns), 1.0)
    return _gwet(ratings, repeats, credit, confidence, weighted=weights is not None, table=True)


def gwet_ac_multi(counts: ArrayLike, weights: str | None = None, confidence: float = 0.95) -> GwetAgreement:
    """Gwet's AC1 (AC2 with weights) of several readers, whose number may vary.

    Parameters
    ----------
    counts
        Whole numbers, units x categories; units judged by one reader count towards the
        categories only, units judged by none are left out.
    weights, confidence
        As :func:`cohen_kappa`.

    Returns, Raises, Sources
    ------------------------
    As :func:`gwet_ac`.
    """
    ratings = rating_counts(counts)
    ratings = ratings[ratings.sum(axis=1) > 0]
    credit = agreement_weights(ratings.shape[1], weights)
    once = np.ones(len(ratings), dtype=int)
    return _gwet(ratings, once, credit, confidence, weighted=weights is not None, table=False)


def agreement_weights(categories: int, weights: str | None) -> FloatArray:
    """Credit for each pair of categories: 1 on the diagonal, less with distance.

    Parameters
    ----------
    categories
        Number of categories q.
    weights
        None (no credit off the diagonal), "linear" or "quadratic".

    Returns
    -------
    array
        Shape (q, q).

    Raises
    ------
    ValueError
        Unknown weights.
    """
    position = np.arange(categories, dtype=np.float64)
    distance = np.abs(position[:, None] - position[None, :]) / max(categories - 1, 1)
    if weights is None:
        return np.eye(categories)
    if weights == "linear":
        return 1.0 - distance
    if weights == "quadratic":
        return 1.0 - distance**2
    raise ValueError(f"weights must be None, 'linear' or 'quadratic'; got {weights!r}")


def clipped(lower: float, upper: float) -> tuple[float, float]:
    """Limits cut at -1 and 1, the ends of every agreement coefficient."""
    return max(-1.0, lower), min(1.0, upper)


def square_table(table: ArrayLike) -> FloatArray:
    """Whole counts in as many rows as columns.

    Raises
    ------
    ValueError
        Not square, or counts that are negative or fractional.
    """
    counts = whole_counts(table, "table")
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1]:
        raise ValueError(f"table must be square; got shape {counts.shape}")
    return counts


def rating_counts(counts: ArrayLike) -> FloatArray:
    """Whole counts, units x categories.

    Raises
    ------
    ValueError
        Not two-dimensional, or counts that are negative or fractional.
    """
    ratings = whole_counts(counts, "counts")
    if ratings.ndim != 2:
        raise ValueError(f"counts must be units x categories; got {ratings.ndim} dimensions")
    return ratings


def _gwet(
    ratings: FloatArray,
    repeats: np.ndarray[tuple[int], np.dtype[np.int_]],
    credit: FloatArray,
    confidence: float,
    *,
    weighted: bool,
    table: bool,
) -> GwetAgreement:
    """AC of distinct rating patterns, each standing for ``repeats`` units."""
    level = confidence_level(confidence)
    n, q = int(repeats.sum()), credit.shape[0]
    if q < 2:
        raise ValueError("agreement needs at least two categories")
    readers = ratings.sum(axis=1)
    judged = readers >= 2
    pairs = int(repeats[judged].sum())
    if pairs == 0:
        return GwetAgreement(None, None, None, (None, None), None, n, "no unit with two readers")
    share = repeats @ (ratings / readers[:, None]) / n
    scale = float(credit.sum()) / (q * (q - 1.0))
    pe = scale * float(share @ (1.0 - share))
    agreed = (ratings * (ratings @ credit.T - 1.0)).sum(axis=1)
    po_each = np.where(judged, agreed / np.where(judged, readers * (readers - 1.0), 1.0), 0.0)
    po = float(repeats @ po_each) / pairs
    value = (po - pe) / (1.0 - pe)
    pe_each = scale * ((ratings / readers[:, None]) @ (1.0 - share))
    each = n / pairs * np.where(judged, (po_each - pe) / (1.0 - pe), 0.0)
    each = each - 2.0 * (1.0 - value) * (pe_each - pe) / (1.0 - pe)
    ac1, ac2 = (None, value) if weighted else (value, None)
    if n < 2:
        return GwetAgreement(ac1, ac2, None, (None, None), po, n, "one unit shows no variance")
    if po >= 1.0 - 1e-12:
        return GwetAgreement(ac1, ac2, None, (None, None), po, n, ALL_AGREE)
    # the two published forms: over n for a table of two readers, over n - 1 for ratings
    divisor = float(n * n if table else n * (n - 1))
    se = sqrt(float(repeats @ (each - value) ** 2) / divisor)
    half = float(stdtrit(n - 1, (1.0 + level) / 2.0)) * se
    return GwetAgreement(ac1, ac2, se, clipped(value - half, value + half), po, n)
