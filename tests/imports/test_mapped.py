"""Delimited sources read through a mapping: rows of several tables from one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.errors import FileProblem
from registry.imports import mapped
from registry.imports.mapping import read_mapping

if TYPE_CHECKING:
    from pathlib import Path

    from registry.imports.received import Received

TOP = 'name = "list"\nversion = "2"\nformat = "csv"\n'
PATIENT = '[tables.patients.fields]\npatient_id = { column = "MRN" }\n'
FINDING = (
    '[tables.findings.fields]\nfinding_id = { join = ["MRN", "Side"], with = "-" }\npatient_id = { column = "MRN" }\n'
    'laterality = { column = "Side", codes = { left = "L", right = "R" } }\n'
)


def read(folder: Path, mapping: str, source: str | bytes, name: str = "list.csv") -> Received:
    (folder / "list.toml").write_text(mapping, encoding="utf-8")
    (folder / name).write_bytes(source if isinstance(source, bytes) else source.encode("utf-8"))
    return mapped.read(folder / name, read_mapping(folder / "list.toml"))


def rows(received: Received, table: str) -> list[dict[str, object]]:
    return next(one for one in received.tables if one.table == table).frame.rows(named=True)


# --- the source --------------------------------------------------------------------------


def test_encoding_delimiter_and_decimal_are_what_the_mapping_states(tmp_path):
    top = TOP + 'encoding = "cp1252"\ndelimiter = ";"\ndecimal = ","\n'
    fields = '[tables.findings.fields]\nfinding_id = { column = "L\u00e4sion" }\nsize_mm = { column = "Gr\u00f6\u00dfe", unit = "cm" }\n'
    received = read(tmp_path, top + fields, "L\u00e4sion;Gr\u00f6\u00dfe\n\u00c41;1,4\n".encode("cp1252"))

    assert rows(received, "findings") == [{"finding_id": "\u00c41", "size_mm": "14", "_line": 2}]


def test_utf_16_is_read_where_it_is_declared(tmp_path):
    received = read(tmp_path, TOP + 'encoding = "utf-16"\n' + PATIENT, "MRN\nA1\n".encode("utf-16"))

    assert rows(received, "patients")[0]["patient_id"] == "A1"


def test_bytes_of_another_encoding_are_refused(tmp_path):
    """0x81 is no character of Windows-1252."""
    with pytest.raises(FileProblem, match="line 2: the byte at offset 5 is not cp1252"):
        read(tmp_path, TOP + 'encoding = "cp1252"\n' + PATIENT, b"MRN\nA\x81\n")


def test_title_lines_above_the_header_are_passed_over(tmp_path):
    received = read(tmp_path, TOP + "header_row = 3\n" + PATIENT, "List of biopsies;;;\n\nMRN\nA1\n")

    assert rows(received, "patients") == [{"patient_id": "A1", "_line": 4}]


def test_a_file_without_header_and_with_comments(tmp_path):
    top = TOP + 'comment_prefix = "@"\ncolumns = ["MRN", "Age"]\nignored = ["Age"]\n'
    received = read(tmp_path, top + PATIENT, "@relation x\n@data\nA1, 60\nA2, 61\n", "list.dat")

    assert [(row["patient_id"], row["_line"]) for row in rows(received, "patients")] == [("A1", 3), ("A2", 4)]


def test_columns_that_nothing_reads_are_named_unless_ignored(tmp_path):
    source = "MRN,Remarks\nA1,x\n"

    assert "'Remarks'" in read(tmp_path, TOP + PATIENT, source).notes[0]
    assert read(tmp_path, TOP + 'ignored = ["Remarks"]\n' + PATIENT, source).notes == ()


def test_all_missing_columns_are_named_at_once(tmp_path):
    with pytest.raises(FileProblem) as caught:
        read(tmp_path, TOP + PATIENT + FINDING, "MRM,Breast\nA1,left\n")

    assert "'MRN'; did you mean MRM?" in str(caught.value)
    assert "'Side'" in str(caught.value)


def test_rows_to_skip_are_counted(tmp_path):
    top = TOP + 'skip_rows = { column = "MRN", words = ["Total"] }\n'
    received = read(tmp_path, top + PATIENT, "MRN\nA1\nTOTAL\n")

    assert [row["patient_id"] for row in rows(received, "patients")] == ["A1"]
    assert "1 rows were skipped" in received.notes[0]


def test_a_total_row_that_is_not_stated_is_not_dropped(tmp_path):
    (bad,) = read(tmp_path, TOP + PATIENT + FINDING, "MRN,Side\nA1,left\nTotal\n").malformed

    assert (bad.line, bad.rule) == (3, "ragged_row")


def test_rows_without_a_mapped_cell_are_left_out_and_counted(tmp_path):
    received = read(
        tmp_path, TOP + 'ignored = ["Remarks"]\n' + PATIENT, "MRN,Remarks\nA1,\n,note of the clerk\n,\n"
    )

    assert len(rows(received, "patients")) == 1
    assert received.notes == ("list.csv: 2 rows without any mapped cell were left out.",)


def test_the_digest_and_the_mapping_are_told(tmp_path):
    received = read(tmp_path, TOP + PATIENT, "MRN\nA1\n")

    assert (received.format, received.mapping_name, received.mapping_version) == ("mapped", "list", "2")
    assert len(received.mapping_sha256) == len(received.files[0].sha256) == 64


# --- filling down ------------------------------------------------------------------------


def test_cells_are_filled_down_in_the_columns_named(tmp_path):
    received = read(tmp_path, TOP + 'fill_down = ["MRN"]\n' + FINDING, "MRN,Side\nA1,left\n,right\nA2,\n")

    assert [(row["patient_id"], row["laterality"]) for row in rows(received, "findings")] == [
        ("A1", "L"),
        ("A1", "R"),
    ]
    assert [one.line for one in received.malformed] == [4]  # the key lacks its part Side


def test_nothing_is_filled_down_past_a_row_that_cannot_be_read(tmp_path):
    """Line 3 is the patient of line 4; the patient of line 2 must not take her place."""
    received = read(
        tmp_path, TOP + 'fill_down = ["MRN"]\n' + FINDING, "MRN,Side\nA1,left\nA2,left,x\n,right\nA3,left\n"
    )

    assert [row["patient_id"] for row in rows(received, "findings")] == ["A1", "A3"]
    assert [(one.line, one.rule) for one in received.malformed] == [(3, "ragged_row"), (4, "fill_down")]


def test_a_skipped_row_fills_nothing(tmp_path):
    top = TOP + 'fill_down = ["MRN"]\nskip_rows = { column = "MRN", words = ["Subtotal"] }\n'
    received = read(tmp_path, top + FINDING, "MRN,Side\nA1,left\nSubtotal,1\n,right\n")

    assert [row["patient_id"] for row in rows(received, "findings")] == ["A1", "A1"]


# --- rows of several tables --------------------------------------------------------------

SOURCE = "MRN,Side\nA1,left\nA1,right\nA2,left\n"


def test_a_row_that_several_lines_repeat_is_kept_once(tmp_path):
    received = read(tmp_path, TOP + PATIENT + FINDING, SOURCE)

    assert received.grouped
    assert [(row["patient_id"], row["_line"]) for row in rows(received, "patients")] == [("A1", 2), ("A2", 4)]
    assert [row["finding_id"] for row in rows(received, "findings")] == ["A1-left", "A1-right", "A2-left"]


def test_rows_of_one_key_that_differ_are_all_passed_on(tmp_path):
    patient = PATIENT + 'sex = { column = "Sex" }\n'
    received = read(tmp_path, TOP + patient + FINDING, "MRN,Side,Sex\nA1,left,female\nA1,right,male\n")

    assert [row["_line"] for row in rows(received, "patients")] == [2, 3]


def test_a_line_that_stands_twice_is_not_lost(tmp_path):
    received = read(tmp_path, TOP + PATIENT + FINDING, "MRN,Side\nA1,left\nA1,left\n")

    assert [row["_line"] for row in rows(received, "patients")] == [2]
    assert [row["_line"] for row in rows(received, "findings")] == [2, 3]


def test_one_table_alone_is_not_merged(tmp_path):
    received = read(tmp_path, TOP + PATIENT, "MRN\nA1\nA1\n")

    assert not received.grouped
    assert [row["_line"] for row in rows(received, "patients")] == [2, 3]


def test_a_row_is_made_only_where_its_condition_holds(tmp_path):
    pathology = (
        '[tables.pathology]\nwhen = "Report"\n[tables.pathology.fields]\n'
        'report_id = { column = "Report" }\nprocedure_id = { column = "MRN" }\nversion = { constant = 1 }\n'
    )
    received = read(
        tmp_path, TOP + 'null_words = ["-"]\n' + PATIENT + pathology, "MRN,Report\nA1,R1\nA2,\nA3,-\n"
    )

    assert [(row["report_id"], row["version"]) for row in rows(received, "pathology")] == [("R1", "1")]
    assert len(rows(received, "patients")) == 3


def test_a_condition_may_ask_for_words(tmp_path):
    events = (
        '[tables.followup]\nwhen = { column = "Surgery", words = ["yes"] }\n[tables.followup.fields]\n'
        'event_id = { join = ["MRN", "Surgery"], with = "-" }\n'
    )
    received = read(tmp_path, TOP + PATIENT + events, "MRN,Surgery\nA1,Yes\nA2,no\n")

    assert [row["event_id"] for row in rows(received, "followup")] == ["A1-Yes"]


def test_several_rows_of_one_table_come_from_one_line(tmp_path):
    specimens = "".join(
        f'[[tables.specimens]]\nwhen = "Mass {n}"\n[tables.specimens.fields]\nspecimen_id = {{ row = "S{{row}}-{n}" }}\n'
        f'mass_g = {{ column = "Mass {n}" }}\n'
        for n in (1, 2)
    )
    received = read(tmp_path, TOP + specimens, "Mass 1,Mass 2\n0.5,0.6\n0.7,\n")

    assert [(row["specimen_id"], row["mass_g"]) for row in rows(received, "specimens")] == [
        ("S1-1", "0.5"),
        ("S1-2", "0.6"),
        ("S2-1", "0.7"),
    ]


def test_messages_name_the_header_of_the_source(tmp_path):
    (table,) = read(tmp_path, TOP + FINDING, SOURCE).tables

    assert table.columns == {"finding_id": "MRN + Side", "patient_id": "MRN", "laterality": "Side"}


# --- what cannot be converted ------------------------------------------------------------


def test_a_cell_that_cannot_be_converted_is_kept_with_its_row(tmp_path):
    fields = (
        PATIENT + '[tables.findings.fields]\nfinding_id = { column = "MRN" }\nsize_mm = { column = "Size" }\n'
    )
    received = read(tmp_path, TOP + fields, "MRN,Size\nA1,14\nA2,ca. 20\n")
    (bad,) = received.malformed

    assert (bad.file, bad.line, bad.place, bad.value, bad.rule) == (
        "list.csv",
        3,
        "Size",
        "ca. 20",
        "not_a_number",
    )
    assert bad.cells == {"MRN": "A2", "Size": "ca. 20"}
    assert [row["patient_id"] for row in rows(received, "patients")] == ["A1"]


def test_all_faults_of_a_row_are_told(tmp_path):
    fields = '[tables.findings.fields]\nfinding_id = { column = "ID" }\nsize_mm = { column = "Size" }\nfound_on = { column = "Day" }\n'
    received = read(tmp_path, TOP + fields, "ID,Size,Day\nF1,x,03/04/2025\n")

    assert {one.rule for one in received.malformed} == {"not_a_number", "ambiguous_date"}
    assert {one.table for one in received.malformed} == {"findings"}


def test_an_identifier_or_birth_date_is_not_repeated(tmp_path):
    patient = '[tables.patients.fields]\npatient_id = { column = "MRN", width = 5 }\nbirth_date = { column = "Born" }\n'
    received = read(tmp_path, TOP + patient, "MRN,Born\n4711,03.04.1960\n")

    assert len(received.malformed) == 2
    for one in received.malformed:
        assert one.value is None
        assert "4711" not in one.message + one.hint
        assert "1960" not in one.message + one.hint


def test_source_rows_are_kept_as_they_came(tmp_path):
    received = read(tmp_path, TOP + PATIENT + FINDING, SOURCE)

    assert received.originals["list.csv"].rows(named=True)[1] == {"_line": 3, "MRN": "A1", "Side": "right"}


# --- keys made of row numbers, held rows that come back ----------------------------------

NUMBERED = (
    TOP + '[tables.findings.fields]\nfinding_id = { row = "F{row:03}" }\nsize_mm = { column = "Size" }\n'
)


def test_a_row_that_cannot_be_read_keeps_its_number(tmp_path):
    received = read(tmp_path, NUMBERED, "Size,Day\n14,1\n15\n\n16,1\n")

    assert [(row["finding_id"], row["_line"]) for row in rows(received, "findings")] == [
        ("F001", 2),
        ("F003", 5),
    ]
    assert received.malformed[0].cells["(row)"] == "2"


def test_a_row_that_comes_back_keeps_its_number_and_its_mark(tmp_path):
    top = TOP + 'encoding = "cp1252"\ndelimiter = ";"\ndecimal = ","\ndate_format = "%d.%m.%Y"\n'
    mapping = top + NUMBERED.removeprefix(TOP)
    back = 'Size,(row),problem,hint,quarantine_id,confirm\n"15,5",2,x,y,1-1,yes\n'
    received = read(tmp_path, mapping, back)

    assert rows(received, "findings") == [
        {"finding_id": "F002", "size_mm": "15.5", "_line": 2, "_quarantine_id": "1-1", "_confirm": "yes"}
    ]
    assert received.originals["list.csv"].columns == ["_line", "Size", "(row)"]


def test_a_row_that_comes_back_without_its_number_is_held_again(tmp_path):
    (bad,) = read(
        tmp_path, NUMBERED, "Size,(row),problem,hint,quarantine_id,confirm\n15,,x,y,1-1,\n"
    ).malformed

    assert (bad.rule, bad.quarantine_id) == ("row_number", "1-1")


def test_a_source_may_have_columns_that_are_called_like_the_added_ones(tmp_path):
    received = read(tmp_path, TOP + PATIENT + 'sex = { column = "hint" }\n', "MRN,hint\nA1,female\n")

    assert rows(received, "patients")[0]["sex"] == "female"


def test_a_folder_is_refused(tmp_path):
    (tmp_path / "list.toml").write_text(TOP + PATIENT)
    with pytest.raises(FileProblem, match="one file at a time"):
        mapped.read(tmp_path, read_mapping(tmp_path / "list.toml"))
