"""How well a test finds disease, also where not everybody was verified.

Curves over a marker live in a module of their own and can be had from here as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, sqrt

from scipy.special import expit

from registry.stats.arguments import normal_quantile, whole_counts
from registry.stats.proportions import exact_interval, wilson_interval
from registry.stats.roc import AucComparison, RocAuc, Threshold, best_threshold, compare_auc, roc_auc

__all__ = [
    "Accuracy",
    "AucComparison",
    "LikelihoodRatios",
    "RocAuc",
    "Threshold",
    "VerificationBounds",
    "VerifiedAccuracy",
    "accuracy",
    "begg_greenes",
    "best_threshold",
    "compare_auc",
    "likelihood_ratios",
    "roc_auc",
    "verification_bounds",
]

Limits = tuple[float | None, float | None]


@dataclass(frozen=True)
class Accuracy:
    """Accuracy of a test in a cohort where everybody was verified.

    Each value is None, and its limits with it, where its denominator is 0. Predictive
    values hold at the prevalence of this cohort only.
    """

    sens: float | None
    sens_ci: Limits
    spec: float | None
    spec_ci: Limits
    ppv: float | None
    ppv_ci: Limits
    npv: float | None
    npv_ci: Limits
    prevalence: float | None
    n: int


@dataclass(frozen=True)
class LikelihoodRatios:
    """How far a positive and a negative result move the odds of disease."""

    lr_pos: float | None
    lr_pos_ci: Limits
    lr_neg: float | None
    lr_neg_ci: Limits
    reason: str = ""


@dataclass(frozen=True)
class VerifiedAccuracy:
    """Sensitivity and specificity corrected for who was verified.

    Holds only where verification depends on the test result alone. ``naive_sens`` and
    ``naive_spec`` are the uncorrected values of the verified. ``false_negatives`` of
    ``negatives_verified`` is the fraction the correction leans on: show it.
    """

    sens: float | None
    sens_ci: Limits
    se_sens: float | None
    spec: float | None
    spec_ci: Limits
    se_spec: float | None
    naive_sens: float | None
    naive_spec: float | None
    false_negatives: int
    negatives_verified: int
    reason: str = ""


@dataclass(frozen=True)
class VerificationBounds:
    """Lowest and highest sensitivity and specificity the unverified allow."""

    sens: Limits
    spec: Limits


def accuracy(tp: int, fp: int, fn: int, tn: int, confidence: float = 0.95) -> Accuracy:
    """Sensitivity, specificity and predictive values with Wilson intervals.

    Parameters
    ----------
    tp, fp, fn, tn
        Whole counts: test and disease, test only, disease only, neither.
    confidence
        Two-sided confidence.

    Returns
    -------
    Accuracy
        None where a denominator is 0.

    Raises
    ------
    ValueError
        Counts negative or fractional, confidence outside (0, 1).
    """
    tp, fp, fn, tn = _cells(tp, fp, fn, tn)
    n = tp + fp + fn + tn
    return Accuracy(
        sens=_share(tp, tp + fn),
        sens_ci=wilson_interval(tp, tp + fn, confidence),
        spec=_share(tn, tn + fp),
        spec_ci=wilson_interval(tn, tn + fp, confidence),
        ppv=_share(tp, tp + fp),
        ppv_ci=wilson_interval(tp, tp + fp, confidence),
        npv=_share(tn, tn + fn),
        npv_ci=wilson_interval(tn, tn + fn, confidence),
        prevalence=_share(tp + fn, n),
        n=n,
    )


def likelihood_ratios(tp: int, fp: int, fn: int, tn: int, confidence: float = 0.95) -> LikelihoodRatios:
    """Likelihood ratios of a positive and a negative result, intervals on the log scale.

    Parameters
    ----------
    tp, fp, fn, tn, confidence
        As :func:`accuracy`.

    Returns
    -------
    LikelihoodRatios
        None, with a reason, where a logarithm does not exist because a count is 0.

    Raises
    ------
    ValueError
        As :func:`accuracy`.

    Sources
    -------
    Simel, Samsa and Matchar 1991, J Clin Epidemiol 44:763-770.
    """
    tp, fp, fn, tn = _cells(tp, fp, fn, tn)
    z = normal_quantile(confidence)
    ill, well = tp + fn, fp + tn
    if ill == 0 or well == 0:
        return LikelihoodRatios(
            None, (None, None), None, (None, None), "needs units with and without disease"
        )
    pos, pos_ci = _log_ratio(tp, ill, fp, well, z)
    neg, neg_ci = _log_ratio(fn, ill, tn, well, z)
    reason = "" if None not in (*pos_ci, *neg_ci) else "a count of 0 leaves no interval on the log scale"
    return LikelihoodRatios(pos, pos_ci, neg, neg_ci, reason)


def begg_greenes(
    tpos_dpos: int,
    tpos_dneg: int,
    tpos_unverified: int,
    tneg_dpos: int,
    tneg_dneg: int,
    tneg_unverified: int,
    confidence: float = 0.95,
) -> VerifiedAccuracy:
    """Sensitivity and specificity where not every tested unit was verified.

    Parameters
    ----------
    tpos_dpos, tpos_dneg, tpos_unverified
        Test positive: verified with disease, verified without, not verified.
    tneg_dpos, tneg_dneg, tneg_unverified
        Test negative, likewise.
    confidence
        Two-sided confidence; limits on the logit scale.

    Returns
    -------
    VerifiedAccuracy
        None, with a reason, where a test result has no verified unit. With no disease
        among the verified negatives the sensitivity is 1 without a usable variance:
        its lower limit then takes the Clopper-Pearson upper limit of that fraction.
        Likewise the specificity with no healthy unit among the verified positives.

    Raises
    ------
    ValueError
        As :func:`accuracy`.

    Sources
    -------
    Begg and Greenes 1983, Biometrics 39:207-215.
    """
    z = normal_quantile(confidence)
    a, b, u1, c, d, u0 = _cells(tpos_dpos, tpos_dneg, tpos_unverified, tneg_dpos, tneg_dneg, tneg_unverified)
    n1, n0 = a + b + u1, c + d + u0
    naive_sens, naive_spec = _share(a, a + c), _share(d, b + d)
    if a + b == 0 or c + d == 0:
        reason = "needs verified units among the test positive and the test negative"
        return VerifiedAccuracy(
            None, (None, None), None, None, (None, None), None, naive_sens, naive_spec, c, c + d, reason
        )
    sens, sens_ci, se_sens = _corrected((a, a + b, n1), (c, c + d, n0), z, confidence)
    spec, spec_ci, se_spec = _corrected((d, c + d, n0), (b, a + b, n1), z, confidence)
    missing = [name for name, value in (("sensitivity", se_sens), ("specificity", se_spec)) if value is None]
    reason = f"no usable variance for {' and '.join(missing)}: a count is 0" if missing else ""
    return VerifiedAccuracy(
        sens, sens_ci, se_sens, spec, spec_ci, se_spec, naive_sens, naive_spec, c, c + d, reason
    )


def verification_bounds(
    tpos_dpos: int,
    tpos_dneg: int,
    tpos_unverified: int,
    tneg_dpos: int,
    tneg_dneg: int,
    tneg_unverified: int,
) -> VerificationBounds:
    """Range of sensitivity and specificity over every outcome of the unverified.

    Parameters
    ----------
    tpos_dpos, tpos_dneg, tpos_unverified, tneg_dpos, tneg_dneg, tneg_unverified
        As :func:`begg_greenes`.

    Returns
    -------
    VerificationBounds
        (lowest, highest); None where the denominator is 0.

    Raises
    ------
    ValueError
        As :func:`accuracy`.
    """
    a, b, u1, c, d, u0 = _cells(tpos_dpos, tpos_dneg, tpos_unverified, tneg_dpos, tneg_dneg, tneg_unverified)
    return VerificationBounds(
        sens=(_share(a, a + c + u0), _share(a + u1, a + u1 + c)),
        spec=(_share(d, d + b + u1), _share(d + u0, d + u0 + b)),
    )


def _cells(*cells: int) -> tuple[int, ...]:
    return tuple(int(count) for count in whole_counts(cells, "counts"))


def _share(part: int, whole: int) -> float | None:
    return part / whole if whole else None


def _log_ratio(x1: int, n1: int, x2: int, n2: int, z: float) -> tuple[float | None, Limits]:
    if x2 == 0:
        return None, (None, None)
    ratio = (x1 / n1) / (x2 / n2)
    if x1 == 0:
        return ratio, (None, None)
    half = z * sqrt(1 / x1 - 1 / n1 + 1 / x2 - 1 / n2)
    return ratio, (ratio * exp(-half), ratio * exp(half))


def _corrected(
    right: tuple[int, int, int], wrong: tuple[int, int, int], z: float, confidence: float
) -> tuple[float | None, Limits, float | None]:
    """Share of the units with the condition that the right test result has.

    ``right`` and ``wrong`` hold, for each test result: verified with the condition,
    verified, tested. The logit of the share is a sum of three independent parts.
    """
    found, found_of, tested = right
    missed, missed_of, tested_wrong = wrong
    if found == 0 and missed == 0:
        return None, (None, None), None
    mine, other = tested * found / found_of, tested_wrong * missed / missed_of
    value = mine / (mine + other)
    if found and missed:
        total = tested + tested_wrong
        variance = total / (tested * tested_wrong)
        variance += (1 - found / found_of) / found + (1 - missed / missed_of) / missed
        half, centre = z * sqrt(variance), log(mine / other)
        limits = float(expit(centre - half)), float(expit(centre + half))
        return value, limits, value * (1 - value) * sqrt(variance)
    zero_of = found_of if missed else missed_of
    _, high = exact_interval(0, zero_of, confidence)
    if missed:
        return value, (0.0, tested * high / (tested * high + other)), None
    return value, (mine / (mine + tested_wrong * high), 1.0), None
