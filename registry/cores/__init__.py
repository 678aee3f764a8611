"""Yield against the amount of tissue, and which attempts ended without a usable sample."""

from registry.cores.tissue import (
    FirstPositive,
    ModelPoint,
    Steps,
    YieldPoint,
    first_positive,
    first_positive_definition,
    tissue_rows,
)
from registry.cores.usable import EVENTS_PER_TERM, PredictorRow, Unusable, no_usable_sample

__all__ = [
    "EVENTS_PER_TERM",
    "FirstPositive",
    "ModelPoint",
    "PredictorRow",
    "Steps",
    "Unusable",
    "YieldPoint",
    "first_positive",
    "first_positive_definition",
    "no_usable_sample",
    "tissue_rows",
]
