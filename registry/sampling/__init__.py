"""How probable it is that the target was sampled: geometry, error budget, scan, what remains.

SQL says of each procedure whether the geometry is recorded and what it is; the pure
mathematics is in ``registry.stats``. Here the two meet: for all procedures of a measure
at once, and for one procedure finely, with everything the figure rests on.
"""

from registry.sampling.calibration import CalibrationBin, calibration
from registry.sampling.estimate import FIGURES, Band
from registry.sampling.files import MEASURE, Setting, setting
from registry.sampling.procedure import BudgetRow, Estimate, procedure_estimate
from registry.sampling.scan import Known, Residual, Scan
from registry.sampling.summary import (
    SamplingDistribution,
    SamplingResult,
    sampling_procedures,
    sampling_results,
)

__all__ = [
    "FIGURES",
    "MEASURE",
    "Band",
    "BudgetRow",
    "CalibrationBin",
    "Estimate",
    "Known",
    "Residual",
    "SamplingDistribution",
    "SamplingResult",
    "Scan",
    "Setting",
    "calibration",
    "procedure_estimate",
    "sampling_procedures",
    "sampling_results",
    "setting",
]
