"""What vectors have in common: how long they are, where they point, what moving the needle changed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import sqrt
from typing import TYPE_CHECKING, Any

import polars as pl

from registry.aim.bases import PARTS, Basis, points
from registry.aim.vectors import ERROR_MEASURE
from registry.measures import load_measures
from registry.measures.strata import in_order
from registry.stats.attempts import PairedLengths, compare_lengths
from registry.stats.vectors import FEW_POINTS, ellipse_outline, hotelling_test, mean_region, radius_quantile

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np

    from registry.site import Frame
    from registry.stats.vectors import Hotelling, Limits, RadiusQuantile

HIGH = 0.95
"""Quantile of a length that stands beside the median."""

Triple = tuple[float, float, float]


@dataclass(frozen=True)
class Lengths:
    """Number, median and 95th percentile of lengths, mm, each with order-statistic limits."""

    n: int
    median: RadiusQuantile
    high: RadiusQuantile


@dataclass(frozen=True)
class Mean:
    """Mean vector in the directions of a basis, mm, with its joint region.

    ``limits`` are simultaneous over the three directions; ``test`` asks whether the mean is 0.
    ``covariance`` is that of single vectors, mm². All None below 10 vectors, and where they
    lie in a plane; ``reason`` says so.
    """

    n: int
    mean: Triple | None = None
    limits: tuple[Limits, Limits, Limits] | None = None
    covariance: tuple[Triple, Triple, Triple] | None = None
    test: Hotelling | None = None
    reason: str = ""

    @property
    def sd(self) -> Triple | None:
        """Standard deviation of single vectors in each direction, mm."""
        if self.covariance is None:
            return None
        return _triple(sqrt(row[place]) for place, row in enumerate(self.covariance))

    @property
    def is_off(self) -> bool | None:
        """Whether the joint 95 % region of the mean leaves out 0; None where there is no region."""
        if self.test is None or self.test.T2 is None or self.test.crit95 is None:
            return None
        return self.test.crit95 < self.test.T2


@dataclass(frozen=True)
class Plane:
    """One plane of a basis: two of its directions, and two ellipses that are not alike.

    ``mean_outline`` bounds the region in which the mean lies, ``single_outline`` the one in
    which 95 % of single vectors lie if they are normal; both shape (k, 2), mm, None below 10.
    """

    right: int
    up: int
    mean: tuple[float, float] | None
    mean_outline: np.ndarray | None
    single_outline: np.ndarray | None


@dataclass(frozen=True)
class Attempts:
    """First attempt of all, and first against last of those whose needle was moved."""

    first: Lengths
    moved: PairedLengths
    moved_without_first: int


@dataclass(frozen=True)
class Summary:
    """Needle error, target motion and attempts of one group of procedures.

    ``excluded`` counts what the error measure leaves out, its reasons in their order. ``without_frame``
    name no frame and ``unregistered`` one that site.toml does not describe: both are in
    ``error`` and in no vector. ``oblique`` and ``direction_empty`` are among those with a
    registered frame. ``from_seen`` errors are counted from the target as re-seen, the others from
    the plan, motion included. ``error_mean`` and ``motion_mean`` are None where no basis was given.
    """

    procedures: int
    excluded: Mapping[str, int]
    error: Lengths
    motion: Lengths
    without_frame: int
    unregistered: int
    oblique: int
    direction_empty: int
    from_seen: int
    attempts: Attempts
    basis: Basis | None
    error_mean: Mean | None
    motion_mean: Mean | None


def summary(
    rows: pl.DataFrame, frames: Mapping[str, Frame], basis: Basis | None = None, *, confidence: float = 0.95
) -> Summary:
    """Summarise the vectors of procedures.

    Parameters
    ----------
    rows
        From :func:`registry.aim.vectors`.
    frames
        The frame register of site.toml.
    basis
        Directions in which means are taken; None takes none.
    confidence
        Of all intervals and regions.

    Returns
    -------
    Summary
        Lengths need no frame and count all procedures, vectors those of the basis only.
    """
    kept = rows.filter(pl.col("excluded_because").is_null())
    left_out = dict(rows.get_column("excluded_because").drop_nulls().value_counts().iter_rows())
    registered = kept.filter(pl.col("frame").is_in(list(frames)))
    straight = registered.filter(pl.col("needle_axis") != "oblique")
    without = kept.get_column("frame").null_count()
    return Summary(
        procedures=rows.height,
        excluded={
            name: left_out[name] for name in load_measures()[ERROR_MEASURE].reasons if name in left_out
        },
        error=_lengths(kept, "error_mm", confidence),
        motion=_lengths(rows, "motion_mm", confidence),
        without_frame=without,
        unregistered=kept.height - registered.height - without,
        oblique=registered.height - straight.height,
        direction_empty=straight.get_column("needle_direction").null_count(),
        from_seen=kept.filter(pl.all_horizontal(pl.col("^motion_[xyz]_mm$").is_not_null())).height,
        attempts=_attempts(kept, confidence),
        basis=basis,
        error_mean=_mean(points(rows, basis, "error"), confidence) if basis else None,
        motion_mean=_mean(points(rows, basis, "motion"), confidence) if basis else None,
    )


def by_stratum(
    rows: pl.DataFrame, by: str, frames: Mapping[str, Frame], basis: Basis | None = None
) -> list[tuple[str, Summary]]:
    """A summary per value of one of ``STRATA``, in the order of the codes: no order of merit.

    Parameters
    ----------
    rows, frames, basis
        As :func:`summary`.
    by
        Column of ``rows``.
    """
    groups = {str(name): group for (name,), group in rows.partition_by(by, as_dict=True).items()}
    return [(name, summary(groups[name], frames, basis)) for name in sorted(groups, key=in_order)]


def planes(vectors: pl.DataFrame, *, confidence: float = 0.95) -> tuple[Plane, Plane, Plane]:
    """Both ellipses in each plane of a basis: first and second, first and third, second and third direction.

    Parameters
    ----------
    vectors
        From :func:`registry.aim.points`.
    confidence
        Of the region of the mean in that plane alone, and share of single vectors.
    """
    first, second, third = (
        _plane(vectors, right, up, confidence) for right, up in combinations(range(len(PARTS)), 2)
    )
    return first, second, third


def _plane(vectors: pl.DataFrame, right: int, up: int, confidence: float) -> Plane:
    region = mean_region(vectors.select(PARTS[right], PARTS[up]).to_numpy(), confidence)
    if region.mean is None or region.n < FEW_POINTS:
        return Plane(right, up, None, None, None)
    return Plane(
        right,
        up,
        (float(region.mean[0]), float(region.mean[1])),
        ellipse_outline(region.mean, region.axes, region.semi_axes),  # type: ignore[arg-type]
        ellipse_outline(region.mean, region.axes, region.single_semi_axes),  # type: ignore[arg-type]
    )


def _lengths(rows: pl.DataFrame, column: str, confidence: float) -> Lengths:
    values = rows.get_column(column).drop_nulls().to_numpy()
    return Lengths(
        values.size, radius_quantile(values, 0.5, confidence), radius_quantile(values, HIGH, confidence)
    )


def moved(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of :func:`registry.aim.vectors` with several attempts, the first and the last both usable."""
    return rows.filter(
        (pl.col("attempts") > 1) & pl.all_horizontal(pl.col("first_error_mm", "error_mm").is_not_null())
    )


def _attempts(kept: pl.DataFrame, confidence: float) -> Attempts:
    pairs = moved(kept)
    first, last = pairs.get_column("first_error_mm").to_numpy(), pairs.get_column("error_mm").to_numpy()
    return Attempts(
        _lengths(kept, "first_error_mm", confidence),
        compare_lengths(first, last, confidence),
        kept.filter(pl.col("attempts") > 1).height - pairs.height,
    )


def _mean(vectors: pl.DataFrame, confidence: float) -> Mean:
    errors = vectors.select(PARTS).to_numpy()
    n = errors.shape[0]
    if n < FEW_POINTS:
        return Mean(n, reason=f"fewer than {FEW_POINTS} vectors: no mean, no region")
    region = mean_region(errors, confidence)
    if region.mean is None or region.simultaneous is None or region.covariance is None:
        return Mean(n, reason=region.reason)
    return Mean(
        n,
        _triple(region.mean),
        tuple((float(low), float(high)) for low, high in region.simultaneous),  # type: ignore[arg-type]
        tuple(_triple(row) for row in region.covariance),  # type: ignore[arg-type]
        hotelling_test(errors),
    )


def _triple(values: Any) -> Triple:
    first, second, third = (float(value) for value in values)
    return first, second, third
