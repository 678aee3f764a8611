"""Workbooks: what is refused before parsing, and what each kind of cell becomes."""

from __future__ import annotations

import io
import resource
import time
import zipfile
from datetime import date, datetime
from datetime import time as clock
from typing import TYPE_CHECKING

import pytest
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from registry.errors import FileProblem
from registry.imports import archive, mapped
from registry.imports.empty_cells import Sieve
from registry.imports.mapping import read_mapping

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from openpyxl.worksheet.worksheet import Worksheet

    from registry.imports.received import Received

TOP = 'name = "list"\nversion = "1"\nformat = "xlsx"\n'
FIELDS = (
    '[tables.findings.fields]\nfinding_id = { column = "ID" }\nfound_on = { column = "Day" }\n'
    'size_mm = { column = "Size" }\n'
)
SHEET = "xl/worksheets/sheet1.xml"


def workbook(path: Path, rows: list[list[object]], change: Callable[[Worksheet], None] | None = None) -> Path:
    book = Workbook()
    sheet = book.active
    sheet.title = "Biopsies"
    for row in rows:
        sheet.append(row)
    if change:
        change(sheet)
    book.save(path)
    return path


def rewritten(path: Path, member: str, change: Callable[[bytes], bytes]) -> Path:
    """The workbook with one of its files changed."""
    with zipfile.ZipFile(path) as old:
        members = {name: old.read(name) for name in old.namelist()}
    members[member] = change(members[member])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in members.items():
            new.writestr(name, data)
    return path


def read(path: Path, mapping: str, *, include_hidden: bool = False) -> Received:
    stated = path.parent / "list.toml"
    stated.write_text(mapping, encoding="utf-8")
    return mapped.read(path, read_mapping(stated), include_hidden=include_hidden)


def frame(received: Received) -> list[tuple[object, ...]]:
    (table,) = received.tables
    return table.frame.rows()


def refusal(path: Path, mapping: str = TOP + FIELDS) -> str:
    with pytest.raises(FileProblem) as caught:
        read(path, mapping)
    return str(caught.value)


ROWS: list[list[object]] = [
    ["ID", "Day", "Size"],
    ["F1", date(2025, 3, 4), 14],
    ["F2", datetime(2025, 3, 5), 1.5],
]

# --- before any cell is parsed -----------------------------------------------------------


@pytest.mark.parametrize("content", [b"ID,Day,Size\nF1,2025-03-04,14\n", b"MZ\x90\x00" + b"\x00" * 100])
def test_a_file_is_judged_by_its_content(tmp_path, content):
    path = tmp_path / "list.xlsx"
    path.write_bytes(content)

    assert "content does not match the name" in refusal(path)


def test_an_archive_without_a_workbook_is_none(tmp_path):
    path = tmp_path / "list.xlsx"
    with zipfile.ZipFile(path, "w") as made:
        made.writestr("readme.txt", "x")

    assert "an archive without a workbook" in refusal(path)


def test_an_old_binary_workbook_is_refused(tmp_path):
    path = tmp_path / "list.xls"
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 512)

    assert "old binary workbook (.xls), or one with a password" in refusal(path)


def test_a_csv_mapping_does_not_take_a_workbook(tmp_path):
    path = workbook(tmp_path / "list.csv", ROWS)

    assert "content does not match the name" in refusal(path, TOP.replace("xlsx", "csv") + FIELDS)


@pytest.mark.parametrize("megabytes", [60, 200])
def test_a_workbook_that_would_fill_the_memory_is_refused_by_its_directory(tmp_path, megabytes):
    path = workbook(tmp_path / "list.xlsx", ROWS)
    rewritten(path, SHEET, lambda xml: xml + b" " * (megabytes * 1024 * 1024))
    before, begun = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    said = refusal(path)

    assert f"would expand to {megabytes} MB, more than 50" in said
    assert time.process_time() - begun < 0.5
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 10 * 1024


def test_a_workbook_that_expands_out_of_proportion_is_refused(tmp_path):
    """10 MB of spaces pack to about 10 kB: a thousandfold."""
    path = rewritten(
        workbook(tmp_path / "list.xlsx", ROWS), SHEET, lambda xml: xml + b" " * (10 * 1024 * 1024)
    )

    assert "-fold, more than 100" in refusal(path)


def test_a_directory_that_lies_is_not_believed(tmp_path, monkeypatch):
    path = rewritten(workbook(tmp_path / "list.xlsx", ROWS), SHEET, lambda xml: xml + b" " * 500_000)
    monkeypatch.setattr(archive, "_expanded", lambda _: 0)
    monkeypatch.setattr(archive, "EXPANDED_LIMIT", 400_000)

    assert "expands beyond" in refusal(path)


DOCTYPE = '<!DOCTYPE worksheet [<!ENTITY x SYSTEM "file:///etc/hostname">]>'


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("member", [SHEET, "xl/styles.xml", "xl/workbook.xml", "docProps/core.xml"])
def test_a_document_type_is_refused_wherever_it_stands(tmp_path, member, encoding):
    def declared(xml: bytes) -> bytes:
        text = xml.decode("utf-8")
        body = text.split("?>", 1)[1] if text.startswith("<?xml") else text
        return f'<?xml version="1.0" encoding="{encoding}"?>{DOCTYPE}{body}'.encode(encoding)

    path = rewritten(workbook(tmp_path / "list.xlsx", ROWS), member, declared)

    assert "declares a document type" in refusal(path)


def test_a_damaged_workbook_is_refused_in_a_sentence(tmp_path):
    path = rewritten(workbook(tmp_path / "list.xlsx", ROWS), SHEET, lambda xml: xml[: len(xml) // 2])

    assert "the workbook is damaged" in refusal(path)


def test_a_cut_archive_is_refused_in_a_sentence(tmp_path):
    path = workbook(tmp_path / "list.xlsx", ROWS)
    path.write_bytes(path.read_bytes()[:-200])

    assert "the workbook is damaged" in refusal(path)


def test_macros_are_said_and_not_run(tmp_path):
    path = workbook(tmp_path / "list.xlsm", ROWS)
    with zipfile.ZipFile(path, "a") as more:
        more.writestr("xl/vbaProject.bin", b"macro")

    assert "macros; they were not run" in read(path, TOP + FIELDS).notes[0]


# --- cells -------------------------------------------------------------------------------


def test_dates_and_numbers_become_text(tmp_path):
    assert frame(read(workbook(tmp_path / "list.xlsx", ROWS), TOP + FIELDS)) == [
        ("F1", "2025-03-04", "14", 2),
        ("F2", "2025-03-05", "1.5", 3),
    ]


def test_texts_that_the_sheets_share_are_read(tmp_path):
    """As most spreadsheet programs store texts: cells hold numbers of a common list."""
    path = rewritten(
        workbook(tmp_path / "list.xlsx", ROWS),
        SHEET,
        lambda xml: xml.replace(b't="inlineStr"><is><t>F1</t></is>', b't="s"><v>1</v>'),
    )
    space = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    kind = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
    content = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    rewritten(
        path,
        "xl/_rels/workbook.xml.rels",
        lambda xml: xml.replace(
            b"</Relationships>",
            f'<Relationship Id="rId99" Type="{kind}" Target="sharedStrings.xml"/></Relationships>'.encode(),
        ),
    )
    rewritten(
        path,
        "[Content_Types].xml",
        lambda xml: xml.replace(
            b"</Types>",
            f'<Override PartName="/xl/sharedStrings.xml" ContentType="{content}"/></Types>'.encode(),
        ),
    )
    with zipfile.ZipFile(path, "a") as more:
        more.writestr("xl/sharedStrings.xml", f"<sst {space}><si><t>x</t></si><si><t>SHARED</t></si></sst>")

    assert frame(read(path, TOP + FIELDS))[0][0] == "SHARED"


def test_a_decimal_comma_in_the_mapping_does_not_disturb_numbers(tmp_path):
    """0.1 + 0.2 is 0.30000000000000004 in binary; a sheet shows 15 digits."""
    rows = [["ID", "Day", "Size"], ["F1", None, 0.1 + 0.2], ["F2", None, "0,5"], ["F3", None, 125.0]]
    received = read(workbook(tmp_path / "list.xlsx", rows), TOP + 'decimal = ","\n' + FIELDS)

    assert [row[2] for row in frame(received)] == ["0.3", "0.5", "125"]


def test_a_day_and_a_time_in_two_cells_make_a_timestamp(tmp_path):
    fields = '[tables.procedures.fields]\nprocedure_id = { column = "ID" }\nstarted_at = { join = ["Day", "Time"] }\n'
    rows = [["ID", "Day", "Time"], ["P1", date(2025, 3, 4), clock(9, 30)]]

    assert frame(read(workbook(tmp_path / "list.xlsx", rows), TOP + fields)) == [
        ("P1", "2025-03-04T09:30:00", 2)
    ]


def test_an_identifier_that_became_a_number_is_held(tmp_path):
    fields = '[tables.patients.fields]\npatient_id = { column = "MRN", width = 5 }\n'

    def padded(sheet: Worksheet) -> None:
        sheet["A3"].number_format = "00000"

    received = read(
        workbook(tmp_path / "list.xlsx", [["MRN"], [123], [123], ["00456"]], padded), TOP + fields
    )
    (bad,) = received.malformed

    assert frame(received) == [("00123", 3), ("00456", 4)]
    assert (bad.line, bad.rule, bad.place, bad.value) == (2, "width", "MRN (cell A2)", None)


def test_a_bare_number_in_a_date_column_is_held_unless_stated(tmp_path):
    path = workbook(tmp_path / "list.xlsx", [["ID", "Day", "Size"], ["F1", 45352, 1]])

    assert read(path, TOP + FIELDS).malformed[0].rule == "serial_date"
    assert frame(read(path, TOP + "serial_dates = true\n" + FIELDS))[0][1] == "2024-03-01"


def test_days_counted_from_1904_are_read_so(tmp_path):
    """Serial number 45000 is 2027-03-16 there: 1,462 days later than in the other system."""

    def change(sheet: Worksheet) -> None:
        sheet.parent.epoch = CALENDAR_MAC_1904
        sheet["B2"] = 45000
        sheet["B2"].number_format = "yyyy-mm-dd"

    received = read(
        workbook(tmp_path / "list.xlsx", [["ID", "Day", "Size"], ["F1", None, 1]], change), TOP + FIELDS
    )

    assert frame(received)[0][1] == "2027-03-16"
    assert "serial number 45000 is 2027-03-16, not 2023-03-15" in received.notes[0]


@pytest.mark.parametrize("error", ["#REF!", "#N/A", "#DIV/0!"])
def test_a_spreadsheet_error_holds_its_row_and_names_the_cell(tmp_path, error):
    def change(sheet: Worksheet) -> None:
        sheet["C2"].data_type = "e"

    received = read(
        workbook(tmp_path / "list.xlsx", [ROWS[0], ["F1", None, error], ROWS[2]], change), TOP + FIELDS
    )
    (bad,) = received.malformed

    assert (bad.line, bad.rule, bad.place) == (2, "spreadsheet_error", "Size (cell C2)")
    assert [row[0] for row in frame(received)] == ["F2"]


def test_a_formula_is_read_by_its_stored_result(tmp_path):
    path = workbook(tmp_path / "list.xlsx", [*ROWS[:2], ["F2", None, "=7+8"], ["F3", None, "=1+1"]])
    rewritten(
        path,
        SHEET,
        lambda xml: xml.replace(b"<f>7+8</f><v></v>", b"<f>7+8</f><v>15</v>").replace(
            b"<f>7+8</f><v />", b"<f>7+8</f><v>15</v>"
        ),
    )
    received = read(path, TOP + FIELDS)
    (bad,) = received.malformed

    assert [row[2] for row in frame(received)] == ["14", "15"]
    assert (bad.line, bad.rule, bad.place) == (4, "formula_without_result", "Size (cell C4)")


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


def test_a_million_empty_formatted_rows_are_ignored(tmp_path):
    path = workbook(tmp_path / "list.xlsx", ROWS)
    empty = b"".join(b'<row r="%d"><c r="A%d" s="1"/></row>' % (row, row) for row in range(4, 1_000_001))
    rewritten(path, SHEET, lambda xml: xml.replace(b"</sheetData>", empty + b"</sheetData>"))
    begun = time.process_time()
    received = read(path, TOP + FIELDS)

    assert len(frame(received)) == 2
    assert time.process_time() - begun < 10


def formatted(first: int, last: int, cells: str = "ABC") -> bytes:
    """Rows of formatted cells without a value, as spreadsheet programs write them."""
    return b"".join(
        f'<row r="{row}" spans="1:3" s="1" customFormat="1">'.encode()
        + b"".join(f'<c r="{cell}{row}" s="1"/>'.encode() for cell in cells)
        + b"</row>"
        for row in range(first, last + 1)
    )


def test_formatted_rows_of_several_empty_cells_do_not_count(tmp_path, monkeypatch):
    """200,000 rows of three cells are 24 MB of XML; the limit is set below that, and the time short."""
    path = workbook(tmp_path / "list.xlsx", ROWS)
    rewritten(path, SHEET, lambda xml: xml.replace(b"</sheetData>", formatted(4, 200_003) + b"</sheetData>"))
    monkeypatch.setattr(archive, "EXPANDED_LIMIT", 1024 * 1024)
    begun = time.process_time()
    received = read(path, TOP + FIELDS)

    assert len(frame(received)) == 2
    assert time.process_time() - begun < 5


def test_a_value_below_many_formatted_rows_keeps_its_place(tmp_path):
    last = b'<row r="200004"><c r="A200004" t="inlineStr"><is><t>F9</t></is></c><c r="B200004" s="1"/><c r="C200004"><v>7</v></c></row>'
    path = workbook(tmp_path / "list.xlsx", ROWS)
    rewritten(
        path, SHEET, lambda xml: xml.replace(b"</sheetData>", formatted(4, 200_003) + last + b"</sheetData>")
    )
    begun = time.process_time()
    found = frame(read(path, TOP + FIELDS))

    assert (len(found), sorted(map(str, found[-1]))) == (3, ["200004", "7", "F9", "None"])
    assert time.process_time() - begun < 5


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


# --- held rows that come back ------------------------------------------------------------


def test_held_rows_of_a_workbook_come_back_as_csv(tmp_path):
    path = tmp_path / "list, sheet Biopsies.csv"
    text = io.StringIO()
    text.write("ID,Day,Size,problem,hint,quarantine_id,confirm\nF1,2025-03-04,14,x,y,2-1,\n")
    path.write_text(text.getvalue(), encoding="utf-8")

    assert frame(read(path, TOP + FIELDS)) == [("F1", "2025-03-04", "14", 2, "2-1", None)]


def test_the_file_name_tells_the_sheet(tmp_path):
    received = read(workbook(tmp_path / "list.xlsx", ROWS), TOP + FIELDS)

    assert received.tables[0].file == "list.xlsx, sheet Biopsies"
    assert list(received.originals) == ["list.xlsx, sheet Biopsies"]
    assert received.files[0].name == "list.xlsx"
