"""Predicted probability against what was really sampled, where the truth is known: invented data only."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from registry.errors import FileProblem
from registry.people import Action, require
from registry.sampling.files import setting
from registry.sampling.summary import sampling_procedures
from registry.stats.proportions import wilson_interval

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from registry.measures.counting import Reader

TRUTH = "sampling_truth.json"
_BINS = 10


@dataclass(frozen=True)
class CalibrationBin:
    """Procedures whose predicted probability lies from ``low`` to ``high``.

    ``predicted`` is its mean, ``sampled`` of ``procedures`` really were, with Wilson
    limits (95 %) of that share.
    """

    low: float
    high: float
    procedures: int
    predicted: float
    sampled: int
    observed: float
    lower: float
    upper: float


def calibration(registry: Reader, folder: Path, as_of: date) -> tuple[CalibrationBin, ...]:
    """Predictions at the middle reach in ten bins, against the truth of an invented registry.

    Parameters
    ----------
    registry
        An open registry.
    folder
        Its folder, which holds the truth.
    as_of
        Nothing dated after this day counts.

    Returns
    -------
    tuple
        One per bin with procedures; empty where no truth is known.

    Raises
    ------
    FileProblem
        The file of the truth cannot be read.
    """
    require(Action.PROCEDURES, registry)
    known = truth(folder)
    rows = sampling_procedures(registry, as_of=as_of).select("procedure_id", "probability").drop_nulls()
    kept = [(chance, known[key]) for key, chance in rows.iter_rows() if key in known]
    least = setting(registry, as_of).sampled_share
    predicted = np.array([chance for chance, _ in kept])
    sampled = np.array([share >= least for _, share in kept], dtype=bool)
    place = np.minimum((predicted * _BINS).astype(int), _BINS - 1)
    made = []
    for number in np.unique(place):
        own = place == number
        x, n = int(sampled[own].sum()), int(own.sum())
        lower, upper = wilson_interval(x, n)
        made.append(
            CalibrationBin(
                float(number / _BINS),
                float((number + 1) / _BINS),
                n,
                float(predicted[own].mean()),
                x,
                x / n,
                float(lower),
                float(upper),
            )
        )
    return tuple(made)


def truth(folder: Path) -> dict[str, float]:
    """True share of each target, by procedure; empty where the folder holds no truth.

    Raises
    ------
    FileProblem
        The file cannot be read.
    """
    place = folder / TRUTH
    if not place.is_file():
        return {}
    try:
        found: dict[str, float] = json.loads(place.read_text(encoding="utf-8"))["share"]
    except (OSError, ValueError, KeyError):
        raise FileProblem(f"{TRUTH}: cannot be read. Make the demo registry anew.") from None
    return found
