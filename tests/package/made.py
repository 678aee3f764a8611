"""Packages of the twelve patients, and a cohort file that chooses some of them."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from registry.cohorts import CohortFile
from registry.disclosure.profiles import INTERNAL
from registry.package.asked import FORMATS
from registry.package.build import ExportReport, export
from registry.store import Registry

AS_OF = date(2026, 6, 30)


def package(registry: Registry, target: Path, **given: Any) -> ExportReport:
    """A package of project "alpha" in all formats."""
    asked = {
        "as_of": AS_OF,
        "author": "researcher",
        "reason": "study of targeting",
        "profile": INTERNAL,
        "formats": FORMATS,
        "project": "alpha",
        **given,
    }
    return export(registry, target, **asked)


def parquet(folder: Path) -> pl.DataFrame:
    return pl.read_parquet(folder / "data" / "procedures.parquet")


def cohort_file(**given: Any) -> CohortFile:
    """Procedures of 2025, those from February on."""
    content = {
        "cohort_file": 1,
        "name": "targeting-2025",
        "version": 1,
        "title": "Targeting in 2025",
        "unit": "procedure",
        "project": "alpha",
        "index_date": "started_on",
        "as_of": "2026-06-30",
        "start": "2025-02-01",
        "end": "2025-12-31",
        "reference_standard": "none",
        **given,
    }
    return CohortFile.parse(json.dumps(content).encode())
