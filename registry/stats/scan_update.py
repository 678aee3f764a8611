"""What a scan of the specimens adds to the probability that a target was sampled, and what remains.

Counts enter as Beta distributions (uniform prior), so that few of them give a wide
answer and none gives no answer of its own: the result is a mean with a credible interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv

from registry.stats.arguments import FloatArray, confidence_level

PRIOR = (1.0, 1.0)
"""Beta(1, 1): before any count every share is as likely as another."""
_DRAWS, _SEED = 20_000, 20260630


@dataclass(frozen=True)
class Share:
    """A share from counts: ``events`` of ``trials``, posterior mean and central credible limits."""

    events: int
    trials: int
    mean: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Credible:
    """A probability with its central credible limits."""

    mean: float
    lower: float
    upper: float


def share(events: int, trials: int, confidence: float = 0.95) -> Share:
    """A share and its credible limits, with a uniform prior.

    Parameters
    ----------
    events, trials
        Counts, 0 <= events <= trials; without trials the prior alone answers.
    confidence
        Between 0 and 1 exclusive.

    Raises
    ------
    ValueError
        Counts or confidence out of range.

    Sources
    -------
    Beta posterior of a binomial share: Beta(1 + events, 1 + trials - events).
    """
    level = confidence_level(confidence)
    a, b = _parameters(events, trials)
    tail = (1.0 - level) / 2.0
    low, high = (float(betaincinv(a, b, one)) for one in (tail, 1.0 - tail))
    return Share(events, trials, a / (a + b), low, high)


def updated(
    sampled: float,
    uptake: bool,
    seen_if_sampled: tuple[int, int],
    seen_if_not: tuple[int, int],
    confidence: float = 0.95,
) -> Credible:
    """Probability that the target was sampled once the specimens were scanned.

    Parameters
    ----------
    sampled
        Probability before the scan, 0 to 1.
    uptake
        Whether tracer was seen in the specimens.
    seen_if_sampled, seen_if_not
        (seen, all) among procedures known to have sampled their target, and among those
        known not to have.
    confidence
        Between 0 and 1 exclusive.

    Raises
    ------
    ValueError
        A probability, count or confidence out of range.

    Sources
    -------
    Bayes' theorem, averaged over seeded draws of the two shares.
    """
    return _summary(_draws_of_update(sampled, uptake, seen_if_sampled, seen_if_not), confidence)


def residual_cancer(
    sampled: float,
    pretest: tuple[int, int],
    *,
    uptake: bool | None = None,
    seen_if_sampled: tuple[int, int] = (0, 0),
    seen_if_not: tuple[int, int] = (0, 0),
    confidence: float = 0.95,
) -> Credible:
    """Probability of cancer at the target after a benign result.

    Parameters
    ----------
    sampled
        Probability that the target was sampled, before the scan.
    pretest
        (cancers, all) among comparable targets before the biopsy.
    uptake, seen_if_sampled, seen_if_not
        As :func:`updated`; without a scan (None) the probability stays as it is.
    confidence
        Between 0 and 1 exclusive.

    Raises
    ------
    ValueError
        As :func:`updated`.

    Sources
    -------
    Bayes' theorem where a sampled cancer is always recognised and a benign target never
    called cancer: y (1 - s) / (1 - y s), with the yield y and the probability s of
    having been sampled; averaged over seeded draws.
    """
    if uptake is None:
        chance = np.full(_DRAWS, _probability(sampled))
    else:
        chance = _draws_of_update(sampled, uptake, seen_if_sampled, seen_if_not)
    cancer = _draws(_generator(2), *pretest)
    missed = cancer * (1.0 - chance)
    return _summary(missed / np.maximum(missed + 1.0 - cancer, np.finfo(float).tiny), confidence)


def _draws_of_update(
    sampled: float, uptake: bool, seen_if_sampled: tuple[int, int], seen_if_not: tuple[int, int]
) -> FloatArray:
    before = _probability(sampled)
    with_target = _draws(_generator(0), *seen_if_sampled)
    without = _draws(_generator(1), *seen_if_not)
    if not uptake:
        with_target, without = 1.0 - with_target, 1.0 - without
    both = before * with_target + (1.0 - before) * without
    return before * with_target / np.maximum(both, np.finfo(float).tiny)


def _generator(stream: int) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64([_SEED, stream]))


def _draws(rng: np.random.Generator, events: int, trials: int) -> FloatArray:
    return rng.beta(*_parameters(events, trials), size=_DRAWS)


def _parameters(events: int, trials: int) -> tuple[float, float]:
    if not 0 <= events <= trials:
        raise ValueError(f"events must lie in 0..trials; got {events} of {trials}")
    return PRIOR[0] + events, PRIOR[1] + trials - events


def _probability(value: float) -> float:
    if not 0.0 <= value <= 1.0:
        raise ValueError(f"sampled must be a probability; got {value}")
    return float(value)


def _summary(draws: FloatArray, confidence: float) -> Credible:
    tail = (1.0 - confidence_level(confidence)) / 2.0
    low, high = (float(one) for one in np.quantile(draws, (tail, 1.0 - tail)))
    return Credible(float(draws.mean()), low, high)
