"""Mapping files: strictly read, every fault named with its line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.errors import FileProblem
from registry.imports.mapping import read_mapping

if TYPE_CHECKING:
    from pathlib import Path

HEAD = 'name = "list"\nversion = "1"\nformat = "csv"\n'
TABLE = "[tables.patients.fields]\n"
KEY = 'patient_id = { column = "MRN" }\n'


def write(folder: Path, text: str) -> Path:
    path = folder / "list.toml"
    path.write_text(text, encoding="utf-8")
    return path


def refusal(folder: Path, text: str) -> str:
    with pytest.raises(FileProblem) as caught:
        read_mapping(write(folder, text))
    return str(caught.value)


def test_a_small_mapping_is_read(tmp_path):
    mapping = read_mapping(write(tmp_path, HEAD + TABLE + KEY))

    assert (mapping.name, mapping.version, mapping.format, mapping.used) == ("list", "1", "csv", ("MRN",))
    assert len(mapping.sha256) == 64


def test_a_version_may_be_a_number(tmp_path):
    text = 'name = "list"\nversion = 3\nformat = "csv"\n'

    assert read_mapping(write(tmp_path, text + TABLE + KEY)).version == "3"


def test_two_rows_of_one_table_can_be_made_from_one_source_row(tmp_path):
    rows = "".join(
        f'[[tables.specimens]]\nwhen = "Mass {n}"\n[tables.specimens.fields]\n'
        f'specimen_id = {{ join = ["ID", "Mass {n}"], with = "-" }}\n'
        for n in (1, 2)
    )
    mapping = read_mapping(write(tmp_path, HEAD + rows))

    assert [row.when.column for row in mapping.rows] == ["Mass 1", "Mass 2"]


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        (HEAD + 'encodng = "cp1252"\n' + TABLE + KEY, 4, "unknown key encodng; did you mean encoding?"),
        (
            HEAD + TABLE + KEY + 'sexx = { column = "S" }\n',
            6,
            "patients has no field sexx; did you mean sex?",
        ),
        (
            HEAD + TABLE + 'patient_id = { column = "MRN", widht = 5 }\n',
            5,
            "widht is no option of column; did you mean width?",
        ),
        (HEAD + "[tables.patient.fields]\n" + KEY, 4, "no table is called patient; did you mean patients?"),
        (HEAD + TABLE + 'sex = { column = "S" }\n', 4, "patients needs the field patient_id"),
        (HEAD + TABLE + 'patient_id = { column = "A", constant = "B" }\n', 5, "needs one of column"),
        (
            HEAD + TABLE + KEY + "[tables.patients]\nwhne = 1\n",
            7,
            "unknown key whne in table patients; did you mean when?",
        ),
        (
            HEAD
            + TABLE
            + KEY
            + '[tables.findings.fields]\nfinding_id = { column = "F" }\npatient_id = { colum = "M" }\n',
            8,
            "needs one of",
        ),
        (HEAD + "format = 1\n", None, "no valid TOML"),
        (HEAD + 'encoding = "utf-7"\n' + TABLE + KEY, 4, "encoding must be one of"),
        (HEAD + 'sheet = "A"\n' + TABLE + KEY, 4, "sheet does not apply to format csv"),
        (
            HEAD + 'decimal = ","\ndelimiter = ","\n' + TABLE + KEY,
            4,
            "decimal and delimiter are the same sign",
        ),
        (HEAD + 'thousands = "."\n' + TABLE + KEY, 4, "thousands and decimal are the same sign"),
        (HEAD + 'time_zone = "Berlin"\n' + TABLE + KEY, 4, "not a known time zone"),
        (HEAD + "header_row = 0\n" + TABLE + KEY, 4, "header_row must be a whole number from 1"),
        (HEAD + 'null_words = "-"\n' + TABLE + KEY, 4, "null_words must be a list of texts"),
        (HEAD + 'date_format = "%d.%m.%y"\n' + TABLE + KEY, 4, "years of two digits"),
        (HEAD + 'date_format = "%d %b %Y"\n' + TABLE + KEY, 4, "%b is not read here"),
        (HEAD + 'date_format = "%d.%m."\n' + TABLE + KEY, 4, "%Y is missing"),
        (
            HEAD + TABLE + KEY + 'birth_date = { column = "B", date_format = "%d.%m.%y" }\n',
            6,
            "years of two digits",
        ),
        (HEAD + TABLE + 'patient_id = { row = "P" }\n', 5, "row must hold {row}"),
        (HEAD + TABLE + 'patient_id = { row = "P{row.__class__}" }\n', 5, "row must hold {row}"),
        (HEAD + TABLE + 'patient_id = { column = "A", pattern = "(a)(b)" }\n', 5, "with one group"),
        (HEAD + TABLE + 'patient_id = { column = "A", pattern = "(?<=x)(b)" }\n', 5, "without look-around"),
        (
            HEAD + TABLE + 'patient_id = { column = "A", unit = "cm" }\n',
            5,
            "can be converted from no other unit",
        ),
        (
            HEAD + TABLE + KEY + 'sex = { column = "S", codes = { F = "female", f = "female" } }\n',
            6,
            "same but for letter case",
        ),
        (
            HEAD + TABLE + 'patient_id = { column = "A", split = { by = "/", part = 0 } }\n',
            5,
            "the first part is 1",
        ),
        (HEAD + 'skip_rows = "Total"\n' + TABLE + KEY, 4, "skip_rows must be"),
        (HEAD + 'columns = ["a"]\nheader_row = 2\n' + TABLE + KEY, 4, "header_row cannot stand beside it"),
    ],
)
def test_a_fault_is_named_with_its_line(tmp_path, text, line, said):
    found = refusal(tmp_path, text)

    assert said in found
    if line is not None:
        assert f"list.toml, line {line}:" in found


@pytest.mark.parametrize("unit", ["mCi", "uCi", "kBq"])
def test_units_of_activity_are_known_for_activities_only(tmp_path, unit):
    head = HEAD + '[tables.procedures.fields]\nprocedure_id = { column = "P" }\n'
    read_mapping(write(tmp_path, head + f'activity_mbq = {{ column = "A", unit = "{unit}" }}\n'))

    assert "it can be converted from lb" in refusal(
        tmp_path, head + f'weight_kg = {{ column = "A", unit = "{unit}" }}\n'
    ).replace("from g, lb", "from lb")


def test_all_faults_are_named_at_once(tmp_path):
    text = 'name = "list"\nformat = "cvs"\nencodng = "x"\n' + TABLE + 'sexx = { column = "S" }\n'
    said = refusal(tmp_path, text)

    assert len(said.splitlines()) == 5  # version, format, encodng, sexx, patient_id


def test_a_mapping_without_tables_says_so(tmp_path):
    assert "no [tables.<table>.fields]" in refusal(tmp_path, HEAD)


def test_a_mapping_that_is_not_there_is_said(tmp_path):
    with pytest.raises(FileProblem, match="cannot be read"):
        read_mapping(tmp_path / "none.toml")


def test_the_digest_is_that_of_the_file(tmp_path):
    import hashlib

    path = write(tmp_path, HEAD + TABLE + KEY)

    assert read_mapping(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
