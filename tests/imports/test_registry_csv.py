"""The native form: a folder of CSV files named after the tables."""

from __future__ import annotations

import hashlib
import os
from typing import TYPE_CHECKING

import pytest

from registry.errors import FileProblem
from registry.imports import delimited, registry_csv

if TYPE_CHECKING:
    from pathlib import Path

    from registry.imports.received import Received, SourceTable

FINDINGS = "finding_id,patient_id,found_on,laterality,modality,finding_type,assessment\n"


def write(folder: Path, **texts: str | bytes) -> Path:
    for name, text in texts.items():
        path = folder / f"{name}.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return folder


def one(received: Received) -> SourceTable:
    (table,) = received.tables
    return table


def refusal(path: Path, **options: bool) -> str:
    with pytest.raises(FileProblem) as caught:
        registry_csv.read(path, **options)
    return str(caught.value)


# --- what is read ------------------------------------------------------------------------


def test_rows_are_text_and_leading_zeros_stay(tmp_path):
    table = one(registry_csv.read(write(tmp_path, patients="patient_id,birth_date\n00123,1960-01-31\n")))

    assert table.frame.rows(named=True) == [{"patient_id": "00123", "birth_date": "1960-01-31", "_line": 2}]


def test_columns_may_stand_in_any_order(tmp_path):
    table = one(registry_csv.read(write(tmp_path, patients="sex,patient_id\nfemale,A1\n")))

    assert table.frame.select("patient_id", "sex").rows() == [("A1", "female")]
    assert table.columns == {"sex": "sex", "patient_id": "patient_id"}


def test_tables_come_parents_first_whatever_the_names_of_the_files(tmp_path):
    write(tmp_path, findings=FINDINGS, patients="patient_id\nA\n", meetings="meeting_id\nM\n")

    assert [table.table for table in registry_csv.read(tmp_path).tables] == [
        "meetings",
        "patients",
        "findings",
    ]


def test_one_file_can_be_read_alone(tmp_path):
    write(tmp_path, findings=FINDINGS, patients="patient_id\nA\n")

    assert [table.table for table in registry_csv.read(tmp_path / "patients.csv").tables] == ["patients"]


def test_a_file_is_identified_by_the_digest_of_its_bytes(tmp_path):
    data = b"patient_id\nA\n"
    (file,) = registry_csv.read(write(tmp_path, patients=data)).files

    assert (file.name, file.sha256, file.size) == (
        "patients.csv",
        hashlib.sha256(data).hexdigest(),
        len(data),
    )


def test_an_update_may_carry_the_key_and_one_column(tmp_path):
    table = one(registry_csv.read(write(tmp_path, procedures="procedure_id,cores\nP1,12\n")))

    assert table.frame.rows() == [("P1", "12", 2)]


def test_the_container_of_a_report_may_be_absent(tmp_path):
    write(tmp_path, pathology="report_id,procedure_id,version,diagnosis\nR1,P1,1,benign\n")

    assert one(registry_csv.read(tmp_path)).frame.height == 1


def test_a_header_alone_is_no_rows_and_said(tmp_path):
    received = registry_csv.read(write(tmp_path, findings=FINDINGS))

    assert one(received).frame.height == 0
    assert received.notes == ("findings.csv: the file holds only its header; 0 rows.",)


def test_other_files_of_the_folder_are_left_aside_and_named(tmp_path):
    write(tmp_path, patients="patient_id\nA\n")
    (tmp_path / "readme.txt").write_text("x")
    (tmp_path / ".hidden").write_text("x")

    assert registry_csv.read(tmp_path).notes == ("readme.txt: not a CSV file; left aside.",)


# --- sound files and others --------------------------------------------------------------


def test_a_sound_file_is_offered_as_it_stands(tmp_path):
    table = one(registry_csv.read(write(tmp_path, patients="sex,patient_id\r\nfemale,A1\r\n")))

    assert (table.csv.fields, table.csv.records, table.csv.new_line) == (("sex", "patient_id"), 1, "\r\n")


def test_a_column_left_out_keeps_its_place_in_a_sound_file(tmp_path):
    write(tmp_path, patients="patient_id,shoe_size,sex\nA1,38,female\n")
    received = registry_csv.read(tmp_path, ignore_unknown=True)

    assert one(received).csv.fields == ("patient_id", None, "sex")
    assert one(received).frame.columns == ["patient_id", "sex", "_line"]
    assert "'shoe_size'" in received.notes[0]


def test_a_file_with_a_faulty_row_is_not_offered_as_it_stands(tmp_path):
    received = registry_csv.read(write(tmp_path, patients="patient_id,sex\nA1,female\nA2\n"))
    (bad,) = received.malformed

    assert one(received).csv is None
    assert one(received).frame.rows() == [("A1", "female", 2)]
    assert (bad.file, bad.table, bad.line, bad.rule, bad.raw) == (
        "patients.csv",
        "patients",
        3,
        "ragged_row",
        "A2",
    )


def test_an_unreadable_row_carries_the_columns_into_which_its_texts_belong(tmp_path):
    (bad,) = registry_csv.read(write(tmp_path, patients="patient_id,sex\nA2\n")).malformed

    assert bad.cells == {"patient_id": None, "sex": None}


def test_the_minus_sign_of_typographers_is_read_and_said(tmp_path):
    head = "procedure_id,attempt,planned_x_mm\n"
    received = registry_csv.read(write(tmp_path, targeting=head + "P1,1,12\nP2,1,\u22124.0\n"))

    assert one(received).frame["planned_x_mm"].to_list() == ["12", "-4.0"]
    assert "line 3, column planned_x_mm" in received.notes[0]


def test_the_minus_sign_stays_in_a_text(tmp_path):
    write(tmp_path, reviews="review_id,note\nR1,from 3 \u2212 4\n")

    assert one(registry_csv.read(tmp_path)).frame["note"].to_list() == ["from 3 \u2212 4"]


def test_text_encoded_twice_is_taken_and_its_cell_named(tmp_path):
    twice = "L\u00e4sion".encode().decode("cp1252")
    received = registry_csv.read(write(tmp_path, reviews=f"review_id,note\nR1,Stra\u00dfe\nR2,{twice}\n"))

    assert one(received).frame["note"].to_list() == ["Stra\u00dfe", twice]
    (note,) = received.notes
    assert "suspected double encoding" in note
    assert "line 3, column note" in note
    assert twice not in note


# --- what is refused ---------------------------------------------------------------------


def test_an_unknown_column_is_refused_with_the_nearest_name(tmp_path):
    write(tmp_path, findings=FINDINGS.replace("laterality", "lateralty"))
    said = refusal(tmp_path)

    assert "unknown column 'lateralty'; did you mean laterality?" in said
    assert "--ignore-unknown" in said


def test_all_missing_keys_are_listed_at_once(tmp_path):
    assert "missing columns report_id, procedure_id, version" in refusal(
        write(tmp_path, pathology="diagnosis\nbenign\n")
    )


def test_the_faults_of_all_files_are_told_together(tmp_path):
    write(tmp_path, patients="sex\nfemale\n", findings=b"")
    said = refusal(tmp_path).splitlines()

    assert [line.split(":")[0] for line in said] == ["findings.csv", "patients.csv"]


def test_an_unknown_file_is_refused_with_the_nearest_name(tmp_path):
    write(tmp_path, proceduers="procedure_id\nP1\n", patients="patient_id\nA\n")

    assert "proceduers.csv: no table has this name; did you mean procedures?" in refusal(tmp_path)


def test_a_folder_without_csv_files_is_refused(tmp_path):
    assert "holds no CSV file" in refusal(tmp_path)


def test_a_path_that_is_not_there_is_said(tmp_path):
    assert "no such file or folder" in refusal(tmp_path / "none")


def test_a_file_of_another_kind_is_sent_to_a_mapping(tmp_path):
    (tmp_path / "list.xlsx").write_bytes(b"PK")

    assert "--mapping" in refusal(tmp_path / "list.xlsx")


def test_a_workbook_named_csv_is_known_by_its_content(tmp_path):
    assert "content does not match the name" in refusal(
        write(tmp_path, patients=b"PK\x03\x04" + b"\x00" * 40)
    )


def test_semicolons_are_named_as_what_they_are(tmp_path):
    assert "not separated by commas" in refusal(write(tmp_path, patients="patient_id;sex\nA;female\n"))


def test_a_file_without_its_header_does_not_have_its_first_row_repeated(tmp_path):
    said = refusal(write(tmp_path, patients="4711,1960-01-31,female\n"))

    assert "none of the 3 names in the first line" in said
    assert "4711" not in said
    assert "1960" not in said


def test_a_file_that_changes_while_it_is_read_is_refused(tmp_path, monkeypatch):
    path = write(tmp_path, patients="patient_id\n" + "A\n" * 100) / "patients.csv"
    scan = delimited.scan

    def slow_scan(*args: object, **options: object) -> object:
        found = scan(*args, **options)
        with path.open("ab") as handle:
            handle.write(b"B\n")
        return found

    monkeypatch.setattr(delimited, "scan", slow_scan)

    assert "changed while it was being read" in refusal(path)


def test_rows_are_not_read_later_from_other_bytes(tmp_path):
    """Even where size and time of the file are what they were."""
    path = write(tmp_path, patients="patient_id\nA\n") / "patients.csv"
    table = one(registry_csv.read(path))
    seen = path.stat()
    path.write_bytes(b"patient_id\nB\n")
    os.utime(path, ns=(seen.st_atime_ns, seen.st_mtime_ns))

    with pytest.raises(FileProblem, match="changed while it was being read"):
        _ = table.frame


# --- held rows that come back ------------------------------------------------------------


def test_the_columns_added_to_held_rows_go_to_their_places(tmp_path):
    text = "patient_id,sex,problem,hint,quarantine_id,confirm\nA1,female,sex: x,Correct it.,3-1,yes\nA2,male,,,3-2,\n"
    table = one(registry_csv.read(write(tmp_path, patients=text)))

    assert table.frame.drop("_line").rows(named=True) == [
        {"patient_id": "A1", "sex": "female", "_quarantine_id": "3-1", "_confirm": "yes"},
        {"patient_id": "A2", "sex": "male", "_quarantine_id": "3-2", "_confirm": None},
    ]
    assert table.csv is None


def test_a_row_that_is_still_unreadable_keeps_its_mark(tmp_path):
    text = "patient_id,sex,(unreadable row),problem,hint,quarantine_id,confirm\n,,A2,x,y,3-1,\nA3,male,A3,x,y,3-2,\n"
    received = registry_csv.read(write(tmp_path, patients=text))
    (bad,) = received.malformed

    assert (bad.raw, bad.quarantine_id, bad.line) == ("A2", "3-1", 2)
    assert one(received).frame["patient_id"].to_list() == ["A3"]
