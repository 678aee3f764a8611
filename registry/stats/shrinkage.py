"""Rates of small units drawn towards the common rate, shown beside the raw ones."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, betaln, expit, logit

from registry.stats.arguments import FloatArray, confidence_level, whole_counts
from registry.stats.binomial_normal import fit, lowest_point, units_with_trials, why_not
from registry.stats.roots import rising_roots

GRID = 14
"""Nodes for the shrinkage and for the mean in the posterior."""

NO_SPREAD_SIZE = 1e6
"""A beta size above this is no spread between units at all."""


@dataclass(frozen=True)
class BetaBinomial:
    """Common ``mean``, its ``size`` in trials' worth, and each unit's shrunken rate.

    ``eb`` takes the fitted mean and size as known; ``lower`` and ``upper`` do not: they
    hold the middle of each unit's posterior over all means and sizes the data allow.
    All None, or NaN, with a ``reason``, where the units cannot show a spread; ``size``
    infinite where they show none.
    """

    mean: float | None
    size: float | None
    eb: FloatArray
    lower: FloatArray
    upper: FloatArray
    reason: str = ""


@dataclass(frozen=True)
class LogitNormal:
    """Mean and standard deviation of the units' logits, and each unit's shrunken rate.

    ``eb`` is the most likely rate of each unit.
    """

    mu: float | None
    sd: float | None
    se_mu: float | None
    eb: FloatArray
    reason: str = ""


def beta_binomial(x: ArrayLike, n: ArrayLike, confidence: float = 0.95) -> BetaBinomial:
    """Empirical-Bayes rates from a beta distribution fitted to all units.

    Parameters
    ----------
    x, n
        Events and trials of each unit, whole, trials above 0, shape (k,).
    confidence
        Posterior probability between ``lower`` and ``upper``.

    Returns
    -------
    BetaBinomial
        None and NaN for fewer than two units or a constant outcome.

    Raises
    ------
    ValueError
        Counts out of range, a unit without trials, lengths that differ.

    Sources
    -------
    Griffiths 1973, Biometrics 29:637-648 (likelihood); limits with a uniform prior on
    the shrinkage, Daniels 1999, Can J Stat 27:567-578, and Jeffreys' on the mean. From
    memory. Limits from the fitted beta alone cover 86 % where 95 % is meant.
    """
    events, trials = units_with_trials(x, n)
    tail = (1.0 - confidence_level(confidence)) / 2.0
    nothing = np.full(events.size, np.nan)
    if reason := why_not(events, trials):
        return BetaBinomial(None, None, nothing, nothing, nothing, reason)

    def minus_log_likelihood(parameters: FloatArray) -> float:
        mean, size = expit(parameters[:1]), np.exp(parameters[1:])
        return -float(_log_likelihood(events, trials, mean, size)[0])

    pooled = float(logit(events.sum() / trials.sum()))
    found = lowest_point(minus_log_likelihood, [[pooled, start] for start in (1.0, 4.0, 8.0)])
    mean, size = float(expit(found[0])), float(np.exp(min(found[1], 700.0)))
    lower, upper = _posterior_limits(events, trials, tail)
    if size > NO_SPREAD_SIZE:
        common = float(events.sum() / trials.sum())
        reason = "the units show no spread beyond chance"
        return BetaBinomial(common, inf, np.full(events.size, common), lower, upper, reason)
    shrunken = (events + mean * size) / (trials + size)
    return BetaBinomial(mean, size, shrunken, lower, upper)


def logit_normal(x: ArrayLike, n: ArrayLike) -> LogitNormal:
    """Shrunken rates from a random-intercept logistic model.

    Parameters
    ----------
    x, n
        As :func:`beta_binomial`.

    Returns
    -------
    LogitNormal
        None and NaN for fewer than two units or a constant outcome; ``sd`` 0 is valid.

    Raises
    ------
    ValueError
        As :func:`beta_binomial`.

    Sources
    -------
    As :func:`registry.stats.binomial_normal.fit`.
    """
    events, trials = units_with_trials(x, n)
    if reason := why_not(events, trials):
        return LogitNormal(None, None, None, np.full(events.size, np.nan), reason)
    found = fit(events, trials)
    return LogitNormal(found.mu, found.sd, found.se_mu, expit(found.mu + found.modes))


def any_positive(a: float, b: float, n: ArrayLike) -> FloatArray:
    """Probability that at least one of n cores is positive when the chance varies by lesion.

    Parameters
    ----------
    a, b
        Shape of the beta distribution of the chance per core, above 0.
    n
        Cores, whole.

    Returns
    -------
    array
        Always below 1 - (1 - mean chance)^n for more than one core; 0 for no core.

    Raises
    ------
    ValueError
        Shapes not positive, cores negative or fractional.

    Sources
    -------
    Beta-binomial probability of no positive core.
    """
    if a <= 0 or b <= 0:
        raise ValueError(f"a and b must be above 0; got {a} and {b}")
    cores = np.atleast_1d(whole_counts(n, "n"))
    return np.asarray(-np.expm1(betaln(a, b + cores) - betaln(a, b)), dtype=np.float64)


def _log_likelihood(events: FloatArray, trials: FloatArray, mean: FloatArray, size: FloatArray) -> FloatArray:
    """Log-likelihood of all units at each of several means and sizes, less a constant."""
    a, b = (mean * size)[:, None], ((1.0 - mean) * size)[:, None]
    logs: FloatArray = (betaln(events + a, trials - events + b) - betaln(a, b)).sum(axis=1)
    return logs


def _posterior_limits(events: FloatArray, trials: FloatArray, tail: float) -> tuple[FloatArray, FloatArray]:
    """Quantiles of each unit's posterior, a mixture of betas over a grid of mean and size."""
    mean, size, weight = _posterior_grid(events, trials)
    a, b = events + (mean * size)[:, None], trials - events + ((1.0 - mean) * size)[:, None]
    log_scale = betaln(a, b)
    zero, one = np.zeros(events.size), np.ones(events.size)

    def density(p: FloatArray) -> FloatArray:
        return weight @ np.exp((a - 1.0) * np.log(p) + (b - 1.0) * np.log1p(-p) - log_scale)

    def limit(level: float) -> FloatArray:
        return rising_roots(lambda p: weight @ betainc(a, b, p) - level, density, zero, one)

    return limit(tail), limit(1.0 - tail)


def _posterior_grid(events: FloatArray, trials: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Means and sizes with their posterior weights, the negligible left out."""
    node, share = np.polynomial.legendre.leggauss(GRID)
    shrinkage = (node + 1.0) / 2.0
    size = float(trials.mean()) * shrinkage / (1.0 - shrinkage)
    pooled = (events.sum() + 0.5) / (trials.sum() + 1.0)
    effective = (trials / (1.0 + (trials - 1.0) / (size[:, None] + 1.0))).sum(axis=1)
    reach = 5.0 / np.sqrt(effective * pooled * (1.0 - pooled))
    place = logit(pooled) + reach[:, None] * node
    means = expit(place).ravel()
    sizes = np.repeat(size, GRID)
    # Jeffreys' prior of the mean, on the logit scale, times the width of the grid there
    log_weight = _log_likelihood(events, trials, means, sizes) + np.log(means * (1.0 - means)) / 2.0
    log_weight += np.log(np.outer(share * reach, share)).ravel()
    weight = np.exp(log_weight - log_weight.max())
    kept = weight > weight.max() * 1e-4
    return means[kept], sizes[kept], weight[kept] / weight[kept].sum()
