"""Predictors of a yes/no outcome: few events, or several procedures per patient."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, expit

from registry.stats.arguments import FloatArray, normal_quantile, numbers, same_length, whole_counts

FEW_CLUSTERS = 40
"""Below about this many clusters the robust standard error is too small."""

SEPARATED = 14.0
"""A linear predictor as large as this means that a predictor separates the outcomes."""

_STEPS = 200


@dataclass(frozen=True)
class FirthLogistic:
    """Penalised logistic regression; finite also where a predictor separates.

    Intervals and p values come from the profile of the penalised likelihood. ``se`` is
    given for reference: an interval built on it would be wrong under separation. All
    arrays run along the columns, the intercept first where it was added.
    """

    coef: FloatArray
    se: FloatArray
    lower: FloatArray
    upper: FloatArray
    p: FloatArray
    intercept_added: bool
    n: int
    events: int


@dataclass(frozen=True)
class GeeLogistic:
    """Marginal logistic regression with standard errors robust to clustering.

    ``alpha`` is the working correlation (None for independence). ``caution`` is filled
    where there are too few clusters for the robust standard error.
    """

    est: FloatArray | None
    se: FloatArray | None
    lower: FloatArray | None
    upper: FloatArray | None
    alpha: float | None
    clusters: int
    intercept_added: bool
    caution: str = ""
    reason: str = ""


def firth_logistic(
    X: ArrayLike, y: ArrayLike, confidence: float = 0.95, *, limits_of: Iterable[int] | None = None
) -> FirthLogistic:
    """Logistic regression with Firth's penalty and profile limits.

    Parameters
    ----------
    X
        Predictors, shape (n, k) or (n,). An intercept is put first unless a column is
        constant already.
    y
        1 event, 0 none; shape (n,).
    confidence
        Two-sided confidence of the profile limits.
    limits_of
        Columns of X whose limits and p value are asked for, each of which costs dozens of fits;
        the others have nan. None for all, the intercept among them.

    Returns
    -------
    FirthLogistic
        Log odds ratios per unit of each predictor.

    Raises
    ------
    ValueError
        No rows, lengths that differ, outcomes other than 0 or 1, predictors that
        depend on one another.

    Sources
    -------
    Firth 1993, Biometrika 80:27-38; Heinze and Schemper 2002, Stat Med 21:2409-2419.
    """
    design, outcome, added = _design(X, y)
    z = normal_quantile(confidence)
    free = np.ones(design.shape[1], dtype=bool)
    # in columns at right angles, so that units and origins of the predictors cost no digits
    basis, turn = np.linalg.qr(design)
    turned, highest = _maximise(basis, outcome, np.zeros(design.shape[1]), free)
    back = np.linalg.inv(turn)
    coef = back @ turned
    se = np.sqrt(np.diag(back @ np.linalg.inv(_information(basis, turned)) @ back.T))
    lower, upper, p = (np.full_like(coef, np.nan) for _ in range(3))
    for j in range(coef.size) if limits_of is None else [one + added for one in limits_of]:
        profile = _Profile(design, outcome, coef, j, highest)
        lower[j] = profile.crossing(z**2, -float(se[j]))
        upper[j] = profile.crossing(z**2, float(se[j]))
        p[j] = chdtrc(1, max(0.0, profile.drop(0.0)))
    return FirthLogistic(coef, se, lower, upper, p, added, outcome.size, int(outcome.sum()))


def gee_logistic(
    X: ArrayLike,
    y: ArrayLike,
    cluster: ArrayLike,
    correlation: str = "independence",
    confidence: float = 0.95,
) -> GeeLogistic:
    """Logistic regression over procedures that share patients.

    Parameters
    ----------
    X, y
        As :func:`firth_logistic`, one row per procedure.
    cluster
        Label of the patient of each row.
    correlation
        Working correlation: "independence" or "exchangeable".
    confidence
        Two-sided confidence; limits by the normal quantile.

    Returns
    -------
    GeeLogistic
        None, with a reason, where the fit does not converge, as under separation.

    Raises
    ------
    ValueError
        As :func:`firth_logistic`; unknown correlation.

    Sources
    -------
    Liang and Zeger 1986, Biometrika 73:13-22. Programs differ in the moment estimate
    of an exchangeable correlation by about 1e-3.
    """
    design, outcome, added = _design(X, y)
    labels = np.asarray(cluster)
    same_length(y=outcome, cluster=labels)
    z = normal_quantile(confidence)
    if correlation not in ("independence", "exchangeable"):
        raise ValueError(f"correlation must be 'independence' or 'exchangeable'; got {correlation!r}")
    clusters = int(np.unique(labels).size)
    caution = f"fewer than {FEW_CLUSTERS} clusters: the robust standard error is too small"
    caution = caution if clusters < FEW_CLUSTERS else ""
    fitted = _fit_gee(design, outcome, labels, correlation)
    if fitted is None:
        reason = "the fit does not converge: a predictor may separate the outcomes"
        return GeeLogistic(None, None, None, None, None, clusters, added, caution, reason)
    est, se = np.asarray(fitted.params), np.asarray(fitted.bse)
    alpha = None if correlation == "independence" else float(fitted.cov_struct.dep_params)
    return GeeLogistic(est, se, est - z * se, est + z * se, alpha, clusters, added, caution)


def _design(X: ArrayLike, y: ArrayLike) -> tuple[FloatArray, FloatArray, bool]:
    outcome, predictors = whole_counts(y, "y"), numbers(X, "X")
    if predictors.ndim == 1:
        predictors = predictors[:, None]
    if predictors.ndim != 2:
        raise ValueError(f"X must be rows x predictors; got {predictors.ndim} dimensions")
    same_length(X=predictors[:, 0] if predictors.shape[1] else np.empty(len(predictors)), y=outcome)
    if outcome.size == 0:
        raise ValueError("a regression needs rows; got none")
    if (outcome > 1).any():
        raise ValueError(f"y must be 0 or 1; got {outcome[outcome > 1].flat[0]:g}")
    constant = (np.ptp(predictors, axis=0) == 0) & (predictors[0] != 0)
    added = not constant.any()
    if added:
        predictors = np.column_stack([np.ones(outcome.size), predictors])
    if np.linalg.matrix_rank(predictors) < predictors.shape[1]:
        raise ValueError("predictors depend on one another: leave one out")
    return predictors, outcome, added


def _information(design: FloatArray, coef: FloatArray) -> FloatArray:
    p = expit(design @ coef)
    information: FloatArray = design.T @ (design * (p * (1.0 - p))[:, None])
    return information


def _penalised(design: FloatArray, outcome: FloatArray, coef: FloatArray) -> float:
    eta = design @ coef
    sign, log_determinant = np.linalg.slogdet(_information(design, coef))
    if sign <= 0:
        return -inf
    return float(outcome @ eta - np.logaddexp(0.0, eta).sum() + log_determinant / 2.0)


def _maximise(
    design: FloatArray, outcome: FloatArray, start: FloatArray, free: Any
) -> tuple[FloatArray, float]:
    """Coefficients of the highest penalised likelihood, those not free held at the start."""
    coef = start.copy()
    value = _penalised(design, outcome, coef)
    for _ in range(_STEPS):
        p = expit(design @ coef)
        root = design * np.sqrt(p * (1.0 - p))[:, None]
        information = root.T @ root
        leverage = np.einsum("ij,ji->i", root, np.linalg.solve(information, root.T))
        score = design.T @ (outcome - p + leverage * (0.5 - p))
        # the penalty adds to each row its leverage in units, half of them events: counted without them a
        # row that alone decides a coefficient is overshot to as far beyond the maximum, for ever
        curvature = root.T @ (root * (1.0 + leverage)[:, None])
        step = np.zeros_like(coef)
        step[free] = np.linalg.solve(curvature[np.ix_(free, free)], score[free])
        # a step is as long as what it moves a linear predictor, whatever the predictors' units and origins
        length = float(np.max(np.abs(design @ step)))
        shrink = min(1.0, 5.0 / max(length, 1e-300))
        trial = _penalised(design, outcome, coef + shrink * step)
        while trial < value - 1e-12 and shrink * length > 1e-12:
            shrink /= 2.0
            trial = _penalised(design, outcome, coef + shrink * step)
        coef, value = coef + shrink * step, trial
        if shrink * length < 1e-10:
            break
    return coef, value


class _Profile:
    """Fall of the penalised likelihood (doubled) as one coefficient is moved."""

    def __init__(self, design: FloatArray, outcome: FloatArray, coef: FloatArray, j: int, highest: float):
        self.outcome, self.highest, self.centre = outcome, highest, float(coef[j])
        # The column that is moved stands last: of columns at right angles its own is the last alone.
        order = np.append(np.delete(np.arange(coef.size), j), j)
        self.basis, turn = np.linalg.qr(design[:, order])
        self.scale = float(turn[-1, -1])
        self.top = self.near = turn @ coef[order]
        self.free = np.arange(coef.size) < coef.size - 1
        # The others follow; held still, they could send linear predictors out of range.
        information = _information(self.basis, self.top)
        self.following = np.ones_like(coef)
        self.following[:-1] = -np.linalg.solve(information[:-1, :-1], information[:-1, -1])

    def drop(self, value: float) -> float:
        start = self.near + self.following * (value * self.scale - self.near[-1])
        self.near, reached = _maximise(self.basis, self.outcome, start, self.free)
        return 2.0 * (self.highest - reached)

    def crossing(self, allowed: float, step: float) -> float:
        """Value at which the fall reaches what is allowed, on the side of the step."""
        from scipy.optimize import brentq

        self.near = self.top
        reach = step * sqrt(allowed)
        while self.drop(self.centre + reach) < allowed:
            reach *= 1.5
        part = brentq(lambda part: self.drop(self.centre + part * reach) - allowed, 0.0, 1.0, xtol=1e-10)
        return float(self.centre + part * reach)


def _fit_gee(design: FloatArray, outcome: FloatArray, labels: Any, correlation: str) -> Any:
    import warnings

    from statsmodels.genmod import families
    from statsmodels.genmod.cov_struct import Exchangeable, Independence
    from statsmodels.genmod.generalized_estimating_equations import GEE

    structure = Independence() if correlation == "independence" else Exchangeable()
    _, groups = np.unique(labels, return_inverse=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = GEE(outcome, design, groups=groups, family=families.Binomial(), cov_struct=structure)
        fitted = model.fit(maxiter=200)
    # beyond this the fitted probability is within 1e-6 of 0 or 1: separation
    settled = fitted.converged and np.max(np.abs(design @ fitted.params)) < SEPARATED
    return fitted if settled else None
