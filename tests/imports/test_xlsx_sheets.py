"""Workbooks: title rows, empty formatted rows, hidden rows and columns, several sheets, merged cells."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.imports import archive
from registry.imports.empty_cells import Sieve
from tests.imports.test_xlsx import FIELDS, ROWS, SHEET, TOP, frame, read, refusal, rewritten, workbook

if TYPE_CHECKING:
    from pathlib import Path

    from openpyxl.worksheet.worksheet import Worksheet


# --- rows, columns, sheets ---------------------------------------------------------------


def test_title_rows_stand_above_the_header(tmp_path):
    rows = [["List of biopsies"], [None], *ROWS]

    assert [
        row[-1]
        for row in frame(read(workbook(tmp_path / "list.xlsx", rows), TOP + "header_row = 3\n" + FIELDS))
    ] == [4, 5]


def test_a_line_break_in_a_column_name_is_a_space(tmp_path):
    rows = [["ID", "Day", "Size"], *ROWS[1:]]
    rows[0] = ["ID", "Day\nfound", "Size"]

    assert (
        len(frame(read(workbook(tmp_path / "list.xlsx", rows), TOP + FIELDS.replace('"Day"', '"Day found"'))))
        == 2
    )


def sizes_parsed(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Bytes of each sheet that is given to the parser of cells, as it happens."""
    sizes: list[int] = []
    plain = archive.slim

    def noted(path: Path, place: archive.SheetPlace, xml: bytes) -> object:
        sizes.append(len(xml))
        return plain(path, place, xml)

    monkeypatch.setattr(archive, "slim", noted)
    return sizes


def test_a_million_empty_formatted_rows_are_ignored(tmp_path, monkeypatch):
    path = workbook(tmp_path / "list.xlsx", ROWS)
    empty = b"".join(b'<row r="%d"><c r="A%d" s="1"/></row>' % (row, row) for row in range(4, 1_000_001))
    rewritten(path, SHEET, lambda xml: xml.replace(b"</sheetData>", empty + b"</sheetData>"))
    parsed = sizes_parsed(monkeypatch)
    received = read(path, TOP + FIELDS)

    assert len(frame(received)) == 2
    assert sum(parsed) < 10_000


def formatted(first: int, last: int, cells: str = "ABC") -> bytes:
    """Rows of formatted cells without a value, as spreadsheet programs write them."""
    return b"".join(
        f'<row r="{row}" spans="1:3" s="1" customFormat="1">'.encode()
        + b"".join(f'<c r="{cell}{row}" s="1"/>'.encode() for cell in cells)
        + b"</row>"
        for row in range(first, last + 1)
    )


def test_formatted_rows_of_several_empty_cells_do_not_count(tmp_path, monkeypatch):
    """200,000 rows of three cells are 24 MB of XML; the limit is set below that."""
    path = workbook(tmp_path / "list.xlsx", ROWS)
    rewritten(path, SHEET, lambda xml: xml.replace(b"</sheetData>", formatted(4, 200_003) + b"</sheetData>"))
    monkeypatch.setattr(archive, "EXPANDED_LIMIT", 1024 * 1024)
    parsed = sizes_parsed(monkeypatch)
    received = read(path, TOP + FIELDS)

    assert len(frame(received)) == 2
    assert sum(parsed) < 10_000


def test_a_value_below_many_formatted_rows_keeps_its_place(tmp_path, monkeypatch):
    last = b'<row r="200004"><c r="A200004" t="inlineStr"><is><t>F9</t></is></c><c r="B200004" s="1"/><c r="C200004"><v>7</v></c></row>'
    path = workbook(tmp_path / "list.xlsx", ROWS)
    rewritten(
        path, SHEET, lambda xml: xml.replace(b"</sheetData>", formatted(4, 200_003) + last + b"</sheetData>")
    )
    parsed = sizes_parsed(monkeypatch)
    found = frame(read(path, TOP + FIELDS))

    assert (len(found), sorted(map(str, found[-1]))) == (3, ["200004", "7", "F9", "None"])
    assert sum(parsed) < 10_000


def test_values_do_count(tmp_path, monkeypatch):
    rows = b"".join(b'<row r="%d"><c r="A%d"><v>%d</v></c></row>' % (n, n, n) for n in range(4, 50_000))
    path = workbook(tmp_path / "list.xlsx", ROWS)
    rewritten(path, SHEET, lambda xml: xml.replace(b"</sheetData>", rows + b"</sheetData>"))
    monkeypatch.setattr(archive, "EXPANDED_LIMIT", 1024 * 1024)

    assert "more than 1" in refusal(path)


@pytest.mark.parametrize("size", [7, 64, 1000, 1_000_000])
def test_nothing_but_empty_cells_is_taken_out_wherever_a_block_ends(size):
    head, tail = b'<worksheet><cols><col min="1" max="3"/></cols><sheetData>', b"</sheetData></worksheet>"
    kept = (
        b'<row r="2" hidden="1"><c r="A2" s="3" t="s"><v>0</v></c><c r="C2"><f>A2</f><v></v></c></row>'
        b'<row r="9"><c r="B9" t="inlineStr"><is><t>x &lt;c r="A1"/></t></is></c></row>'
    )
    xml = (
        head
        + formatted(1, 1)
        + kept.replace(b'<c r="C2">', b'<c r="B2" s="1"></c><c r="C2">')
        + formatted(10, 30)
        + tail
    )
    sieve = Sieve()
    passed = (
        b"".join(sieve.take(xml[place : place + size]) for place in range(0, len(xml), size)) + sieve.end()
    )

    assert passed == head + kept + tail


def test_cells_that_do_not_say_where_they_stand_are_left_in_place():
    xml = (
        b'<sheetData><row r="1"><c s="1"/><c><v>5</v></c></row><row r="2"><c r="A2" s="1"/></row></sheetData>'
    )
    sieve = Sieve()

    assert sieve.take(xml) + sieve.end() == xml


def hide(sheet: Worksheet) -> None:
    sheet.row_dimensions[2].hidden = True
    sheet.column_dimensions["C"].hidden = True


def test_hidden_rows_and_columns_are_listed_and_not_imported(tmp_path):
    received = read(workbook(tmp_path / "list.xlsx", ROWS, hide), TOP + FIELDS)

    assert frame(received) == [("F2", "2025-03-05", 3)]
    assert any("hidden rows 2 were not imported" in note for note in received.notes)
    assert any("hidden columns Size were not imported" in note for note in received.notes)


def test_hidden_rows_and_columns_are_imported_where_asked(tmp_path):
    received = read(workbook(tmp_path / "list.xlsx", ROWS, hide), TOP + FIELDS, include_hidden=True)

    assert len(frame(received)) == 2
    assert any("hidden rows 2 were imported as asked" in note for note in received.notes)


def test_a_hidden_key_column_is_refused(tmp_path):
    def change(sheet: Worksheet) -> None:
        sheet.column_dimensions["A"].hidden = True

    assert "'ID' (hidden; see --include-hidden)" in refusal(workbook(tmp_path / "list.xlsx", ROWS, change))


def two_sheets(path: Path, *, hidden: bool) -> Path:
    def change(sheet: Worksheet) -> None:
        other = sheet.parent.create_sheet("Old")
        other.append(["ID", "Day", "Size"])
        other.append(["OLD", None, 1])
        other.sheet_state = "hidden" if hidden else "visible"

    return workbook(path, ROWS, change)


def test_of_several_sheets_one_must_be_named(tmp_path):
    path = two_sheets(tmp_path / "list.xlsx", hidden=False)

    assert "2 sheets" in refusal(path)
    assert [row[0] for row in frame(read(path, TOP + 'sheet = "Old"\n' + FIELDS))] == ["OLD"]


def test_a_hidden_sheet_is_left_out_unless_it_is_named(tmp_path):
    path = two_sheets(tmp_path / "list.xlsx", hidden=True)
    received = read(path, TOP + FIELDS)

    assert [row[0] for row in frame(received)] == ["F1", "F2"]
    assert "hidden sheets were not read: 'Old'" in received.notes[0]
    assert [row[0] for row in frame(read(path, TOP + 'sheet = "Old"\n' + FIELDS))] == ["OLD"]


def test_a_sheet_that_is_not_there_is_said_with_those_that_are(tmp_path):
    assert "no sheet 'Biopsy'" in refusal(
        workbook(tmp_path / "list.xlsx", ROWS), TOP + 'sheet = "Biopsy"\n' + FIELDS
    )


MERGED = [["ID", "Day", "Size"], ["F1", "2025-03-04", 14], [None, "2025-03-05", 15], ["F3", "2025-03-06", 16]]


def merge(sheet: Worksheet) -> None:
    sheet.merge_cells("A2:A3")


def test_rows_of_merged_cells_are_held_with_the_range(tmp_path):
    received = read(workbook(tmp_path / "list.xlsx", MERGED, merge), TOP + FIELDS)

    assert [(one.line, one.rule) for one in received.malformed] == [(2, "merged_cells"), (3, "merged_cells")]
    assert "A2:A3" in received.malformed[0].message
    assert [row[0] for row in frame(received)] == ["F3"]


def test_merged_cells_are_filled_down_where_the_mapping_says_so(tmp_path):
    received = read(workbook(tmp_path / "list.xlsx", MERGED, merge), TOP + 'fill_down = ["ID"]\n' + FIELDS)

    assert [row[0] for row in frame(received)] == ["F1", "F1", "F3"]


def test_cells_merged_across_columns_are_held_all_the_same(tmp_path):
    def change(sheet: Worksheet) -> None:
        sheet.merge_cells("A2:B2")

    received = read(workbook(tmp_path / "list.xlsx", MERGED, change), TOP + 'fill_down = ["ID"]\n' + FIELDS)

    assert {one.line for one in received.malformed} >= {2}
    assert "F1" not in [row[0] for row in frame(received)]


def test_nothing_is_filled_down_past_a_formula_without_result(tmp_path):
    rows = [["ID", "Day", "Size"], ["F1", None, 1], ['="F"&2', None, 2], [None, None, 3]]
    received = read(workbook(tmp_path / "list.xlsx", rows), TOP + 'fill_down = ["ID"]\n' + FIELDS)

    assert [(one.line, one.rule) for one in received.malformed] == [
        (3, "formula_without_result"),
        (4, "fill_down"),
    ]
