"""What every estimator asks of its arguments, so that the sentence of refusal is one."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

FloatArray = NDArray[np.float64]


def confidence_level(confidence: float) -> float:
    """Confidence as a float strictly between 0 and 1.

    Raises
    ------
    ValueError
        Outside the open interval, or not a number.
    """
    level = float(confidence)
    if not 0.0 < level < 1.0:
        raise ValueError(f"confidence must lie between 0 and 1, both ends excluded; got {confidence}")
    return level


def normal_quantile(confidence: float) -> float:
    """Two-sided standard normal quantile, 1.96 for 0.95.

    Raises
    ------
    ValueError
        As :func:`confidence_level`.
    """
    return float(ndtri((1.0 + confidence_level(confidence)) / 2.0))


def numbers(values: ArrayLike, name: str, *, minimum: float | None = None) -> FloatArray:
    """Array of finite numbers, one dimension or none.

    Parameters
    ----------
    values
        Anything numpy reads as numbers.
    name
        Word used in the message.
    minimum
        Smallest value allowed, where there is one.

    Raises
    ------
    ValueError
        Not numeric, not finite, or below the minimum; the offending value is named.
    """
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as problem:
        raise ValueError(f"{name} must be numbers; got {values!r}") from problem
    wrong = ~np.isfinite(array)
    if wrong.any():
        raise ValueError(f"{name} must be finite numbers; got {array[wrong].flat[0]}")
    if minimum is not None and (array < minimum).any():
        raise ValueError(f"{name} must be at least {minimum:g}; got {array[array < minimum].flat[0]:g}")
    return array


def whole_counts(values: ArrayLike, name: str) -> FloatArray:
    """Array of whole numbers of 0 or more, kept as floats.

    Raises
    ------
    ValueError
        A value is negative, fractional, missing or not a number.
    """
    array = numbers(values, name, minimum=0.0)
    broken = array != np.floor(array)
    if broken.any():
        raise ValueError(f"{name} must be whole numbers; got {array[broken].flat[0]:g}")
    return array


def same_length(**columns: NDArray[Any]) -> int:
    """Common length of one-dimensional columns.

    Raises
    ------
    ValueError
        A column has another length or is not one-dimensional.
    """
    for name, column in columns.items():
        if column.ndim != 1:
            raise ValueError(f"{name} must be one-dimensional; got {column.ndim} dimensions")
    lengths = {name: column.size for name, column in columns.items()}
    if len(set(lengths.values())) > 1:
        said = ", ".join(f"{name} {length}" for name, length in lengths.items())
        raise ValueError(f"columns must have the same length; got {said}")
    return next(iter(lengths.values()))


def events_of_trials(events: ArrayLike, trials: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Whole counts with 0 <= events <= trials, of one shape.

    Raises
    ------
    ValueError
        A count is not a whole number of 0 or more, events exceed trials, or the
        shapes do not fit together.
    """
    x = whole_counts(events, "events")
    n = whole_counts(trials, "trials")
    try:
        x, n = np.broadcast_arrays(x, n)
    except ValueError as problem:
        raise ValueError(f"events and trials must have the same shape; got {x.shape}, {n.shape}") from problem
    over = x > n
    if over.any():
        raise ValueError(f"events must lie in 0..trials; got {x[over].flat[0]:g} of {n[over].flat[0]:g}")
    return x, n
