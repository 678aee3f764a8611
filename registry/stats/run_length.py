"""How long a chart runs until it signals: exact chains and integral equations."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from registry.stats.arguments import FloatArray

NODES = 120
"""Gauss-Legendre nodes of the integral equations; 60 already give eight digits."""

FINEST = 1000
"""Largest denominator of a reference value that is read as a fraction."""

LONGEST = 2_000_000
"""Steps after which the search for a median stops."""


@dataclass(frozen=True)
class RunLength:
    """Mean (``arl``) and median number of steps until a signal, from a sum of 0.

    ``median`` is None where it lies beyond two million steps.
    """

    arl: float
    median: int | None


@dataclass
class Chain:
    """Markov chain over the heights 0 .. size - 1 of a sum; anything higher signals."""

    size: int
    _rows: list[NDArray[np.int64]] = field(default_factory=list)
    _columns: list[NDArray[np.int64]] = field(default_factory=list)
    _chances: list[FloatArray] = field(default_factory=list)

    def add(self, state: NDArray[np.int64], target: NDArray[np.int64], chance: float | FloatArray) -> None:
        """Moves from each state to its target with a probability; past the top it signals."""
        inside = target < self.size
        self._rows.append(state[inside])
        self._columns.append(target[inside])
        self._chances.append(np.broadcast_to(np.asarray(chance, dtype=np.float64), state.shape)[inside])

    def _matrix(self) -> Any:
        from scipy.sparse import csc_array

        entries = (np.concatenate(self._chances), (np.concatenate(self._rows), np.concatenate(self._columns)))
        return csc_array(entries, shape=(self.size, self.size))

    def mean(self) -> float:
        """Mean number of steps from height 0 to the signal."""
        from scipy.sparse import eye_array
        from scipy.sparse.linalg import spsolve

        system = (eye_array(self.size, format="csc") - self._matrix()).tocsc()
        return float(np.atleast_1d(spsolve(system, np.ones(self.size)))[0])

    def run_length(self) -> RunLength:
        """Mean and median number of steps from height 0 to the signal."""
        onward = self._matrix().T.tocsr()
        still = np.zeros(self.size)
        still[0] = 1.0
        for step in range(1, LONGEST + 1):
            still = onward @ still
            if still.sum() <= 0.5:
                return RunLength(self.mean(), step)
        return RunLength(self.mean(), None)


def poisson_cusum_arl(k: float, h: float, mean: float) -> float:
    """Mean run length of max(0, S + X - k) until S >= h, X Poisson counts.

    Parameters
    ----------
    k, h
        Reference value and limit, h above 0; read as fractions with a denominator of
        at most 1000.
    mean
        True mean count per step, above 0.

    Returns
    -------
    float
        From a sum of 0.

    Raises
    ------
    ValueError
        A value is not positive.

    Sources
    -------
    Brook and Evans 1972, Biometrika 59:539-549 (exact on the lattice).
    """
    if mean <= 0:
        raise ValueError(f"mean must be above 0; got {mean}")
    from scipy.stats import poisson

    return _count_chain(k, h, lambda top: poisson.pmf(np.arange(top + 1), mean))


def binomial_cusum_arl(n: int, k: float, h: float, p: float) -> float:
    """Mean run length of max(0, S + X - k) until S >= h, X events among n trials.

    Parameters
    ----------
    n
        Trials per step, whole, 1 or more.
    k, h
        As :func:`poisson_cusum_arl`.
    p
        True rate, between 0 and 1 exclusive.

    Returns, Raises, Sources
    ------------------------
    As :func:`poisson_cusum_arl`.
    """
    if n != int(n) or n < 1:
        raise ValueError(f"n must be a whole number of 1 or more; got {n}")
    if not 0.0 < p < 1.0:
        raise ValueError(f"p must lie between 0 and 1, both ends excluded; got {p}")
    from scipy.stats import binom

    return _count_chain(k, h, lambda top: binom.pmf(np.arange(top + 1), n, p))


def normal_cusum_arl(k: float, h: float, shift: float = 0.0) -> float:
    """Mean run length of max(0, S + X - k) until S > h, X normal with the shift as mean.

    Parameters
    ----------
    k, h
        Reference value (0 or more) and limit (above 0), in standard deviations.
    shift
        True mean, in standard deviations.

    Returns
    -------
    float
        One-sided, from a sum of 0. Two sides together: one over the sum of inverses.

    Raises
    ------
    ValueError
        k negative, h not positive.

    Sources
    -------
    Integral equation of Page 1954, Biometrika 41:100-115, by Gauss-Legendre nodes.
    """
    if k < 0 or h <= 0:
        raise ValueError(f"k must be 0 or more and h above 0; got {k} and {h}")
    node, weight = _nodes(0.0, h)
    points = np.concatenate([[0.0], node])
    kernel = np.empty((points.size, points.size))
    kernel[:, 0] = ndtr(k - points - shift)
    kernel[:, 1:] = weight * _density(node[None, :] + k - points[:, None] - shift)
    return float(np.linalg.solve(np.eye(points.size) - kernel, np.ones(points.size))[0])


def ewma_arl(smoothing: float, width: float, shift: float = 0.0) -> float:
    """Mean run length of a two-sided exponentially weighted mean, limits at their final width.

    Parameters
    ----------
    smoothing
        Weight of the newest value, above 0, at most 1.
    width
        Limits in final standard deviations of the mean, above 0.
    shift
        True mean of the normal values, in their standard deviations.

    Returns
    -------
    float
        From a mean of 0.

    Raises
    ------
    ValueError
        Smoothing outside (0, 1], width not positive.

    Sources
    -------
    Integral equation of Crowder 1987, Technometrics 29:401-407 (from memory); checked
    against Lucas and Saccucci 1990, Technometrics 32:1-12.
    """
    if not 0.0 < smoothing <= 1.0:
        raise ValueError(f"smoothing must lie above 0 and not above 1; got {smoothing}")
    if width <= 0:
        raise ValueError(f"width must be above 0; got {width}")
    half = width * sqrt(smoothing / (2.0 - smoothing))
    node, weight = _nodes(-half, half)
    points = np.concatenate([[0.0], node])
    step = (node[None, :] - (1.0 - smoothing) * points[:, None]) / smoothing - shift
    kernel = np.zeros((points.size, points.size))
    kernel[:, 1:] = weight * _density(step) / smoothing
    return float(np.linalg.solve(np.eye(points.size) - kernel, np.ones(points.size))[0])


def _count_chain(k: float, h: float, chances: Any) -> float:
    if k <= 0 or h <= 0:
        raise ValueError(f"k and h must be above 0; got {k} and {h}")
    down, height = (Fraction(value).limit_denominator(FINEST) for value in (k, h))
    unit = np.lcm(down.denominator, height.denominator)
    size, drop = int(height * int(unit)), int(down * int(unit))
    probability = chances((size + drop) // int(unit) + 1)
    state = np.arange(size)
    chain = Chain(size)
    for count, chance in enumerate(probability):
        chain.add(state, np.maximum(state + count * int(unit) - drop, 0), float(chance))
    return chain.mean()


def _nodes(low: float, high: float) -> tuple[FloatArray, FloatArray]:
    node, weight = np.polynomial.legendre.leggauss(NODES)
    half = (high - low) / 2.0
    return low + half * (node + 1.0), half * weight


def _density(value: FloatArray) -> FloatArray:
    density: FloatArray = np.exp(-(value**2) / 2.0) / np.sqrt(2.0 * np.pi)
    return density
