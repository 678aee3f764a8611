"""What describes an export: codebook and manifest."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import polars as pl

from registry.dictionary import tables
from registry.package.build import small_classes
from registry.store import Registry
from tests.exports.made import manifest_of, rows_of, run


def test_the_codebook_describes_every_column_in_order(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    book = rows_of(tmp_path / "out" / "codebook.csv")
    header = (tmp_path / "out" / "data" / "procedures.csv").read_text(encoding="utf-8").splitlines()[0]
    assert [row["column"] for row in book] == header.split(",") and all(row["definition"] for row in book)


def test_the_codebook_takes_type_unit_codes_and_range_from_their_source(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    book = {row["column"]: row for row in rows_of(tmp_path / "out" / "codebook.csv")}
    got = [
        (book["activity_mbq"]["type"], book["activity_mbq"]["unit"], book["activity_mbq"]["allowed"]),
        (book["tissue_mass_g"]["type"], book["tissue_mass_g"]["unit"], book["tissue_mass_g"]["source"]),
        (book["started_on"]["type"], book["started_on"]["sensitivity"]),
        (book["is_sampled"]["type"], book["cores"]["type"], book["cores"]["unit"]),
    ]
    assert got == [
        ("decimal", "MBq", "1 to 2000"),
        ("decimal", "g", "procedure_facts.tissue_mass_g"),
        ("date", "date"),
        ("yes/no", "integer", ""),
    ]


def test_derived_codes_carry_the_labels_of_their_list(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    book = {row["column"]: row["allowed"] for row in rows_of(tmp_path / "out" / "codebook.csv")}
    stated = {part.split(" = ")[0] for part in book["diagnosis"].split("; ")}
    assert stated == set(tables()["pathology"]["diagnosis"].codes)


def test_the_codebook_counts_empty_cells(registry: Registry, tmp_path: Path):
    run(registry, tmp_path / "out")
    missing = {row["column"]: row["missing"] for row in rows_of(tmp_path / "out" / "codebook.csv")}
    # Eleven rows: all have a site, one has a report and a supervisor.
    assert [missing[name] for name in ("site", "diagnosis", "supervisor_no")] == ["0", "10", "10"]


def test_the_manifest_states_record_question_and_reason(registry: Registry, tmp_path: Path):
    head = registry.rows("SELECT seq, mac FROM audit_event ORDER BY seq DESC LIMIT 1")[0]
    run(registry, tmp_path / "out", start=date(2025, 1, 1))
    made = manifest_of(tmp_path / "out")
    stated = [
        made[key]
        for key in ("as_of", "from", "to", "author", "reason", "written_at", "invented", "schema", "trail")
    ]
    expected = [
        "2026-06-30",
        "2025-01-01",
        None,
        "researcher",
        "study of targeting",
        "2026-07-01T08:30:00+00:00",
        False,
        max(int(one.name[:4]) for one in (Path(__file__).parents[2] / "sql/migrations").glob("*.sql")),
    ]
    assert stated == [*expected, {"seq": head[0], "mac": head[1]}]


def test_a_demonstration_is_marked_as_invented(registry: Registry, tmp_path: Path):
    (registry.folder / "DEMO").write_text("invented", encoding="utf-8")
    run(registry, tmp_path / "out")
    assert manifest_of(tmp_path / "out")["invented"] is True


def test_small_classes_are_measured_and_stated():
    frame = pl.DataFrame(
        {
            "patient_no": [*range(1, 12), 12, 12],
            "age_years": [60] * 11 + [71, 79],
            "started_on": [date(2025, 3, 1)] * 13,
            "laterality": ["L"] * 13,
            "site": ["A"] * 13,
        }
    )
    # Eleven patients in their sixties, and one in the seventies with two procedures.
    made = small_classes(frame)
    assert (made["classes"], made["patients_in_smallest"], made["classes_below"]) == (2, 1, 1)
