"""830 real masses through the whole path: import, cohort, restricted package; counted again with polars.

The file is found as in :mod:`tests.imports.test_masses`; in CI its absence is an error.
"""

from __future__ import annotations

import json
from datetime import date

import polars as pl
import pytest

from registry import store
from registry.disclosure.profiles import RESTRICTED
from registry.intake import Options, accept
from registry.package.verify import verify_package
from registry.store import Registry
from tests.imports.test_masses import received
from tests.package.made import cohort_file, package, parquet

__all__ = ["received"]


@pytest.fixture(scope="module")
def folder(received, tmp_path_factory):
    place = tmp_path_factory.mktemp("masses")
    store.create(place / "registry", name="Masses")
    with Registry.open(place / "registry", write=True) as opened:
        accept(opened, received, author="test", today=date(2026, 6, 30), options=Options())
        file = cohort_file(name="masses", title="Masses", start=None, end=None)
        package(opened, place / "out", profile=RESTRICTED, cohort=file, project=None)
    return place / "out"


@pytest.fixture(scope="module")
def source(received):
    """age, assessment, malignant of each accepted line, straight from the file; 55 is a typing error."""
    frames = {one.table: one.frame for one in received.tables}
    return (
        frames["findings"]
        .join(frames["procedures"], on="_line", suffix="_p")
        .join(frames["pathology"], on="_line", suffix="_r")
        .filter(pl.col("assessment") != "55")
        .select(pl.col("age_years").cast(pl.Int64), "assessment", malignant=pl.col("diagnosis") == "invasive")
    )


def test_every_accepted_mass_is_in_the_package(folder, source):
    assert parquet(folder).height == source.height == 829
    assert verify_package(folder) == []


def test_yields_by_assessment_are_those_counted_by_others(folder):
    """4: 103 of 468; 5: 285 of 316 (the 830 complete records, counted elsewhere)."""
    rows = parquet(folder).group_by("assessment").agg(n=pl.len(), malignant=pl.col("is_malignant").sum())
    found = {row["assessment"]: (row["malignant"], row["n"]) for row in rows.to_dicts()}

    assert (found["4"], found["5"]) == ((103, 468), (285, 316))


def test_k_is_that_of_the_source_with_ages_of_90_and_over_pooled(folder, source):
    """Year, side and sex are the same for all, so age alone makes the classes."""
    sizes = source.with_columns(pl.col("age_years").clip(upper_bound=90)).group_by("age_years").len()["len"]
    counted = json.loads((folder / "privacy.json").read_text(encoding="utf-8"))["classes"]

    assert counted["k"] == sizes.min()
    assert counted["classes"] == sizes.len()
    assert counted["records_in_classes_below"] == sizes.filter(sizes < 11).sum()
    assert counted["unique_records"] == int((sizes == 1).sum())


def test_in_bands_of_ten_years_fewer_stand_out(folder, source):
    banded = source.with_columns(pl.col("age_years").clip(upper_bound=90) // 10 * 10)
    sizes = banded.group_by("age_years").len()["len"]
    counted = json.loads((folder / "privacy.json").read_text(encoding="utf-8"))

    assert counted["classes_with_ages_in_tens"]["records_in_classes_below"] == sizes.filter(sizes < 11).sum()
    assert (
        counted["classes_with_ages_in_tens"]["records_in_classes_below"]
        < counted["classes"]["records_in_classes_below"]
    )
