"""The numbers that the drawings of a watched measure are made of: the same on a page and on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.monitoring.cumulative import Signal
    from registry.monitoring.periods import Point
    from registry.monitoring.watched import Watched

EXACT = ("lower 99.8", "upper 99.8"), ("lower 95", "upper 95")
"""Columns of exact limits: drawn through, and broken."""

ERRORS: tuple[tuple[str, ...], tuple[str, ...]] = ("lower 3 errors", "upper 3 errors"), ()
"""Columns of the limits of a p-chart: drawn through, and broken."""


def period_frame(found: Sequence[Point], minimum: int, *, exact: bool = True) -> pl.DataFrame:
    """Periods as they are drawn.

    Parameters
    ----------
    found
        From :func:`registry.monitoring.points`.
    minimum
        Below so many procedures there are counts only.
    exact
        Exact binomial limits; otherwise three standard errors.

    Returns
    -------
    DataFrame
        period, x, n, rate, low, high, the columns of limits (shares from 0 to 1, null below
        the minimum) and outside.
    """
    return pl.DataFrame([_period(one, minimum, exact) for one in found], infer_schema_length=None)


def _period(one: Point, minimum: int, exact: bool) -> dict[str, object]:
    shown = one.n >= minimum and one.limits is not None
    made = {
        "period": one.period,
        "x": one.x,
        "n": one.n,
        "rate": one.rate if shown else None,
        "low": one.low if shown else None,
        "high": one.high if shown else None,
    }
    names: tuple[str, ...] = ("lower 99.8", "lower 95", "upper 95", "upper 99.8")
    limits: tuple[float, ...] | None = one.limits
    if not exact:
        names, limits = ERRORS[0], one.three_errors
    made |= dict(zip(names, limits if shown and limits else [None] * len(names), strict=True))
    return {**made, "outside": shown and (one.beyond if exact else one.beyond_errors)}


def path_frame(watched: Watched, path: Sequence[float], found: Sequence[Signal]) -> pl.DataFrame:
    """A running line: number (from 1), day, procedure_id, height, and whether it signalled there."""
    at = {one.procedure_id for one in found}
    return watched.during.select(
        pl.int_range(1, pl.len() + 1).alias("number"),
        "day",
        "procedure_id",
        pl.Series("height", path, dtype=pl.Float64),
        pl.col("procedure_id").is_in(list(at)).alias("signal"),
    )
