"""docs/mapping.md: its examples are run, its lists are those of the program."""

from __future__ import annotations

import re
from datetime import date, datetime
from pathlib import Path

import pytest
from openpyxl import Workbook

from registry.dictionary import KEYS, tables
from registry.imports import mapped, mapping, mapping_fields
from registry.imports.delimited import ENCODINGS
from registry.imports.mapping_parts import UNITS
from registry.imports.received import Received

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "mapping.md").read_text(encoding="utf-8")


def blocks(kind: str) -> list[str]:
    return re.findall(rf"(?ms)^```{kind}\n(.*?)^```", PAGE)


EXAMPLES = [text for text in blocks("toml") if not text.startswith("# not a whole mapping")]
PARTS = [text for text in blocks("toml") if text.startswith("# not a whole mapping")]


def run(folder: Path, number: int, source: Path) -> Received:
    stated = folder / "example.toml"
    stated.write_text(EXAMPLES[number], encoding="utf-8")
    return mapped.read(source, mapping.read_mapping(stated))


def column(received: Received, table: str, name: str) -> list[str | None]:
    return next(one for one in received.tables if one.table == table).frame[name].to_list()


def heights(received: Received) -> dict[str, int]:
    return {one.table: one.frame.height for one in received.tables}


def test_example_1_gives_what_the_page_says(tmp_path):
    source = tmp_path / "befunde.csv"
    source.write_bytes(blocks("text")[0].encode("cp1252"))
    received = run(tmp_path, 0, source)

    assert heights(received) == {"patients": 2, "findings": 2, "procedures": 2, "pathology": 1}
    assert column(received, "findings", "size_mm") == ["14", "8"]
    assert column(received, "findings", "laterality") == ["L", "R"]
    assert column(received, "patients", "birth_date") == ["1960-05-17", "1971-11-02"]
    assert column(received, "procedures", "started_at") == ["2025-03-10T09:30:00", "2025-03-11T10:15:00"]
    assert column(received, "procedures", "gauge") == ["8", "8"]
    assert column(received, "pathology", "diagnosis") == ["benign"]
    assert received.malformed == ()
    assert "1 rows were skipped" in received.notes[0]


def test_example_2_gives_what_the_page_says(tmp_path):
    book = Workbook()
    sheet = book.active
    sheet.title = "Biopsies"
    for row in [
        ["Biopsies of the year"],
        [None],
        ["Patient", "Age", "Side / clock", "Seen on", "Category", "Biopsy", "Activity"],
        ["P1", 61, "L / 3", date(2025, 2, 20), "4B", datetime(2025, 3, 10, 9, 30), "5 mCi"],
        ["P2", 48, "R / 9", date(2025, 2, 21), "4C", datetime(2025, 3, 11, 10, 0), "5.2 mCi"],
        [None, 48, "L / 12", date(2025, 2, 21), "4A", datetime(2025, 3, 11, 10, 40), "5.2 mCi"],
    ]:
        sheet.append(row)
    sheet.merge_cells("A5:A6")
    source = tmp_path / "list.xlsx"
    book.save(source)
    received = run(tmp_path, 1, source)

    assert received.malformed == ()
    assert heights(received) == {"patients": 2, "findings": 3, "procedures": 3}
    assert column(received, "findings", "finding_id") == ["P1-L / 3", "P2-R / 9", "P2-L / 12"]
    assert column(received, "findings", "clock_position") == ["3", "9", "12"]
    # 5 mCi x 37 = 185 MBq; 5.2 x 37 = 192.4.
    assert column(received, "procedures", "activity_mbq") == ["185", "192.4", "192.4"]
    assert column(received, "procedures", "started_at")[2] == "2025-03-11T10:40:00"


def test_example_3_gives_what_the_page_says(tmp_path):
    book = Workbook()
    sheet = book.active
    for row in [
        ["Record", "Born", "Sex", "Research"],
        [123, date(1960, 5, 17), "F", "ok"],
        [123, date(1960, 5, 17), "F", "ok"],
        ["00456", date(1971, 11, 2), "M", "no"],
    ]:
        sheet.append(row)
    sheet["A3"].number_format = "00000"
    source = tmp_path / "numbers.xlsx"
    book.save(source)
    received = run(tmp_path, 2, source)

    assert column(received, "patients", "patient_id") == ["00123", "00456"]
    assert column(received, "patients", "research_use") == ["permitted", "objected"]
    assert [(one.line, one.rule) for one in received.malformed] == [(2, "width")]


@pytest.mark.parametrize("text", EXAMPLES)
def test_an_example_feeds_every_field_that_a_new_row_needs(tmp_path, text):
    stated = tmp_path / "example.toml"
    stated.write_text(text, encoding="utf-8")
    for row in mapping.read_mapping(stated).rows:
        fed = {one.field.name for one in row.fields}
        assert {one.name for one in tables()[row.table].fields if one.always_required} <= fed


@pytest.mark.parametrize("text", PARTS)
def test_a_part_is_read_behind_the_keys_that_every_mapping_has(tmp_path, text):
    stated = tmp_path / "part.toml"
    stated.write_text(f'name = "x"\nversion = "1"\nformat = "csv"\n{text}', encoding="utf-8")

    assert mapping.read_mapping(stated).rows


def test_every_key_is_described():
    described = set(re.findall(r"`([a-z_]+)`", PAGE))

    assert set(mapping._KEYS) | {"skip_rows"} <= described


def test_every_source_and_option_of_a_field_is_described():
    missing = [
        name
        for name in (*mapping_fields.KINDS, *mapping_fields._OPTIONS["column"], "with")
        if not re.search(rf"`{name}(`| = )", PAGE)
    ]

    assert missing == []


def test_every_unit_and_encoding_is_described():
    assert [unit for unit, _ in UNITS if f"`{unit}`" not in PAGE] == []
    assert [name for name in ENCODINGS if f'`"{name}"`' not in PAGE] == []


def test_every_key_of_a_table_is_described():
    for table, key in KEYS.items():
        named = ", ".join(f"`{name}`" for name in key if tables()[table][name].always_required)
        assert f"| `{table}` | {named}" in PAGE
