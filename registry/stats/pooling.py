"""Results of several centres brought together, with what a further centre may show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import isnan, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, stdtrit

from registry.stats.arguments import FloatArray, confidence_level, normal_quantile, numbers, same_length
from registry.stats.binomial_normal import fit, units_with_trials, why_not

FEW_CENTRES = 5
"""With fewer centres no prediction interval is given: show the centres instead."""

Limits = tuple[float | None, float | None]


@dataclass(frozen=True)
class Pooled:
    """Pooled estimate; ``I2`` in per cent, ``pi`` where a further centre would lie."""

    est: float | None
    se: float | None
    tau2: float | None
    I2: float | None
    ci: Limits
    pi: Limits
    k: int
    method: str
    reason: str = ""


@dataclass(frozen=True)
class PooledProportion:
    """Pooled proportion on the logit scale (``mu``, ``se``, ``tau2``) and back."""

    mu: float | None
    se: float | None
    tau2: float | None
    pooled: float | None
    ci: Limits
    pi: Limits
    k: int
    reason: str = ""


def random_effects(
    estimates: ArrayLike,
    variances: ArrayLike,
    method: str = "REML",
    knapp_hartung: bool = False,
    confidence: float = 0.95,
) -> Pooled:
    """Random-effects mean of estimates with known variances.

    Parameters
    ----------
    estimates
        One per centre, on a scale where they are about normal (log ratio, logit).
    variances
        Their variances, above 0.
    method
        Variance between centres: "REML", "PM" (Paule-Mandel) or "DL"
        (DerSimonian-Laird), in upper or lower case.
    knapp_hartung
        Interval by t with a variance from the spread of the centres; to be preferred
        with few centres.
    confidence
        Two-sided confidence.

    Returns
    -------
    Pooled
        ``tau2`` 0 is a valid answer. None for no centre; one centre gives its own
        estimate, without ``tau2``. Prediction interval by t with k - 2 degrees of
        freedom (k - 1 with ``knapp_hartung``), None below 5 centres.

    Raises
    ------
    ValueError
        Unequal lengths, variances not positive, unknown method.

    Sources
    -------
    Viechtbauer 2005, J Educ Behav Stat 30:261-293 (REML); Paule and Mandel 1982;
    DerSimonian and Laird 1986, Control Clin Trials 7:177-188; Hartung and Knapp 2001,
    Stat Med 20:3875-3889; Higgins, Thompson and Spiegelhalter 2009, J R Stat Soc A
    172:137-159. From memory.
    """
    y, v = numbers(estimates, "estimates"), numbers(variances, "variances")
    k = same_length(estimates=y, variances=v)
    if (v <= 0).any():
        raise ValueError(f"variances must be above 0; got {v[v <= 0].flat[0]:g}")
    method = method.upper()
    if method not in _BETWEEN:
        raise ValueError(f"method must be one of {', '.join(_BETWEEN)}; got {method!r}")
    z = normal_quantile(confidence)
    if k == 0:
        return Pooled(None, None, None, None, (None, None), (None, None), k, method, "no centres")
    if k == 1:
        est, se = float(y[0]), sqrt(float(v[0]))
        reason = "one centre shows no spread between centres"
        ci = (est - z * se, est + z * se)
        return Pooled(est, se, None, None, ci, (None, None), k, method, reason)
    tau2 = _BETWEEN[method](y, v)
    weight = 1.0 / (v + tau2)
    est = float(weight @ y / weight.sum())
    se, quantile = sqrt(1.0 / float(weight.sum())), z
    if knapp_hartung:
        se = sqrt(float(weight @ (y - est) ** 2) / ((k - 1) * float(weight.sum())))
        quantile = _t_quantile(k - 1, confidence)
    fixed = 1.0 / v
    typical = (k - 1) * fixed.sum() / (fixed.sum() ** 2 - (fixed**2).sum())
    return Pooled(
        est=est,
        se=se,
        tau2=tau2,
        I2=float(100.0 * tau2 / (tau2 + typical)),
        ci=(est - quantile * se, est + quantile * se),
        pi=_prediction(est, sqrt(tau2 + se**2), k, k - 1 if knapp_hartung else k - 2, confidence),
        k=k,
        method=f"{method}{', Hartung-Knapp' if knapp_hartung else ''}",
    )


def pooled_proportion(x: ArrayLike, n: ArrayLike, confidence: float = 0.95) -> PooledProportion:
    """Proportion over centres by a random-intercept logistic model.

    Needs no correction for centres without events, and no transformation that returns
    0 where events were seen.

    Parameters
    ----------
    x, n
        Events and trials of each centre, whole, trials above 0, shape (k,).
    confidence
        Two-sided confidence; limits by the normal quantile on the logit scale.

    Returns
    -------
    PooledProportion
        ``pooled`` is the proportion of the middle centre. None for fewer than two
        centres, a constant outcome, or counts that settle no model. Prediction interval None below 5 centres.

    Raises
    ------
    ValueError
        Counts out of range, a centre without trials, lengths that differ.

    Sources
    -------
    Stijnen, Hamza and Ozdemir 2010, Stat Med 29:3046-3067.
    """
    events, trials = units_with_trials(x, n)
    z, k = normal_quantile(confidence), events.size
    if reason := why_not(events, trials):
        return PooledProportion(None, None, None, None, (None, None), (None, None), k, reason)
    found = fit(events, trials)
    if isnan(found.se_mu):
        reason = "the units differ too much for their number of trials"
        return PooledProportion(None, None, None, None, (None, None), (None, None), k, reason)
    mu, se, tau2 = found.mu, found.se_mu, found.sd**2
    low, high = _prediction(mu, sqrt(tau2 + se**2), k, k - 2, confidence)
    return PooledProportion(
        mu=mu,
        se=se,
        tau2=tau2,
        pooled=float(expit(mu)),
        ci=(float(expit(mu - z * se)), float(expit(mu + z * se))),
        pi=(None, None) if low is None or high is None else (float(expit(low)), float(expit(high))),
        k=k,
    )


def _prediction(mean: float, spread: float, k: int, df: int, confidence: float) -> Limits:
    if k < FEW_CENTRES:
        return None, None
    half = _t_quantile(df, confidence) * spread
    return mean - half, mean + half


def _t_quantile(df: int, confidence: float) -> float:
    return float(stdtrit(df, (1.0 + confidence_level(confidence)) / 2.0))


def _der_simonian_laird(y: FloatArray, v: FloatArray) -> float:
    w = 1.0 / v
    mean = w @ y / w.sum()
    excess = w @ (y - mean) ** 2 - (y.size - 1)
    return max(0.0, float(excess / (w.sum() - (w**2).sum() / w.sum())))


def _paule_mandel(y: FloatArray, v: FloatArray) -> float:
    def excess(tau2: float) -> float:
        w = 1.0 / (v + tau2)
        return float(w @ (y - w @ y / w.sum()) ** 2) - (y.size - 1)

    return _root_above_zero(excess, y)


def _restricted_likelihood(y: FloatArray, v: FloatArray) -> float:
    def slope(tau2: float) -> float:
        w = 1.0 / (v + tau2)
        return float(w**2 @ (y - w @ y / w.sum()) ** 2 - w.sum() + (w**2).sum() / w.sum())

    return _root_above_zero(slope, y)


def _root_above_zero(falling: Callable[[float], float], y: FloatArray) -> float:
    """Where a function that ends negative crosses 0; 0 where it starts negative."""
    if falling(0.0) <= 0.0:
        return 0.0
    from scipy.optimize import brentq

    high = float(np.var(y)) + 1.0
    while falling(high) > 0.0:
        high *= 2.0
    return float(brentq(falling, 0.0, high, xtol=1e-14, rtol=1e-14))


_BETWEEN: dict[str, Callable[[FloatArray, FloatArray], float]] = {
    "REML": _restricted_likelihood,
    "PM": _paule_mandel,
    "DL": _der_simonian_laird,
}
