"""Twelve patients to export, and what the tests ask of an export."""

from __future__ import annotations

import csv
import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from registry.package.build import ExportReport, export
from tests.build import Rows, base

if TYPE_CHECKING:
    from registry.store import Registry

AS_OF = date(2026, 6, 30)
FILES = {
    "data/procedures.csv",
    "data/procedures.parquet",
    "codebook.csv",
    "codebook.md",
    "datapackage.json",
    "flow.csv",
    "flow.svg",
    "PRIVACY.md",
    "privacy.json",
    "README.md",
    "MANIFEST.json",
}
NOW = datetime(2026, 7, 1, 8, 30, tzinfo=UTC)


def twelve() -> Rows:
    """Twelve patients with one procedure each, a month apart; the third objects to research use."""
    one = base()
    rows: Rows = {"operators": one["operators"], "meetings": one["meetings"]}
    rows |= {name: [] for name in ("patients", "findings", "procedures", "pathology", "reviews")}
    for number in range(1, 13):
        use = {3: "objected", 4: "not_asked", 5: "permitted"}.get(number, "")
        patient, finding, key = (
            {"patient_id": f"PAT{number}"},
            {"finding_id": f"F{number}"},
            {"procedure_id": f"P{number}"},
        )
        rows["patients"].append({**one["patients"][0], **patient, "research_use": use})
        rows["findings"].append(
            {**one["findings"][0], **patient, **finding, "found_on": "2024-12-01", "biopsy_advised_on": ""}
        )
        own = {
            "started_at": f"2025-{number:02}-10T09:30",
            "accession": f"ACC{number}",
            "supervisor": "OP2" if number == 1 else "",
        }
        clocks = {"ended_at": f"2025-{number:02}-10T10:20", "injected_at": "", "first_scan_at": ""}
        rows["procedures"].append({**one["procedures"][0], **finding, **key, **own, **clocks})
    rows["pathology"].append({**one["pathology"][0], "conclusion": "Kestrel words of the pathologist."})
    rows["pathology"][0]["reported_on"] = "2025-01-14"
    rows["reviews"].append(
        {
            **one["reviews"][0],
            "reviewed_on": "2025-01-20",
            "meeting_id": "",
            "note": "Heron words of the meeting.",
        }
    )
    return rows


def run(registry: Registry, target: Path, **given: Any) -> ExportReport:
    asked = {"as_of": AS_OF, "author": "researcher", "reason": "study of targeting", "seed": 7, **given}
    return export(registry, target, **asked)


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def manifest_of(folder: Path) -> dict[str, Any]:
    made: dict[str, Any] = json.loads((folder / "MANIFEST.json").read_text(encoding="utf-8"))
    return made


def names_of(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
