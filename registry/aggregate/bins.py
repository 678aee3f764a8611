"""Values counted in bins with stated bounds: what can be said of a median without any value."""

from __future__ import annotations

from math import floor, log10
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

Bin = tuple[float, float, int]
"""From, to below, how many; ``from`` = 0 and ``to`` = 0 stand for a value of 0 alone."""

STEPS = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)
"""Bounds within a power of ten, the same at every place whatever the values are (project default)."""
_SMALLEST = -3


def bin_of(value: float) -> tuple[float, float]:
    """Bounds of the bin of a value: lower <= value < upper, for one below 0 lower < value <= upper.

    Bins are about as wide as a third of what they hold, and symmetric about 0; what is
    nearer to 0 than a thousandth lies between 0 and that.
    """
    if value == 0.0:
        return (0.0, 0.0)
    if value < 0.0:
        lower, upper = bin_of(-value)
        return (-upper, -lower)
    power = floor(log10(value))
    # A power that rounding has put one off.
    bounds = [step * 10.0**exponent for exponent in (power - 1, power, power + 1) for step in STEPS]
    bounds = [one for one in bounds if one >= 10.0**_SMALLEST]
    below = [one for one in bounds if one <= value]
    above = [one for one in bounds if one > value]
    return (below[-1] if below else 0.0, above[0] if above else 10.0**_SMALLEST)


def binned(values: Sequence[float]) -> tuple[Bin, ...]:
    """Bins that hold a value, in order."""
    found: dict[tuple[float, float], int] = {}
    for value in values:
        bounds = bin_of(value)
        found[bounds] = found.get(bounds, 0) + 1
    return tuple((lower, upper, found[lower, upper]) for lower, upper in sorted(found))


def coarser(bins: Sequence[Bin], least: int) -> tuple[Bin, ...]:
    """Neighbouring bins put together until each holds so many; nothing where all hold fewer."""
    made: list[Bin] = []
    for lower, upper, count in bins:
        if made and made[-1][2] < least:
            made[-1] = (made[-1][0], upper, made[-1][2] + count)
        else:
            made.append((lower, upper, count))
    if len(made) > 1 and made[-1][2] < least:
        lower, _, count = made[-2]
        made[-2:] = [(lower, made[-1][1], count + made[-1][2])]
    return tuple(made) if made and made[-1][2] >= least else ()


def together(parts: Sequence[Sequence[Bin]]) -> tuple[Bin, ...]:
    """Bins of several places added up; those of different bounds stand beside one another."""
    found: dict[tuple[float, float], int] = {}
    for part in parts:
        for lower, upper, count in part:
            found[lower, upper] = found.get((lower, upper), 0) + count
    return tuple((lower, upper, found[lower, upper]) for lower, upper in sorted(found))


def median_between(bins: Sequence[Bin]) -> tuple[float, float] | None:
    """Where the median of all values lies, both ends included; None without values.

    It is no lower than the median of the lower bounds and no higher than that of the upper
    ones, as each value lies between its own two; bins of different places may overlap.
    """
    if not bins:
        return None
    return _middle([(lower, count) for lower, _, count in bins]), _middle(
        [(upper, count) for _, upper, count in bins]
    )


def _middle(values: Sequence[tuple[float, int]]) -> float:
    """Median of values with their numbers; the mean of the two in the middle where they are two."""
    ordered = sorted(values)
    n = sum(count for _, count in ordered)
    found = []
    for rank in ((n - 1) // 2, n // 2):
        passed = 0
        for value, count in ordered:
            passed += count
            if rank < passed:
                found.append(value)
                break
    return (found[0] + found[1]) / 2.0
