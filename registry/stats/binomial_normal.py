"""Proportions of several units that differ by a normal amount on the logit scale.

The likelihood is integrated over the unit's own amount by Gauss-Hermite nodes placed
around its most likely value, which stays accurate with few events.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, gammaln, logit

from registry.stats.arguments import FloatArray, events_of_trials, same_length

NODES = 41
"""Gauss-Hermite nodes; 25 give four digits on the published examples."""

NO_SPREAD = 1e-3
"""A standard deviation between units below this is 0."""


@dataclass(frozen=True)
class Fit:
    """Mean and standard deviation of the units' logits, and each unit's likely value."""

    mu: float
    sd: float
    se_mu: float
    modes: FloatArray


def units_with_trials(x: ArrayLike, n: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Counts of units of one length, each with trials.

    Raises
    ------
    ValueError
        Counts out of range, a unit without trials, lengths that differ.
    """
    same_length(x=np.asarray(x), n=np.asarray(n))
    events, trials = events_of_trials(x, n)
    if (trials == 0).any():
        raise ValueError("every unit needs trials; got one with 0")
    return events, trials


def why_not(events: FloatArray, trials: FloatArray) -> str:
    """Reason why these units cannot show a spread, empty where they can."""
    if events.size < 2:
        return "needs two units"
    if events.sum() == 0:
        return "no events"
    if events.sum() == trials.sum():
        return "no variation: every trial had the event"
    if ((events == 0) | (events == trials)).all():
        # The likelihood rises with the spread for ever: nothing bounds it.
        return "every unit had all or nothing"
    return ""


def fit(events: FloatArray, trials: FloatArray) -> Fit:
    """Maximum likelihood estimates of the random-intercept logistic model.

    Parameters
    ----------
    events, trials
        As returned by :func:`units_with_trials`, for which :func:`why_not` is empty.

    Returns
    -------
    Fit
        A standard deviation of 0 is a valid answer. ``se_mu`` comes from the joint
        second derivatives; it is nan where they show no maximum.

    Sources
    -------
    Binomial-normal model of Stijnen, Hamza and Ozdemir 2010, Stat Med 29:3046-3067;
    adaptive quadrature of Pinheiro and Bates 1995, from memory.
    """

    def minus_log_likelihood(parameters: FloatArray) -> float:
        return -float(_log_likelihood(events, trials, parameters[0], abs(parameters[1])).sum())

    pooled = float(logit(events.sum() / trials.sum()))
    mu, sd = lowest_point(minus_log_likelihood, [[pooled, 0.3], [pooled, 1.0]])
    mu, sd = float(mu), abs(float(sd))
    if sd < NO_SPREAD:
        size = trials.sum()
        p = events.sum() / size
        return Fit(pooled, 0.0, float(1.0 / np.sqrt(size * p * (1.0 - p))), np.zeros(events.size))
    curvature = _second_derivatives(minus_log_likelihood, np.array([mu, sd]))
    # No maximum inside: the likelihood is flat, as where every unit had all or nothing.
    settled = bool(np.linalg.det(curvature) > 0.0 and curvature[0, 0] > 0.0)
    se = float(np.sqrt(np.linalg.inv(curvature)[0, 0])) if settled else float("nan")
    return Fit(mu, sd, se, sd * _modes(events, trials, mu, sd))


def lowest_point(function: Callable[[FloatArray], float], starts: list[list[float]]) -> FloatArray:
    """Arguments of the smallest value a simplex search finds from any of the starts.

    Parameters
    ----------
    function
        Smooth function of a short vector.
    starts
        Vectors to start from, one at least.

    Returns
    -------
    array
        Located to about 1e-8.
    """
    from scipy import optimize

    minimize: Any = optimize.minimize
    tight = {"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000, "maxfev": 4000}
    tries = [minimize(function, start, method="Nelder-Mead", options=tight) for start in starts]
    best: FloatArray = min(tries, key=lambda found: float(found.fun)).x
    return best


def _modes(events: FloatArray, trials: FloatArray, mu: float, sd: float) -> FloatArray:
    """Most likely standardised amount of each unit, by damped Newton steps."""
    u = np.zeros(events.size)
    for _ in range(100):
        p = expit(mu + sd * u)
        slope = sd * (events - trials * p) - u
        step = slope / (sd**2 * trials * p * (1.0 - p) + 1.0)
        u += np.clip(step, -1.0, 1.0)
        if np.max(np.abs(step)) < 1e-12:
            break
    return u


def _log_likelihood(events: FloatArray, trials: FloatArray, mu: float, sd: float) -> FloatArray:
    node, weight = np.polynomial.hermite.hermgauss(NODES)
    mode = _modes(events, trials, mu, sd)
    p = expit(mu + sd * mode)
    scale = 1.0 / np.sqrt(sd**2 * trials * p * (1.0 - p) + 1.0)
    u = mode[:, None] + np.sqrt(2.0) * scale[:, None] * node
    eta = mu + sd * u
    inner = events[:, None] * eta - trials[:, None] * np.logaddexp(0.0, eta) - u**2 / 2.0 + node**2
    highest = inner.max(axis=1)
    total = np.log((weight * np.exp(inner - highest[:, None])).sum(axis=1)) + highest
    logs: FloatArray = total + np.log(scale) - np.log(np.pi) / 2.0 + _log_choose(events, trials)
    return logs


def _log_choose(events: FloatArray, trials: FloatArray) -> FloatArray:
    ways: FloatArray = gammaln(trials + 1.0) - gammaln(events + 1.0) - gammaln(trials - events + 1.0)
    return ways


def _second_derivatives(function: Callable[[FloatArray], float], at: FloatArray) -> FloatArray:
    step = 1e-3 * np.maximum(1.0, np.abs(at))
    size = at.size
    second = np.empty((size, size))
    for i in range(size):
        for j in range(size):
            a, b = np.zeros(size), np.zeros(size)
            a[i], b[j] = step[i], step[j]
            corner = function(at + a + b) - function(at + a - b) - function(at - a + b) + function(at - a - b)
            second[i, j] = corner / (4.0 * step[i] * step[j])
    return second
