"""The cells of the B-category table patient by patient, for intervals that hold a patient together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from registry.measures import counting

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from registry.measures.counting import Classified
    from registry.measures.definition import Measure

_CATEGORIES = ("B1", "B2", "B3", "B4", "B5")
_OUTCOMES = ("m", "b", "n")


@dataclass(frozen=True)
class PatientCells:
    """Counts by category (rows, B1 to B5) of groups of like patients (columns), one array an outcome.

    ``patients`` says how many patients each column stands for.
    """

    m: NDArray[np.int64]
    b: NDArray[np.int64]
    n: NDArray[np.int64]
    patients: NDArray[np.int64]


_EMPTY = np.zeros((len(_CATEGORIES), 0), dtype=int)
NOBODY = PatientCells(_EMPTY, _EMPTY, _EMPTY, np.zeros(0, dtype=int))


Groups = list[tuple[list[str], int]]
"""(cells such as "B1 m" in order, number of patients whose procedures lie in them)."""


def groups_of_several(units: Classified, measure: Measure) -> dict[str, Groups]:
    """Stratum -> groups of its patients who have several procedures, in this stratum or beyond.

    Those whose kept procedures lie in the same cells are one group.
    """
    place = "unit.b_category || ' ' || unit.outcome"
    each = units.select(
        measure,
        f"{units.stratum} AS stratum, list_sort(list({place})) AS cells",
        tail=f"WHERE {counting.KEPT} GROUP BY {units.stratum}, {counting.PATIENT}",
        only="patient_procedures > 1",
    )
    found: dict[str, Groups] = {}
    for stratum, cells, patients in units.rows(
        [f"SELECT stratum, cells, count(*) AS patients FROM (\n{each}\n) AS patient GROUP BY stratum, cells"]
    ):
        found.setdefault(stratum, []).append((cells, patients))
    return found


def cells_of(groups: Groups) -> PatientCells:
    """Counts of each group."""
    counts = {one: np.zeros((len(_CATEGORIES), len(groups)), dtype=int) for one in _OUTCOMES}
    for column, (cells, _) in enumerate(groups):
        for cell in cells:
            category, outcome = cell.split(" ")
            counts[outcome][_CATEGORIES.index(category), column] += 1
    return PatientCells(
        counts["m"], counts["b"], counts["n"], np.array([patients for _, patients in groups], dtype=int)
    )
