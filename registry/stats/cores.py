"""Chance that a core is positive, when it differs between lesions and cores share containers."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit, roots_jacobi

from registry.stats.arguments import FloatArray, numbers, same_length, whole_counts
from registry.stats.binomial_normal import lowest_point

LARGEST_SIZE = 500.0
"""A beta size above this is no spread between lesions at all."""

SMALLEST_SIZE = 1e-3
"""A beta size below this sorts lesions into those that are always positive and never."""


@dataclass(frozen=True)
class CoreChance:
    """Beta distribution of the chance per core over lesions: ``mean``, and ``size`` in cores' worth.

    ``a`` and ``b`` are its shapes. All None, with a ``reason``, where nothing can be
    fitted; ``size`` infinite, and the shapes None, where the lesions show no spread.
    """

    mean: float | None
    size: float | None
    a: float | None
    b: float | None
    lesions: int
    containers: int
    reason: str = ""


def pattern_probability(a: float, b: float, positive: ArrayLike, negative: int) -> float:
    """Probability that some containers of a lesion hold a positive core and the other cores are negative.

    Parameters
    ----------
    a, b
        Shapes of the beta distribution of the chance per core, above 0.
    positive
        Cores in each container that is positive, whole, 1 or more; may be empty.
    negative
        Cores in all negative containers together, whole, 0 or more.

    Returns
    -------
    float
        Expectation of (1-p)^negative times the product of 1 - (1-p)^cores.

    Raises
    ------
    ValueError
        Shapes not positive, cores negative or fractional.

    Sources
    -------
    Containers are pooled tests as in Dorfman 1943, Ann Math Stat 14:436-440; the integral is
    exact, since the integrand is a polynomial (Gauss-Jacobi quadrature).
    """
    if a <= 0 or b <= 0:
        raise ValueError(f"a and b must be above 0; got {a} and {b}")
    held = np.atleast_1d(whole_counts(positive, "positive"))
    rest = int(whole_counts(negative, "negative"))
    nodes, weights = _nodes(a, b, int(held.sum()) + rest)
    return float(weights @ (nodes**rest * np.prod(1.0 - nodes[:, None] ** held, axis=1)))


def core_chance(lesion: ArrayLike, cores: ArrayLike, positive: ArrayLike) -> CoreChance:
    """Fit the distribution of the chance per core over lesions to containers of one or several cores.

    Parameters
    ----------
    lesion
        Label of the lesion of each container; shape (n,).
    cores
        Cores in each container, whole, 1 or more.
    positive
        1 where the container holds a positive core, 0 where none is.

    Returns
    -------
    CoreChance
        Maximum likelihood. None for fewer than two lesions, and where all containers have
        the same outcome.

    Raises
    ------
    ValueError
        Lengths that differ, containers without cores, outcomes other than 0 or 1.

    Sources
    -------
    As :func:`pattern_probability`. With one core a container it is the beta-binomial fit.
    """
    held, outcome = whole_counts(cores, "cores"), whole_counts(positive, "positive")
    labels = np.asarray(lesion)
    same_length(lesion=labels, cores=held, positive=outcome)
    if (held < 1).any():
        raise ValueError(f"cores must be 1 or more; got {held[held < 1].flat[0]:g}")
    if (outcome > 1).any():
        raise ValueError(f"positive must be 0 or 1; got {outcome[outcome > 1].flat[0]:g}")
    lesions = int(np.unique(labels).size)
    if lesions < 2:
        return CoreChance(None, None, None, None, lesions, held.size, "needs two lesions")
    if outcome.min() == outcome.max():
        said = "every container was positive" if outcome.any() else "no container was positive"
        return CoreChance(None, None, None, None, lesions, held.size, said)
    patterns = _patterns(labels, held, outcome)
    degree = max(sum(found) + rest for found, rest in patterns)

    def minus_log_likelihood(parameters: FloatArray) -> float:
        mean, size = float(expit(parameters[0])), float(np.exp(parameters[1]))
        size = min(max(size, SMALLEST_SIZE), LARGEST_SIZE)
        mean = min(max(mean, 1e-9), 1.0 - 1e-9)
        nodes, weights = _nodes(mean * size, (1.0 - mean) * size, degree)
        total = 0.0
        for (found, rest), count in patterns.items():
            terms = nodes**rest
            for one in found:
                terms = terms * (1.0 - nodes**one)
            total += count * float(np.log(max(float(weights @ terms), 1e-300)))
        return -total

    start = float(logit(min(max(outcome.sum() / held.sum(), 1e-4), 1.0 - 1e-4)))
    best = lowest_point(minus_log_likelihood, [[start, size] for size in (-1.0, 1.0, 3.0)])
    mean, size = float(expit(best[0])), float(np.exp(min(best[1], 700.0)))
    if size >= 0.99 * LARGEST_SIZE:
        return CoreChance(
            mean, inf, None, None, lesions, held.size, "the lesions show no spread beyond chance"
        )
    size = max(size, SMALLEST_SIZE)
    return CoreChance(mean, size, mean * size, (1.0 - mean) * size, lesions, held.size)


def _nodes(a: float, b: float, degree: int) -> tuple[FloatArray, FloatArray]:
    """Values of 1 - p and their weights, exact for polynomials up to the degree."""
    x, weights = roots_jacobi(degree // 2 + 1, a - 1.0, b - 1.0)
    return numbers((1.0 + x) / 2.0, "nodes"), np.asarray(weights / weights.sum(), dtype=np.float64)


def _patterns(
    labels: np.ndarray, held: FloatArray, outcome: FloatArray
) -> dict[tuple[tuple[int, ...], int], int]:
    """Cores of the positive containers, and all cores of the negative ones -> lesions that have them so."""
    found: dict[object, list[int]] = {}
    rest: dict[object, int] = {}
    for label, cores, positive in zip(
        labels.tolist(), held.astype(int).tolist(), outcome.tolist(), strict=True
    ):
        found.setdefault(label, [])
        rest.setdefault(label, 0)
        if positive:
            found[label].append(cores)
        else:
            rest[label] += cores
    counted: dict[tuple[tuple[int, ...], int], int] = {}
    for label, cores_found in found.items():
        key = (tuple(sorted(cores_found)), rest[label])
        counted[key] = counted.get(key, 0) + 1
    return counted
