"""Agreement of reviewers beyond what chance would give, in two currencies.

Kappa falls when one answer is much commoner than the other, even at the same raw
agreement; AC1 does not. Neither stands alone on a screen: show the counts too.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from registry.stats.arguments import FloatArray, normal_quantile
from registry.stats.gwet import (
    ALL_AGREE,
    GwetAgreement,
    Limits,
    agreement_weights,
    clipped,
    gwet_ac,
    gwet_ac_multi,
    rating_counts,
    square_table,
)

__all__ = [
    "FleissKappa",
    "GwetAgreement",
    "Kappa",
    "TwoReaders",
    "cohen_kappa",
    "fleiss_kappa",
    "gwet_ac",
    "gwet_ac_multi",
    "two_reader_summary",
]

FEW_UNITS = 30
"""Below this many units a resampled interval stands beside the large-sample one."""

RESAMPLES = 2000

_ONE_CATEGORY = "one reader used a single category"


@dataclass(frozen=True)
class Kappa:
    """Agreement of two readers, chance judged from each reader's own habits.

    ``se`` is for the interval, ``se_null`` (and ``z``, ``p``) for the test of no
    agreement beyond chance only. ``ci_resampled`` is filled below 30 units. ``reason``
    says why the value is None, or why a 0 tells little.
    """

    kappa: float | None
    se: float | None
    ci: Limits
    se_null: float | None
    z: float | None
    p: float | None
    po: float | None
    n: int
    ci_resampled: Limits | None = None
    reason: str = ""


@dataclass(frozen=True)
class FleissKappa:
    """Agreement of several readers; ``z`` and ``p`` test no agreement beyond chance."""

    kappa: float | None
    se_null: float | None
    z: float | None
    p: float | None
    po: float | None
    n: int
    reason: str = ""


@dataclass(frozen=True)
class TwoReaders:
    """All that a 2 x 2 table of two readers says: counts, raw and corrected agreement."""

    both: int
    first_only: int
    second_only: int
    neither: int
    po: float | None
    p_pos: float | None
    p_neg: float | None
    kappa: float | None
    kappa_se: float | None
    kappa_ci: Limits
    ac1: float | None
    ac1_se: float | None
    ac1_ci: Limits
    pabak: float | None
    reason: str = ""


def cohen_kappa(
    table: ArrayLike, weights: str | None = None, confidence: float = 0.95, seed: int = 1
) -> Kappa:
    """Cohen's kappa of two readers, plain or weighted.

    Parameters
    ----------
    table
        Whole counts, q x q, rows the first reader, columns the second, same order.
    weights
        None, or "linear" or "quadratic" for ordered categories.
    confidence
        Two-sided confidence.
    seed
        Seed of the resampled interval that is added below 30 units.

    Returns
    -------
    Kappa
        None without units, or where both readers used one and the same category;
        exactly 0, with a reason, where a reader used a single category. Limits end at
        -1 and 1, and are None in that event and at full agreement, where the variance is
        0 and would give a point.

    Raises
    ------
    ValueError
        Table not square, counts negative or fractional, unknown weights.

    Sources
    -------
    Cohen 1960, Educ Psychol Meas 20:37-46; variances of Fleiss, Cohen and Everitt
    1969, Psychol Bull 72:323-327. From memory.
    """
    counts = square_table(table)
    credit = agreement_weights(len(counts), weights)
    z = normal_quantile(confidence)
    n = int(counts.sum())
    if n == 0:
        return Kappa(None, None, (None, None), None, None, None, None, n, reason="no units")
    share = counts / n
    row, column = share.sum(axis=1), share.sum(axis=0)
    po, pe = float((credit * share).sum()), float(row @ credit @ column)
    used = [int(np.count_nonzero(counts.sum(axis=side))) for side in (1, 0)]
    if used == [1, 1] and np.trace(counts) == n:
        reason = "both readers used one and the same category"
        return Kappa(None, None, (None, None), None, None, None, po, n, reason=reason)
    if 1 in used:
        return Kappa(0.0, None, (None, None), None, None, None, po, n, reason=_ONE_CATEGORY)
    kappa = (po - pe) / (1.0 - pe)
    mean_credit = (credit @ column)[:, None] + (credit.T @ row)[None, :]
    spread_null = float((np.outer(row, column) * (credit - mean_credit) ** 2).sum())
    se_null = sqrt(max(0.0, spread_null - pe**2) / n) / (1.0 - pe)
    p = float(2.0 * ndtr(-abs(kappa / se_null)))
    if np.trace(counts) == n:
        return Kappa(1.0, None, (None, None), se_null, kappa / se_null, p, po, n, reason=ALL_AGREE)
    spread = float((share * (credit - mean_credit * (1.0 - kappa)) ** 2).sum())
    se = sqrt(max(0.0, spread - (kappa - pe * (1.0 - kappa)) ** 2) / n) / (1.0 - pe)
    return Kappa(
        kappa=kappa,
        se=se,
        ci=clipped(kappa - z * se, kappa + z * se),
        se_null=se_null,
        z=kappa / se_null,
        p=p,
        po=po,
        n=n,
        ci_resampled=_resampled(counts, credit, confidence, seed) if n < FEW_UNITS else None,
    )


def fleiss_kappa(counts: ArrayLike) -> FleissKappa:
    """Kappa of three or more readers, the same number for every unit.

    Parameters
    ----------
    counts
        Whole numbers, units x categories: readers who chose the category.

    Returns
    -------
    FleissKappa
        None without units, or where all readers used one and the same category.

    Raises
    ------
    ValueError
        Not two-dimensional, fewer than two readers, or a number of readers that
        changes from unit to unit.

    Sources
    -------
    Fleiss 1971, Psychol Bull 76:378-382; null variance of Fleiss, Nee and Landis 1979,
    Psychol Bull 86:974-977. From memory.
    """
    ratings = rating_counts(counts)
    n = len(ratings)
    if n == 0:
        return FleissKappa(None, None, None, None, None, n, "no units")
    readers = ratings.sum(axis=1)
    if np.ptp(readers) > 0 or readers[0] < 2:
        raise ValueError("counts must hold the same number of readers, two or more, for every unit")
    m = float(readers[0])
    share = ratings.sum(axis=0) / (n * m)
    po = float(((ratings**2).sum(axis=1) - m).mean() / (m * (m - 1.0)))
    other = float(share @ (1.0 - share))
    if other == 0.0:
        return FleissKappa(None, None, None, None, po, n, "all readers used one and the same category")
    kappa = 1.0 - (1.0 - po) / other
    skew = float((share * (1.0 - share) * (1.0 - 2.0 * share)).sum())
    se = sqrt(2.0 / (n * m * (m - 1.0)) * (other**2 - skew)) / other
    z = kappa / se
    return FleissKappa(kappa, se, z, float(2.0 * ndtr(-abs(z))), po, n)


def two_reader_summary(table: ArrayLike, confidence: float = 0.95) -> TwoReaders:
    """Everything two readers' yes/no judgements say, for one screen.

    Parameters
    ----------
    table
        2 x 2 whole counts, rows the first reader (yes, no), columns the second.
    confidence
        Two-sided confidence.

    Returns
    -------
    TwoReaders
        ``p_pos`` and ``p_neg`` are the agreement on yes and on no, None where nobody
        said so.

    Raises
    ------
    ValueError
        Not 2 x 2; otherwise as :func:`cohen_kappa`.

    Sources
    -------
    Feinstein and Cicchetti 1990, J Clin Epidemiol 43:543-549; prevalence-adjusted
    value (pabak) of Byrt, Bishop and Carlin 1993, J Clin Epidemiol 46:423-429, from memory.
    """
    counts = square_table(table)
    if counts.shape != (2, 2):
        raise ValueError(f"table must be 2 x 2; got {len(counts)} x {len(counts)}")
    a, b, c, d = (int(value) for value in counts.ravel())
    kappa, ac = cohen_kappa(counts, confidence=confidence), gwet_ac(counts, confidence=confidence)
    differing = b + c
    return TwoReaders(
        both=a,
        first_only=b,
        second_only=c,
        neither=d,
        po=kappa.po,
        p_pos=2 * a / (2 * a + differing) if a or differing else None,
        p_neg=2 * d / (2 * d + differing) if d or differing else None,
        kappa=kappa.kappa,
        kappa_se=kappa.se,
        kappa_ci=kappa.ci,
        ac1=ac.ac1,
        ac1_se=ac.se,
        ac1_ci=ac.ci,
        pabak=None if kappa.po is None else 2.0 * kappa.po - 1.0,
        reason=kappa.reason,
    )


def _resampled(counts: FloatArray, credit: FloatArray, confidence: float, seed: int) -> Limits:
    """Percentile limits of kappa over resampled units; None where kappa rarely exists."""
    n, q = int(counts.sum()), len(counts)
    draws = np.random.default_rng(seed).multinomial(n, counts.ravel() / n, size=RESAMPLES)
    share = draws.reshape(-1, q, q) / n
    pe = np.einsum("bi,ij,bj->b", share.sum(axis=2), credit, share.sum(axis=1))
    po = (share * credit).sum(axis=(1, 2))
    defined = pe < 1.0 - 1e-12
    if defined.mean() < 0.9:
        return None, None
    values = (po[defined] - pe[defined]) / (1.0 - pe[defined])
    tail = (1.0 - confidence) / 2.0
    lower, upper = np.quantile(values, [tail, 1.0 - tail])
    return float(lower), float(upper)
