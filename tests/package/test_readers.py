"""Programs that nobody here wrote open every file: frictionless, pyreadstat, openpyxl, and R."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from datetime import date, datetime

import openpyxl
import polars as pl
import pyreadstat
import pytest
from frictionless import Package

from registry import vocabulary
from registry.disclosure.profiles import PROFILES
from tests.build import load
from tests.package.made import package, parquet


@pytest.fixture
def folder(registry, tmp_path):
    load(registry, {"procedures": [{"procedure_id": "P1", "marker_shape": "=1+1"}]})
    package(registry, tmp_path / "out")
    return tmp_path / "out"


# -- Data Package ------------------------------------------------------------------


@pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES)
def test_frictionless_finds_nothing_wrong(registry, tmp_path, profile):
    package(registry, tmp_path / "out", profile=profile, formats=("csv", "parquet"))
    report = Package(tmp_path / "out" / "datapackage.json").validate()

    assert report.flatten(["type", "message"]) == []
    assert {task.name for task in report.tasks} == {"procedures", "codebook", "flow"}


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [(",benign,", ",bening,", "constraint-error"), (",2025-01-14,", ",2025-14-01,", "type-error")],
    ids=["a code that is none", "a day that is none"],
)
def test_frictionless_sees_a_cell_that_was_changed(folder, old, new, found):
    path = folder / "data" / "procedures.csv"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")

    errors = Package(folder / "datapackage.json").validate().flatten(["type"])

    assert [found] in errors


def test_codes_stand_as_categories_and_as_an_enumeration(folder):
    """Checkers that know version 1 only would pass a wrong code otherwise."""
    content = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    fields = {one["name"]: one for one in content["resources"][0]["schema"]["fields"]}
    codes = dict(vocabulary.labels("pathology", "diagnosis"))

    assert content["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert {one["value"]: one["label"] for one in fields["diagnosis"]["categories"]} == codes
    assert fields["diagnosis"]["constraints"]["enum"] == list(codes)
    assert content["resources"][0]["type"] == "table"


# -- Stata, SPSS, transport --------------------------------------------------------

READ = {"dta": pyreadstat.read_dta, "sav": pyreadstat.read_sav, "xpt": pyreadstat.read_xport}


def read(folder, kind):
    return READ[kind](folder / "data" / f"procedures.{kind}", output_format="polars")


@pytest.mark.parametrize("kind", READ)
def test_every_column_comes_back_under_its_name_and_with_its_label(folder, kind):
    rows, meta = read(folder, kind)
    book = pl.read_csv(folder / "codebook.csv")

    assert rows.height == 11
    assert meta.column_names == book["column"].to_list()
    assert meta.column_labels == book["label"].to_list()


@pytest.mark.parametrize("kind", READ)
def test_numbers_and_days_come_back_as_they_are(folder, kind):
    rows, _ = read(folder, kind)
    own = parquet(folder)
    for name in ("patient_no", "cores", "duration_minutes", "age_years"):
        assert rows[name].cast(pl.Float64).to_list() == own[name].cast(pl.Float64).to_list()
    assert rows["started_on"].cast(pl.Date).to_list() == own["started_on"].to_list()
    assert rows["died_on"].null_count() == own["died_on"].null_count()


@pytest.mark.parametrize("kind", ["dta", "sav"])
def test_codes_and_yes_and_no_come_back_through_their_labels(folder, kind):
    rows, meta = read(folder, kind)
    own = parquet(folder)
    labels = meta.variable_value_labels
    said = [None if cell is None else labels["diagnosis"][cell].split(":")[0] for cell in rows["diagnosis"]]

    assert said == own["diagnosis"].to_list()
    assert labels["is_sampled"] == {0: "no", 1: "yes"}
    assert [bool(cell) for cell in rows["is_sampled"]] == own["is_sampled"].to_list()
    assert labels["diagnosis"][3] == "benign: " + vocabulary.labels("pathology", "diagnosis")["benign"]


def test_the_transport_file_keeps_the_codes(folder):
    rows, _ = read(folder, "xpt")

    assert [cell or None for cell in rows["diagnosis"]] == parquet(folder)["diagnosis"].to_list()


@pytest.mark.parametrize("kind", READ)
def test_the_same_rows_give_the_same_bytes(registry, tmp_path, kind, monkeypatch):
    package(registry, tmp_path / "one", formats=("csv", "parquet", kind))
    import time

    time.sleep(1.1)  # these formats state the second of writing, and here must not
    package(registry, tmp_path / "two", formats=("csv", "parquet", kind))

    one, two = ((tmp_path / name / "data" / f"procedures.{kind}").read_bytes() for name in ("one", "two"))
    assert one == two


# -- workbook ----------------------------------------------------------------------


def test_the_workbook_holds_rows_codebook_and_cautions(folder):
    book = openpyxl.load_workbook(folder / "data" / "procedures.xlsx")
    sheet = book["procedures"]
    own = parquet(folder)
    heads = [cell.value for cell in sheet[1]]
    column = {
        name: [row[place].value for row in sheet.iter_rows(min_row=2)] for place, name in enumerate(heads)
    }

    assert book.sheetnames == ["procedures", "codebook", "cautions"]
    assert heads == own.columns
    assert [day.date() if isinstance(day, datetime) else day for day in column["started_on"]] == own[
        "started_on"
    ].to_list()
    assert column["is_sampled"] == own["is_sampled"].to_list()
    assert column["duration_minutes"] == own["duration_minutes"].to_list()
    assert column["diagnosis"] == own["diagnosis"].to_list()
    assert book["codebook"].max_row == len(heads) + 1


def test_no_cell_of_the_workbook_is_a_formula(folder):
    book = openpyxl.load_workbook(folder / "data" / "procedures.xlsx")
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]

    assert "f" not in {cell.data_type for cell in cells}
    assert "'=1+1" in {cell.value for cell in cells}


def test_days_are_days_in_every_year_that_matters(tmp_path):
    """1900-03-01 is day 61, as the format counts a day that was not."""
    from registry.package.workbook import write

    write({"a": pl.DataFrame({"day": [date(1900, 3, 1), date(2026, 6, 30), None]})}, tmp_path / "days.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "days.xlsx")["a"]

    assert [sheet.cell(row, 1).value for row in (2, 3, 4)] == [
        datetime(1900, 3, 1),
        datetime(2026, 6, 30),
        None,
    ]


# -- R -----------------------------------------------------------------------------

SCRIPT = """
suppressMessages({library(haven); library(foreign)})
d <- read_dta("data/procedures.dta")
s <- read_sav("data/procedures.sav")
x <- read_xpt("data/procedures.xpt")
f <- suppressWarnings(read.spss("data/procedures.sav", to.data.frame = TRUE, use.value.labels = FALSE))
p <- read.csv("data/procedures.csv", na.strings = "", colClasses = c(started_on = "Date"))
say <- function(...) cat(..., "\\n", sep = "|")
for (one in list(d, s, x, f, p)) say(nrow(one), ncol(one))
for (one in list(d, s, x, p)) say(sum(one$patient_no), sum(one$cores, na.rm = TRUE), format(min(one$started_on)))
for (one in list(d, s)) say(as.character(attr(one$diagnosis, "label")), sum(as.character(as_factor(one$diagnosis)) == "benign: Benign lesion", na.rm = TRUE))
say(attr(x$diagnosis, "label"), sum(x$diagnosis == "benign"), sum(p$diagnosis == "benign", na.rm = TRUE))
"""


def rscript():
    found = shutil.which("Rscript")
    if found is None:
        said = "Rscript is missing: apt-get install r-base-core r-cran-haven r-cran-foreign"
        if os.environ.get("CI") == "true":
            pytest.fail(said)
        pytest.skip(said)
    return found


def test_r_reads_the_same_rows_from_every_file(folder):
    done = subprocess.run(
        [rscript(), "--vanilla", "-e", SCRIPT], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    own = parquet(folder)
    lines = [line.strip("|").split("|") for line in done.stdout.splitlines()]
    size = [str(own.height), str(own.width)]
    sums = [str(own["patient_no"].sum()), str(own["cores"].sum()), str(own["started_on"].min())]
    label = pl.read_csv(folder / "codebook.csv").filter(pl.col("column") == "diagnosis")["label"][0]

    assert lines[:5] == [size] * 5
    assert lines[5:9] == [sums] * 4
    assert lines[9:11] == [[label, "1"]] * 2
    assert lines[11] == [label, "1", "1"]
