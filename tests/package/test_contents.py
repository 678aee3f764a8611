"""What stands in a package beside its rows, and one archive of it."""

from __future__ import annotations

import csv
import hashlib
import json
import re
import zipfile

import pytest

from registry.cohorts import draw
from registry.cohorts.table_one import table_one
from registry.disclosure.cells import HIDDEN, Rule
from registry.disclosure.profiles import PROFILES, RESTRICTED, SHIFTED
from registry.errors import UsageProblem
from registry.package.asked import formats_of
from registry.package.first_table import table_one_rows
from registry.package.naming import aliases
from tests.exports.made import manifest_of
from tests.package.made import cohort_file, package, parquet


def table(path):
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def test_a_cohort_brings_its_file_its_flow_and_its_first_table(registry, tmp_path):
    """Twelve procedures; one in January, one objects: ten."""
    report = package(registry, tmp_path / "out", cohort=cohort_file(), project=None)
    flow = table(tmp_path / "out" / "flow.csv")
    made = manifest_of(tmp_path / "out")

    assert report.rows == 10
    assert (int(flow[0]["remaining"]), int(flow[-1]["remaining"])) == (12, 10)
    assert (tmp_path / "out" / "cohort.json").read_bytes() == cohort_file().canonical() + b"\n"
    assert made["cohort_sha256"] == hashlib.sha256(cohort_file().canonical()).hexdigest()
    assert (made["project"], made["profile"], made["from"]) == ("alpha", "internal", "2025-02-01")
    first = table(tmp_path / "out" / "table_one.csv")
    assert [row["count"] for row in first if (row["variable"], row["level"]) == ("laterality", "L")] == ["10"]


@pytest.mark.parametrize("profile", [SHIFTED, RESTRICTED], ids=lambda one: one.name)
def test_small_cells_of_the_first_table_are_hidden_where_it_leaves(registry, tmp_path, profile):
    package(registry, tmp_path / "out", cohort=cohort_file(), project=None, profile=profile)
    first = table(tmp_path / "out" / "table_one.csv")
    counts = (
        {row["count"] for row in first}
        | {row["recorded"] for row in first}
        | {row["missing"] for row in first}
    )

    assert counts <= {"", "0", HIDDEN}  # ten procedures in all: nothing but nobody may be shown
    assert {row["share"] for row in first} <= {"", HIDDEN}


def test_inside_the_service_nothing_is_hidden(registry):
    drawn = draw(registry, cohort_file())
    shown = table_one_rows(table_one(drawn), Rule(0))

    assert HIDDEN not in {cell for row in shown.iter_rows() for cell in row}


def test_the_codebook_has_an_alias_for_every_column_that_old_programs_take(registry, tmp_path):
    for profile in PROFILES.values():
        package(registry, tmp_path / profile.name, profile=profile, formats=("csv", "parquet"))
        book = table(tmp_path / profile.name / "codebook.csv")
        names = [row["alias"] for row in book]

        assert len({name.lower() for name in names}) == len(names)
        assert all(re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]{0,7}", name) for name in names)


def test_an_alias_is_the_name_where_it_is_short_and_numbered_where_two_agree():
    made = aliases(["site", "targeting_depth_mm", "targeting_depth_mmm", "first_report_on"])

    assert made["site"] == "site"
    # Vowels go after the first letter: trgtng dpth mm, dealt out in turn until eight.
    assert made["targeting_depth_mm"] == "trgdptmm"
    assert (
        made["targeting_depth_mmm"] == "trgdptm2" or made["targeting_depth_mmm"] != made["targeting_depth_mm"]
    )


def test_the_codebook_counts_and_says_why_a_cell_may_be_empty(registry, tmp_path):
    package(registry, tmp_path / "out", formats=("csv", "parquet"))
    book = {row["column"]: row for row in table(tmp_path / "out" / "codebook.csv")}

    # Eleven rows; one has a report, of 14 January 2025; all are 64 at their birthday in May or not yet.
    assert [book["diagnosis"][name] for name in ("rows", "missing", "distinct")] == ["11", "10", "1"]
    assert (book["first_report_on"]["least"], book["first_report_on"]["greatest"]) == (
        "2025-01-14",
        "2025-01-14",
    )
    assert "not yet due" in book["first_report_on"]["missing_means"]
    assert book["compression_mm"]["unit"] == "mm"
    assert book["activity_mbq"]["unit"] == "MBq"
    assert book["patient_no"]["least"] == ""  # a key has no range worth telling


def test_a_restricted_package_names_no_site_operator_or_day(registry, tmp_path):
    package(registry, tmp_path / "out", profile=RESTRICTED, formats=("csv", "parquet"))
    rows = parquet(tmp_path / "out")

    assert {"site", "operator_no", "supervisor_no", "marker_shape", "started_on"} & set(rows.columns) == set()
    assert set(rows["started_year"]) == {2025}
    text = (tmp_path / "out" / "data" / "procedures.csv").read_text(encoding="utf-8")
    assert re.findall(r"\d{4}-\d\d-\d\d", text) == []
    assert "coil" not in text


def test_the_privacy_report_counts_and_leaves_the_decision_to_a_person(registry, tmp_path):
    """Eleven patients, a procedure each: born on 17 May 1960, so 64 in January, February, April and on 10 May, and 65 in seven more."""
    package(registry, tmp_path / "out", profile=RESTRICTED, formats=("csv", "parquet"))
    found = json.loads((tmp_path / "out" / "privacy.json").read_text(encoding="utf-8"))
    page = (tmp_path / "out" / "PRIVACY.md").read_text(encoding="utf-8")

    assert found["classes"]["by"] == ["age_years", "year", "laterality", "sex"]
    assert (
        found["classes"]["classes"],
        found["classes"]["k"],
        found["classes"]["records_in_classes_below"],
    ) == (2, 4, 11)
    assert found["classes"]["leave_out_first"][0]["column"] == "age_years"
    assert {one["column"] for one in found["columns"] if one["became"] is None} == {
        "site",
        "operator_no",
        "supervisor_no",
        "marker_shape",
    }
    assert "Left to a person" in page and "Signed:" in page


def test_the_archive_holds_the_folder_and_is_the_same_whenever_it_is_made(registry, tmp_path):
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        package(registry, tmp_path / name / "out", packed=True)
    one, two = (tmp_path / name / "out.zip" for name in ("one", "two"))

    with zipfile.ZipFile(one) as made:
        inside = {name: made.read(name) for name in made.namelist()}
    files = {
        f"out/{path.relative_to(tmp_path / 'one' / 'out').as_posix()}": path.read_bytes()
        for path in (tmp_path / "one" / "out").rglob("*")
        if path.is_file()
    }
    assert inside == files
    # Both were made at the same time of the test's clock; the trail grew by one entry between them.
    assert {n for n, data in inside.items() if zipfile.ZipFile(two).read(n) != data} == {"out/MANIFEST.json"}


def test_the_same_files_give_the_same_archive(registry, tmp_path):
    from registry.package.archive import pack

    package(registry, tmp_path / "out")
    (tmp_path / "a").mkdir()
    pack(tmp_path / "out", tmp_path / "x.zip")
    pack(tmp_path / "out", tmp_path / "a" / "x.zip")

    assert (tmp_path / "x.zip").read_bytes() == (tmp_path / "a" / "x.zip").read_bytes()


def test_an_unknown_format_is_refused_with_those_there_are():
    assert formats_of(["SAV", " xpt"]) == ("csv", "parquet", "sav", "xpt")
    with pytest.raises(UsageProblem, match="Formats are csv, parquet, dta, sav, xpt, xlsx"):
        formats_of(["sas"])


def test_an_empty_cohort_is_still_a_package(registry, tmp_path):
    report = package(
        registry, tmp_path / "out", cohort=cohort_file(start="2030-01-01", end=None), project=None
    )

    assert (report.rows, parquet(tmp_path / "out").height) == (0, 0)
    assert report.privacy.as_they_leave.k == 0
