"""How likely the next error is to be small: from the distribution of errors, beside how often it was (0042)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from registry.aim.bases import PARTS
from registry.numerals import grouped
from registry.stats.proportions import wilson_interval
from registry.stats.vectors import FEW_POINTS
from registry.targeting import probability_within

if TYPE_CHECKING:
    import polars as pl

REACHES_MM = (5.0, 10.0)
"""Lengths asked for: the one of the measure targeted_within_5mm, and its double."""

DRAWS, COUNTED, SEED = 400, 4000, 1
"""Parametric bootstrap: samples, errors counted in each, seed."""

_FEWEST = FEW_POINTS


@dataclass(frozen=True)
class Within:
    """Chance that an error is at most ``reach_mm`` long, and the ``x`` of ``n`` errors that were.

    ``chance`` is that of a normal distribution with the mean and covariance of the ``n``
    vectors, its limits by parametric bootstrap; None below 10 vectors or without spread.
    ``share`` has Wilson limits. Both count the same vectors.
    """

    reach_mm: float
    n: int
    x: int
    share: float | None
    share_limits: tuple[float | None, float | None]
    chance: float | None
    chance_limits: tuple[float | None, float | None]


def within(vectors: pl.DataFrame, *, confidence: float = 0.95) -> tuple[Within, ...]:
    """Chance of a small error, one for each of ``REACHES_MM``.

    Parameters
    ----------
    vectors
        From :func:`registry.aim.points`.
    confidence
        Two-sided.

    Sources
    -------
    Length of a normal vector: :func:`registry.targeting.probability_within`, on the principal
    axes of the covariance, where the parts are independent.
    """
    errors = vectors.select(PARTS).to_numpy()
    n = len(errors)
    lengths = np.linalg.norm(errors, axis=1)
    chances = limits = None
    if n >= _FEWEST and errors.std(axis=0).max() > 0.0:
        mean, covariance = errors.mean(axis=0), np.cov(errors.T)
        chances = _chances(mean, covariance)
        limits = _limits(mean, covariance, n, confidence)
    made = []
    for place, reach in enumerate(REACHES_MM):
        x = int((lengths <= reach).sum())
        made.append(
            Within(
                reach,
                n,
                x,
                x / n if n else None,
                wilson_interval(x, n, confidence),
                None if chances is None else float(chances[place]),
                (None, None) if limits is None else (float(limits[0, place]), float(limits[1, place])),
            )
        )
    return tuple(made)


def _chances(mean: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    variance, axes = np.linalg.eigh(covariance)
    found: np.ndarray = probability_within(
        np.array(REACHES_MM), np.sqrt(np.maximum(variance, 0.0)), axes.T @ mean
    )
    return found


def _limits(mean: np.ndarray, covariance: np.ndarray, n: int, confidence: float) -> np.ndarray:
    """Percentiles over samples of n from the fitted distribution; each chance counted over one set of errors."""
    draw = np.random.default_rng(SEED)
    root = _root(covariance)
    unit = draw.standard_normal((COUNTED, len(mean)))
    found = np.empty((DRAWS, len(REACHES_MM)))
    for place in range(DRAWS):
        again = mean + draw.standard_normal((n, len(mean))) @ root
        squared = ((again.mean(axis=0) + unit @ _root(np.cov(again.T))) ** 2).sum(axis=1)
        found[place] = (squared[:, None] <= np.array(REACHES_MM) ** 2).mean(axis=0)
    tail = (1.0 - confidence) / 2.0
    limits: np.ndarray = np.quantile(found, [tail, 1.0 - tail], axis=0)
    return limits


def _root(covariance: np.ndarray) -> np.ndarray:
    variance, axes = np.linalg.eigh(covariance)
    root: np.ndarray = (axes * np.sqrt(np.maximum(variance, 0.0))) @ axes.T
    return root


def sentence(one: Within, minimum: int) -> str:
    """What to expect of one further procedure aimed like these."""
    counts = f"Within {one.reach_mm:g} mm: {grouped(one.x)} of {grouped(one.n)}"
    low, high = one.share_limits
    if one.n < minimum or one.share is None or low is None or high is None:
        return f"{counts}; too few for more than counts."
    seen = f"{counts}, {_percent(one.share)} ({_percent(low)} to {_percent(high)}, Wilson)"
    low, high = one.chance_limits
    if one.chance is None or low is None or high is None:
        return f"{seen}."
    return (
        f"{seen}; of one further procedure aimed like these, by the mean and spread of the errors taken as normal: {_percent(one.chance)} "
        f"({_percent(low)} to {_percent(high)}, parametric bootstrap)."
    )


def _percent(value: float) -> str:
    return f"{100 * value:.1f} %"
