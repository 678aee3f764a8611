"""Targeting errors as vectors, their length, and agreement of two readings.

Points are errors in mm, achieved minus planned, in one frame of coordinates corrected
for laterality: left and right breasts pooled as they come would cancel a bias.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr, bdtrc, chdtri, fdtrc, fdtri, stdtrit

from registry.stats.arguments import FloatArray, confidence_level, normal_quantile, numbers, same_length

FEW_POINTS = 10
"""Fewer points than this make a region that should not be drawn (project default)."""

Limits = tuple[float | None, float | None]


@dataclass(frozen=True)
class Hotelling:
    """Test that a mean vector has a given value; None, with a reason, for too few points."""

    T2: float | None
    F: float | None
    p: float | None
    crit90: float | None
    crit95: float | None
    n: int
    reason: str = ""


@dataclass(frozen=True)
class MeanRegion:
    """Where the mean vector lies, and where single errors lie: two different regions.

    ``simultaneous`` holds an interval per axis; ``semi_axes`` are those of the region
    of the mean, ``single_semi_axes`` those of single errors, both along the columns
    of ``axes``, largest first. None, with a ``reason``, for too few points; ``caution``
    where there are too few to draw.
    """

    mean: FloatArray | None
    covariance: FloatArray | None
    simultaneous: FloatArray | None
    eigenvalues: FloatArray | None
    axes: FloatArray | None
    semi_axes: FloatArray | None
    single_semi_axes: FloatArray | None
    n: int
    reason: str = ""
    caution: str = ""


@dataclass(frozen=True)
class RadiusQuantile:
    """Quantile of the length of the errors, limits free of any distribution.

    ``upper_bound`` is one-sided. A limit is None where the sample is too small to have
    it; the largest value does not stand in for it.
    """

    radius: float | None
    ci: Limits
    upper_bound: float | None
    q: float
    n: int


@dataclass(frozen=True)
class BlandAltman:
    """Agreement of two readings of the same quantity: first minus second.

    ``limits`` are the limits of agreement, ``ci_lower`` and ``ci_upper`` their own
    intervals. None, with a reason, below two pairs.
    """

    bias: float | None
    sd: float | None
    limits: Limits
    ci_bias: Limits
    ci_lower: Limits
    ci_upper: Limits
    n: int
    reason: str = ""


def hotelling_test(points: ArrayLike, mean: ArrayLike | None = None) -> Hotelling:
    """Test whether errors have a systematic part.

    Parameters
    ----------
    points
        Errors, shape (n, p), in mm.
    mean
        Value tested, shape (p,); no systematic part where not given.

    Returns
    -------
    Hotelling
        ``crit90`` and ``crit95`` are the values of T2 needed. Needs n >= p + 1.

    Raises
    ------
    ValueError
        Not two-dimensional, values missing, mean of another length.

    Sources
    -------
    Johnson and Wichern, Applied Multivariate Statistical Analysis, section 5.2.
    """
    errors = _points(points)
    n, p = errors.shape
    centre = np.zeros(p) if mean is None else numbers(mean, "mean")
    if centre.shape != (p,):
        raise ValueError(f"mean must hold {p} values; got shape {centre.shape}")
    if reason := _too_few(errors):
        return Hotelling(None, None, None, None, None, n, reason)
    shift = errors.mean(axis=0) - centre
    t2 = float(n * shift @ np.linalg.solve(np.cov(errors, rowvar=False).reshape(p, p), shift))
    f = t2 * (n - p) / (p * (n - 1))
    return Hotelling(t2, f, float(fdtrc(p, n - p, f)), _t2_critical(n, p, 0.90), _t2_critical(n, p, 0.95), n)


def mean_region(points: ArrayLike, confidence: float = 0.95) -> MeanRegion:
    """Confidence region of the mean error, and the ellipsoid of single errors.

    Parameters
    ----------
    points
        As :func:`hotelling_test`.
    confidence
        Joint confidence of the region of the mean; share of single errors inside
        theirs, if errors are normal and the estimates taken as known.

    Returns
    -------
    MeanRegion
        Needs n >= p + 1; below 10 points with a caution against drawing.

    Raises
    ------
    ValueError
        As :func:`hotelling_test`; confidence outside (0, 1).

    Sources
    -------
    Johnson and Wichern, Applied Multivariate Statistical Analysis, section 5.4.
    """
    errors = _points(points)
    level = confidence_level(confidence)
    n, p = errors.shape
    if reason := _too_few(errors):
        return MeanRegion(None, None, None, None, None, None, None, n, reason)
    mean = errors.mean(axis=0)
    covariance = np.cov(errors, rowvar=False).reshape(p, p)
    values, directions = np.linalg.eigh(covariance)
    values, directions = np.maximum(values[::-1], 0.0), directions[:, ::-1]
    critical = _t2_critical(n, p, level)
    half = np.sqrt(critical * np.diag(covariance) / n)
    return MeanRegion(
        mean=mean,
        covariance=covariance,
        simultaneous=np.column_stack([mean - half, mean + half]),
        eigenvalues=values,
        axes=directions,
        semi_axes=np.sqrt(values * critical / n),
        single_semi_axes=np.sqrt(values * float(chdtri(p, 1.0 - level))),
        n=n,
        caution=f"fewer than {FEW_POINTS} points: do not draw the region" if n < FEW_POINTS else "",
    )


def ellipse_outline(
    centre: ArrayLike, axes: ArrayLike, semi_axes: ArrayLike, corners: int = 72
) -> FloatArray:
    """Outline of an ellipse in a plane, to be drawn.

    Parameters
    ----------
    centre
        Shape (2,), mm.
    axes, semi_axes
        As :class:`MeanRegion` holds them for points in a plane: directions as columns,
        shape (2, 2), and half lengths, shape (2,), mm.
    corners
        Number of points on the outline, 3 or more.

    Returns
    -------
    array
        Shape (corners + 1, 2), mm; the last point is the first.

    Raises
    ------
    ValueError
        Shapes that are not those of a plane, too few corners.
    """
    middle, turn, half = numbers(centre, "centre"), numbers(axes, "axes"), numbers(semi_axes, "semi_axes")
    if (middle.shape, turn.shape, half.shape) != ((2,), (2, 2), (2,)):
        raise ValueError(f"an ellipse lies in a plane; got shapes {middle.shape}, {turn.shape}, {half.shape}")
    if corners < 3:
        raise ValueError(f"corners must be 3 or more; got {corners}")
    angle = np.linspace(0.0, 2.0 * np.pi, corners + 1)
    outline: FloatArray = middle + np.column_stack([np.cos(angle), np.sin(angle)]) * half @ turn.T
    outline[-1] = outline[0]
    return outline


def radius_quantile(points: ArrayLike, q: float, confidence: float = 0.95) -> RadiusQuantile:
    """Quantile of the length of the errors with an order-statistic interval.

    Parameters
    ----------
    points
        Errors, shape (n, p), or their lengths, shape (n,), in mm.
    q
        0.5 for the median, 0.95 for the length that 95 % stay within.
    confidence
        Confidence of the two-sided interval and of the one-sided bound.

    Returns
    -------
    RadiusQuantile
        Quantile by linear interpolation between order statistics; None without points.
        For q = 0.95 the interval has no upper limit below 72 points, the bound none
        below 59.

    Raises
    ------
    ValueError
        Values missing, negative lengths, q or confidence outside (0, 1).

    Sources
    -------
    As :func:`order_statistic_ranks`.
    """
    errors = numbers(points, "points")
    lengths = np.sort(numbers(errors, "points", minimum=0.0) if errors.ndim == 1 else _lengths(errors))
    n = lengths.size
    low, high = order_statistic_ranks(n, q, confidence)
    bound = _upper_rank(n, q, 1.0 - confidence)
    ci = tuple(None if rank is None else float(lengths[rank - 1]) for rank in (low, high, bound))
    return RadiusQuantile(float(np.quantile(lengths, q)) if n else None, (ci[0], ci[1]), ci[2], q, n)


def bland_altman(
    a: ArrayLike, b: ArrayLike, multiplier: float = 1.96, confidence: float = 0.95
) -> BlandAltman:
    """Limits of agreement of two readings, with the uncertainty of the limits.

    Parameters
    ----------
    a, b
        Paired readings, same unit, shape (n,).
    multiplier
        Standard deviations from the bias to a limit. 1.96 is read as the normal
        quantile it stands for; 2 gives the form of the first paper, whose limits have
        the standard error s * sqrt(3 / n).
    confidence
        Confidence of the intervals around bias and limits, by t with n - 1 degrees of
        freedom.

    Returns
    -------
    BlandAltman
        None, with a reason, below two pairs.

    Raises
    ------
    ValueError
        Unequal lengths, values missing, multiplier not positive.

    Sources
    -------
    Bland and Altman 1986, Lancet i:307-310, and 1999, Stat Methods Med Res 8:135-160.
    """
    first, second = numbers(a, "a"), numbers(b, "b")
    n = same_length(a=first, b=second)
    level = confidence_level(confidence)
    if multiplier <= 0:
        raise ValueError(f"multiplier must be above 0; got {multiplier}")
    if n < 2:
        none: Limits = (None, None)
        return BlandAltman(None, None, none, none, none, none, n, "needs two pairs")
    differences = first - second
    bias, sd = float(differences.mean()), float(differences.std(ddof=1))
    reach = normal_quantile(0.95) if multiplier == 1.96 else multiplier
    error = sqrt(3.0 / n) if multiplier == 2 else sqrt(1.0 / n + reach**2 / (2.0 * (n - 1)))
    t = float(stdtrit(n - 1, (1.0 + level) / 2.0))

    def around(value: float, half: float) -> Limits:
        return value - half, value + half

    lower, upper = bias - reach * sd, bias + reach * sd
    half = t * sd * error
    return BlandAltman(
        bias=bias,
        sd=sd,
        limits=(lower, upper),
        ci_bias=around(bias, t * sd / sqrt(n)),
        ci_lower=around(lower, half),
        ci_upper=around(upper, half),
        n=n,
    )


def order_statistic_ranks(n: int, q: float, confidence: float = 0.95) -> tuple[int | None, int | None]:
    """Ranks of the sorted values that enclose a quantile, whatever the distribution.

    Parameters
    ----------
    n
        Number of values, whole, 0 or more.
    q
        Quantile, between 0 and 1 exclusive: 0.5 for the median.
    confidence
        Two-sided confidence; each side keeps at least half of the rest.

    Returns
    -------
    (lower, upper)
        Ranks from 1 to n. None where no value is extreme enough to serve as the limit:
        the smallest or largest value must not stand in for it. The 95th percentile has
        no upper limit below 72 values.

    Raises
    ------
    ValueError
        n negative or fractional, q or confidence outside (0, 1).

    Sources
    -------
    Conover, Practical Nonparametric Statistics, section on confidence intervals for
    quantiles (binomial counts below the quantile). From memory.
    """
    size = int(n)
    if size != n or size < 0:
        raise ValueError(f"n must be a whole number of 0 or more; got {n}")
    if not 0.0 < q < 1.0:
        raise ValueError(f"q must lie between 0 and 1, both ends excluded; got {q}")
    tail = (1.0 - confidence_level(confidence)) / 2.0
    return _lower_rank(size, q, tail), _upper_rank(size, q, tail)


def _lower_rank(size: int, q: float, tail: float) -> int | None:
    """Largest rank r with P(fewer than r values below the quantile) <= tail."""
    low, high = 0, size
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if bdtr(middle - 1, size, q) <= tail else (low, middle - 1)
    return low or None


def _upper_rank(size: int, q: float, tail: float) -> int | None:
    """Smallest rank s with P(s or more values below the quantile) <= tail."""
    low, high = 1, size + 1
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if bdtrc(middle - 1, size, q) <= tail else (middle + 1, high)
    return low if low <= size else None


def _points(points: ArrayLike) -> FloatArray:
    errors = numbers(points, "points")
    if errors.ndim != 2:
        raise ValueError(f"points must be rows of coordinates; got {errors.ndim} dimensions")
    return errors


def _lengths(errors: FloatArray) -> FloatArray:
    lengths: FloatArray = np.sqrt((_points(errors) ** 2).sum(axis=1))
    return lengths


def _too_few(errors: FloatArray) -> str:
    n, p = errors.shape
    if n < p + 1:
        return f"needs {p + 1} points; got {n}"
    if np.linalg.matrix_rank(errors - errors.mean(axis=0)) < p:
        return "the points lie in a plane or on a line: no region"
    return ""


def _t2_critical(n: int, p: int, level: float) -> float:
    return float(p * (n - 1) / (n - p) * fdtri(p, n - p, level))
