"""Share of each target inside, and its probability, as bands over the reach of the tissue."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.sampling.inputs import ALL_AROUND, NOT_KNOWN, NOT_PLACED, SOME_HOURS, Geometry, geometry
from registry.stats.overlap import probability_at_least, sampling_probability
from registry.stats.sampled_share import MANY, ONE, sampled_shares

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.sampling.files import Setting
    from registry.site import Frame

FIGURES = (
    "expected_share",
    "expected_share_low",
    "expected_share_high",
    "probability",
    "probability_low",
    "probability_high",
)
_HOURS = {ALL_AROUND: "all", SOME_HOURS: "recorded", NOT_KNOWN: "not known", NOT_PLACED: "not placed"}
#: Ending of a figure at the least, middle and most reach.
_ENDS = ("_low", "", "_high")
#: The arithmetic lets go of the interpreter, so that a second core can help.
_THREADS = 2
QUADRATURE, LATTICE = "quadrature", "randomly shifted lattice"


@dataclass(frozen=True)
class Band:
    """One target at one reach: the volume's radius in mm, the mean share inside, the probability.

    ``hours`` is ``as recorded``, or for unknown hours ``all around`` and ``one hour``.
    ``error`` is the numerical standard error of the two figures, 0 by quadrature.
    """

    reach_mm: float
    radius_mm: float
    hours: str
    expected_share: float
    probability: float
    error: float
    method: str


def estimated(rows: pl.DataFrame, setting: Setting, frames: Mapping[str, Frame]) -> pl.DataFrame:
    """The rows that a measure keeps, with their figures.

    Parameters
    ----------
    rows, setting, frames
        As :func:`registry.sampling.inputs.geometry`.

    Returns
    -------
    DataFrame
        The rows with ``hours_used``, the columns of ``FIGURES`` and ``numerical_error``.
        The middle figures stand at the middle reach, and are empty where the hours are not
        known; low and high are the ends of the band, over reach and unknown hours.
    """
    found = geometry(rows, setting, frames)
    unknown = found.hours >= NOT_KNOWN
    # (targets, within their hours or all around, which of the three reaches)
    asked = (
        (found.hours == ALL_AROUND, False, (0, 1, 2)),
        (found.hours == SOME_HOURS, True, (0, 1, 2)),
        (unknown, True, (0,)),
        (unknown, False, (2,)),
    )
    columns = {name: np.full(rows.height, np.nan) for name in FIGURES}
    worst = np.zeros(rows.height)
    with ThreadPoolExecutor(_THREADS) as pool:
        parts = [
            sampled_shares(
                found.placed.at(chosen),
                found.radii[np.array(reaches)][:, chosen],
                setting.sampled_share,
                found.sectors.at(chosen) if cut else None,
                MANY,
                pool.map,
            )
            for chosen, cut, reaches in asked
        ]
    for (chosen, _, reaches), part in zip(asked, parts, strict=True):
        for place, reach in enumerate(reaches):
            columns[f"expected_share{_ENDS[reach]}"][chosen] = part.expected[place]
            columns[f"probability{_ENDS[reach]}"][chosen] = part.probability[place]
            error = np.maximum(part.expected_error[place], part.probability_error[place])
            worst[chosen] = np.maximum(worst[chosen], error)
    words = [_HOURS[int(one)] for one in found.hours]
    return rows.with_columns(
        pl.Series("hours_used", words, dtype=pl.String),
        *(pl.Series(name, values, dtype=pl.Float64).fill_nan(None) for name, values in columns.items()),
        pl.Series("numerical_error", worst, dtype=pl.Float64),
    )


def bands(row: pl.DataFrame, setting: Setting, frames: Mapping[str, Frame]) -> tuple[Band, ...]:
    """One target worked out finely, at the three reaches; with unknown hours both extremes of each.

    Where the whole cylinder was sampled and the error is alike in both directions across the
    needle, by quadrature over closed forms; else by a randomly shifted lattice rule.

    Parameters
    ----------
    row
        One row that the measure keeps.
    setting, frames
        As :func:`registry.sampling.inputs.geometry`.
    """
    found = geometry(row, setting, frames)
    hours = int(found.hours[0])
    made: list[Band] = []
    if hours != SOME_HOURS:
        name = "as recorded" if hours == ALL_AROUND else "all around"
        made += _bands(found, setting, name)
    if hours != ALL_AROUND:
        name = "as recorded" if hours == SOME_HOURS else "one hour"
        made += _bands(found, setting, name, cut=True)
    return tuple(made)


def _bands(found: Geometry, setting: Setting, name: str, *, cut: bool = False) -> list[Band]:
    placed = found.placed
    alike = float(placed.sd_first[0]) == float(placed.sd_second[0]) > 0.0 and float(placed.sd_along[0]) > 0.0
    if alike and not cut:
        return [_by_quadrature(found, place, setting, name) for place in range(3)]
    shares = sampled_shares(placed, found.radii, setting.sampled_share, found.sectors if cut else None, ONE)
    return [
        Band(
            setting.reach_mm[place],
            float(found.radii[place, 0]),
            name,
            float(shares.expected[place, 0]),
            float(shares.probability[place, 0]),
            float(max(shares.expected_error[place, 0], shares.probability_error[place, 0])),
            LATTICE,
        )
        for place in range(3)
    ]


def _by_quadrature(found: Geometry, place: int, setting: Setting, name: str) -> Band:
    placed, radius = found.placed, float(found.radii[place, 0])
    shape = (float(placed.sphere_radius[0]), radius, float(placed.aperture_length[0]))
    lateral = hypot(placed.first[0], placed.second[0])
    spread, deep, depth = float(placed.sd_first[0]), float(placed.sd_along[0]), float(placed.along[0])
    mean = sampling_probability(
        *shape, sigma_lateral=spread, sigma_depth=deep, bias_lateral=lateral, bias_depth=depth
    )
    chance = probability_at_least(
        setting.sampled_share,
        *shape,
        sigma_lateral=spread,
        sigma_depth=deep,
        bias_lateral=lateral,
        bias_depth=depth,
    )
    return Band(setting.reach_mm[place], radius, name, mean.expected_fraction, chance, 0.0, QUADRATURE)
