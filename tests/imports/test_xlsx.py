"""Workbooks: what is refused before parsing, and what each kind of cell becomes."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime
from datetime import time as clock
from typing import TYPE_CHECKING

import pytest
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from registry.errors import FileProblem
from registry.imports import archive, mapped
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
def test_a_workbook_that_would_fill_the_memory_is_given_up_at_the_limit(tmp_path, monkeypatch, megabytes):
    path = workbook(tmp_path / "list.xlsx", ROWS)
    rewritten(path, SHEET, lambda xml: xml + b" " * (megabytes * 1024 * 1024))
    inflated = sizes_of_reads(monkeypatch)
    said = refusal(path)

    assert f"would expand to {megabytes} MB, more than 50" in said
    assert sum(inflated) < 51 * 1024 * 1024
    assert max(inflated) < 1024 * 1024  # never much of it in memory at once


def sizes_of_reads(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Bytes that each read from an archive gives, as they happen."""
    sizes: list[int] = []
    plain = zipfile.ZipExtFile.read

    def counted(self: zipfile.ZipExtFile, n: int | None = -1) -> bytes:
        data = plain(self, n)
        sizes.append(len(data))
        return data

    monkeypatch.setattr(zipfile.ZipExtFile, "read", counted)
    return sizes


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
