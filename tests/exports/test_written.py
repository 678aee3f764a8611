"""What an export writes: rows, period, the day up to which things count."""

from __future__ import annotations

import hashlib
from datetime import date
from pathlib import Path

import polars as pl

from registry.store import Registry
from tests.exports.made import FILES, manifest_of, names_of, rows_of, run


def test_all_files_are_written_and_the_manifest_holds_their_hashes(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    names = names_of(tmp_path / "out")
    stated = {name: one["sha256"] for name, one in manifest_of(tmp_path / "out")["files"].items()}
    real = {
        name: hashlib.sha256((tmp_path / "out" / name).read_bytes()).hexdigest()
        for name in FILES - {"MANIFEST.json"}
    }
    assert (names, stated) == (FILES, real)


def test_one_row_per_procedure_with_own_and_derived_columns(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    row = next(
        one for one in rows_of(tmp_path / "out" / "data" / "procedures.csv") if one["procedure_id"] == "P1"
    )
    # 9:30 to 10:20 are 50 minutes; found on 1 December 2024, 40 days before 10 January 2025;
    # born on 17 May 1960, 64 years old that day.
    got = [
        row[name]
        for name in (
            "duration_minutes",
            "finding_to_biopsy_days",
            "age_years",
            "diagnosis",
            "is_sampled",
            "assessment",
        )
    ]
    assert got == ["50.0", "40", "64", "benign", "true", "4B"]


def test_csv_and_parquet_hold_the_same_rows(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    parquet = pl.read_parquet(tmp_path / "out" / "data" / "procedures.parquet")
    text = pl.read_csv(tmp_path / "out" / "data" / "procedures.csv", schema=parquet.schema)
    assert text.equals(parquet)


def test_the_same_registry_and_seed_give_the_same_bytes(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "first")
    run(registry, tmp_path / "second")
    assert (tmp_path / "first" / "data" / "procedures.csv").read_bytes() == (
        tmp_path / "second" / "data" / "procedures.csv"
    ).read_bytes()


def test_what_is_dated_after_as_of_is_not_in_it(registry: Registry, tmp_path: Path):
    report = run(registry, tmp_path / "out", as_of=date(2025, 1, 13))
    row = rows_of(tmp_path / "out" / "data" / "procedures.csv")[0]
    assert (report.rows, row["procedure_id"], row["is_reported"], row["diagnosis"]) == (1, "P1", "false", "")


def test_the_period_takes_both_its_days(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out", start=date(2025, 4, 10), end=date(2025, 6, 10))
    keys = {row["procedure_id"] for row in rows_of(tmp_path / "out" / "data" / "procedures.csv")}
    assert keys == {"P4", "P5", "P6"}


def test_an_export_without_rows_is_still_an_export(registry: Registry, tmp_path: Path):
    report = run(registry, tmp_path / "out", start=date(2030, 1, 1))
    assert (report.rows, report.patients, rows_of(tmp_path / "out" / "data" / "procedures.csv")) == (0, 0, [])
