"""Small registries for tests: rows as text, through the same door as real files."""

from __future__ import annotations

import copy
from datetime import date
from typing import TYPE_CHECKING

import polars as pl

from registry.imports.received import Received, SourceTable
from registry.intake import IntakeReport, Options, accept

if TYPE_CHECKING:
    from registry.store import Registry

Rows = dict[str, list[dict[str, str]]]
TODAY = date(2026, 6, 30)

#: One valid row of every table; a test changes the cell it is about.
BASE: Rows = {
    "operators": [{"operator": "OP1", "role": "radiologist", "experience_before": "120"}],
    "sources": [
        {
            "source_id": "SRC1",
            "site": "A",
            "nuclide": "Ge-68",
            "activity_mbq": "3.7",
            "reference_on": "2024-01-15",
        }
    ],
    "meetings": [
        {"meeting_id": "M1", "held_on": "2025-03-20", "site": "A", "attendees": "radiologist;pathologist"}
    ],
    "patients": [{"patient_id": "PAT1", "birth_date": "1960-05-17", "sex": "female"}],
    "findings": [
        {
            "finding_id": "F1",
            "patient_id": "PAT1",
            "found_on": "2025-02-20",
            "biopsy_advised_on": "2025-02-21",
            "laterality": "L",
            "modality": "pet_tracer",
            "correlate": "none",
            "finding_type": "non_mass",
            "size_mm": "14",
            "assessment": "4B",
        }
    ],
    "procedures": [
        {
            "procedure_id": "P1",
            "finding_id": "F1",
            "accession": "ACC1",
            "site": "A",
            "operator": "OP1",
            "started_at": "2025-03-10T09:30",
            "ended_at": "2025-03-10T10:20",
            "status": "completed",
            "guidance": "pet_tracer",
            "approach": "lateral",
            "device": "vacuum_assisted",
            "gauge": "8",
            "aperture_mm": "20",
            "cores": "12",
            "compression_mm": "55",
            "safe_margin_mm": "30",
            "tracer": "F-18 FDG",
            "activity_mbq": "185",
            "injected_at": "2025-03-10T08:20",
            "first_scan_at": "2025-03-10T09:20",
            "weight_kg": "68",
            "marker": "placed",
            "marker_shape": "coil",
        }
    ],
    "targeting": [
        {
            "procedure_id": "P1",
            "attempt": "1",
            "needle_axis": "x",
            "needle_direction": "plus",
            "compression_axis": "z",
            "planned_x_mm": "40",
            "planned_y_mm": "22",
            "planned_z_mm": "31",
            "verification": "done",
            "stand_in": "needle",
            "achieved_x_mm": "42",
            "achieved_y_mm": "21",
            "achieved_z_mm": "33",
            "aperture_judgement": "within",
        }
    ],
    "specimens": [
        {
            "specimen_id": "S1",
            "procedure_id": "P1",
            "taken_order": "1",
            "cores": "6",
            "mass_g": "1.2",
            "scan_at": "2025-03-10T10:30",
            "scan_seconds": "120",
            "counts": "5400",
            "background_counts": "300",
            "calibration_cps_per_kbq": "9.5",
            "uptake_seen": "yes",
            "read_at": "2025-03-10T10:45",
        },
        {
            "specimen_id": "S2",
            "procedure_id": "P1",
            "taken_order": "2",
            "cores": "6",
            "mass_g": "1.1",
            "scanned_with": "S1",
        },
    ],
    "pathology": [
        {
            "report_id": "R1",
            "version": "1",
            "status": "final",
            "procedure_id": "P1",
            "reported_on": "2025-03-14",
            "pathologist": "PA1",
            "b_category": "B2",
            "diagnosis": "benign",
            "morphology": "9010/0",
            "lesion": "fibroadenoma",
            "conclusion": "Fibroadenoma; no atypia.",
        }
    ],
    "reviews": [
        {
            "review_id": "V1",
            "procedure_id": "P1",
            "meeting_id": "M1",
            "reviewed_on": "2025-03-20",
            "stage": "joint",
            "radiologist": "RA1",
            "pathologist": "PA1",
            "determination": "concordant",
            "management": "routine_screening",
        }
    ],
    "followup": [
        {
            "event_id": "E1",
            "procedure_id": "P1",
            "happened_on": "2026-03-12",
            "kind": "imaging",
            "modality": "pet_tracer",
            "imaging_outcome": "stable",
        }
    ],
    "complications": [
        {
            "complication_id": "C1",
            "procedure_id": "P1",
            "kind": "haematoma",
            "grade": "2",
            "onset_on": "2025-03-11",
        }
    ],
    "constancy": [
        {
            "check_id": "K1",
            "site": "A",
            "done_at": "2025-03-10T07:00",
            "kind": "counts",
            "source_id": "SRC1",
            "counts": "81000",
            "seconds": "60",
        }
    ],
}


def base() -> Rows:
    """A copy of :data:`BASE` that the test may change."""
    return copy.deepcopy(BASE)


def received(rows: Rows, *, grouped: bool = False) -> Received:
    """Rows as a reader would hand them over; lines count from 2, as after a header."""
    tables = []
    for name, given in rows.items():
        columns = list(dict.fromkeys(key for row in given for key in row))
        frame = pl.DataFrame(
            [{column: row.get(column) or None for column in columns} for row in given],
            schema=dict.fromkeys(columns, pl.String),
        )
        line = pl.int_range(2, len(given) + 2, dtype=pl.Int64, eager=True).alias("_line")
        tables.append(SourceTable(name, f"{name}.csv", frame.with_columns(line), {c: c for c in columns}))
    return Received("registry-csv", (), tuple(tables), grouped=grouped)


def load(
    registry: Registry, rows: Rows, *, author: str = "coordinator", today: date = TODAY, **options: object
) -> IntakeReport:
    """Accept rows as one batch."""
    return accept(registry, received(rows), author=author, today=today, options=Options(**options))  # type: ignore[arg-type]
