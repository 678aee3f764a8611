"""Files and workbooks that are refused, held in part or taken with a remark."""

from __future__ import annotations

import unicodedata
import zipfile
from datetime import date, timedelta
from typing import TYPE_CHECKING

from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from tests.intake.attempts import Attempt, full, procedure, table

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from openpyxl.worksheet.worksheet import Worksheet


# -- files -------------------------------------------------------------------------

GOOD = b"operator,role,experience_before\nOP8,radiologist,5\n"


def shifted() -> dict[str, bytes]:
    """Findings whose cells stand one column to the right from line 40 on."""
    rows = [full("findings", finding_id=f"F{n}") for n in range(2, 62)]
    lines = table(rows).decode().splitlines()
    return {
        "findings.csv": "\n".join(
            [*lines[:39], *("," + line.rsplit(",", 1)[0] for line in lines[39:])]
        ).encode()
    }


def changed_on_disk(folder: Path) -> None:
    with (folder / "operators.csv").open("ab") as handle:
        handle.write(b"OP9,radiologist,7\n")


_HALF = ("operators.csv", 3)
CSV: dict[str, list[Attempt]] = {
    "BI-001": [Attempt({"operators.csv": b""}, says=("operators.csv", "empty"))],
    "BI-002": [Attempt({"operators.csv": b"operator,role\n"}, says=("0 rows",))],
    "BI-004": [Attempt({"operators.csv": GOOD.decode().encode("utf-16")}, says=("UTF-16", "UTF-8"))],
    "BI-006": [
        Attempt(
            {"operators.csv": "operator,role\nOP8,LÃ¤sion\n".encode()},
            says=("line 2", "role"),
            stored=("SELECT role FROM operators WHERE operator = 'OP8'", [("LÃ¤sion",)]),
        )
    ],
    "BI-007": [Attempt({"operators.csv": GOOD + b"OP9,x\0y,1\n"}, frozenset({_HALF}), "role", ("U+0000",))],
    "BI-009": [
        Attempt(
            {"procedures.csv": table([procedure(2), procedure(3, accession="A\u200b123")])},
            frozenset({("procedures.csv", 3)}),
            "accession",
            ("U+200B",),
        )
    ],
    "BI-011": [
        Attempt(
            {"operators.csv": unicodedata.normalize("NFD", "operator,role\nOP\u00c9,radiologist\n").encode()},
            stored=(
                "SELECT operator, role FROM operators WHERE starts_with(operator, 'OP\u00c9')",
                [("OP\u00c9", "radiologist")],
            ),
            reads_as="stored beforehand in composed form; the row counts as unchanged",
        )
    ],
    "BI-012": [Attempt({"operators.csv": GOOD.replace(b"\n", b"\r")}, says=("CR",))],
    "BI-014": [
        Attempt(
            {"operators.csv": ",".join(f"c{n}" for n in range(100_000)).encode() + b"\n1\n"}, says=("500",)
        )
    ],
    "BI-016": [
        Attempt(
            {"operators.csv": b'operator,role\n"OP1,radiologist\n' + b"OP2,radiologist\n" * 200_000},
            says=("quotation mark", "line 2"),
        )
    ],
    "BI-017": [
        Attempt(
            {"operators.csv": GOOD + b"OP9,radiologist\n"}, frozenset({_HALF}), "", ("Expected 3", "found 2")
        )
    ],
    "BI-019": [Attempt({"operators.csv": b"operator,role,role\nOP8,a,b\n"}, says=("'role'", "2 times"))],
    "BI-021": [
        Attempt(
            {
                "findings.csv": table(
                    [{("lateralty" if k == "laterality" else k): v for k, v in full("findings").items()}]
                )
            },
            says=("lateralty", "laterality", "--ignore-unknown"),
        )
    ],
    "BI-022": [
        Attempt(
            {"pathology.csv": b"procedure_id,diagnosis\nP1,benign\n"},
            says=("report_id", "version"),
            reads_as="the columns of the key; a correction may leave out all others",
        )
    ],
    "BI-024": [Attempt(shifted(), says=("shifted by one column from line 40",))],
    "BI-026": [
        Attempt(
            {"complications.csv": table([full("complications", complication_id="C2")]) + b"Total, , 214\n"},
            frozenset({("complications.csv", 3)}),
            "",
            ("found 3",),
        )
    ],
    "BI-027": [
        Attempt(
            {"operators.csv": GOOD},
            says=("already imported",),
            stored=("SELECT count(*) FROM operators WHERE operator = 'OP8'", [(1,)]),
            reads_as="sent a second time by the test",
        )
    ],
    "BI-029": [
        Attempt({"operators.csv": GOOD}, between=changed_on_disk, says=("changed while it was being read",))
    ],
}

# -- workbooks ---------------------------------------------------------------------

LIST = (
    'name = "list"\nversion = "1"\nformat = "xlsx"\n[tables.operators.fields]\n'
    'operator = { column = "Code" }\nsince = { column = "Since" }\nexperience_before = { column = "Before" }\n'
)
WIDE = LIST.replace('{ column = "Code" }', '{ column = "Code", width = 5 }')
HEAD = ["Code", "Since", "Before"]
TWO: list[list[object]] = [HEAD, ["OP8", date(2020, 1, 2), 5], ["OP9", date(2020, 1, 3), 6]]
SHEET = "xl/worksheets/sheet1.xml"


def book(
    rows: list[list[object]],
    change: Callable[[Worksheet], None] | None = None,
    raw: Callable[[bytes], bytes] | None = None,
) -> Callable[[Path], None]:
    """Writes list.xlsx; ``change`` the sheet through the library, ``raw`` its XML afterwards."""

    def make(folder: Path) -> None:
        made = Workbook()
        for row in rows:
            made.active.append(row)
        if change:
            change(made.active)
        path = folder / "list.xlsx"
        made.save(path)
        if raw:
            with zipfile.ZipFile(path) as old:
                members = {name: old.read(name) for name in old.namelist()}
            members[SHEET] = raw(members[SHEET])
            with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
                for name, data in members.items():
                    new.writestr(name, data)

    return make


def with_error(sheet: Worksheet) -> None:
    sheet["C3"] = "#REF!"
    sheet["C3"].data_type = "e"


def of_1904(sheet: Worksheet) -> None:
    sheet.parent.epoch = CALENDAR_MAC_1904
    sheet["B2"] = 45000
    sheet["B2"].number_format = "yyyy-mm-dd"


def hide_row_3(sheet: Worksheet) -> None:
    sheet.row_dimensions[3].hidden = True


EMPTY_ROWS = b"".join(b'<row r="%d"><c r="A%d" s="1"/></row>' % (row, row) for row in range(4, 1_000_001))
DOCTYPE = b'<!DOCTYPE worksheet [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
BOTH = ("SELECT operator FROM operators WHERE operator IN ('OP8', 'OP9') ORDER BY 1", [("OP8",), ("OP9",)])
XLSX: dict[str, list[Attempt]] = {
    "BI-031": [
        Attempt(
            mapping=LIST,
            make=book(TWO, raw=lambda xml: xml + b" " * (60 * 1024 * 1024)),
            says=("would expand to 60 MB",),
            reads_as="60 MB are enough: the limit is 50",
        )
    ],
    "BI-032": [
        Attempt(
            mapping=LIST,
            make=book(TWO, raw=lambda xml: xml.replace(b"</sheetData>", EMPTY_ROWS + b"</sheetData>")),
            stored=BOTH,
        )
    ],
    "BI-034": [
        Attempt(
            {"list.xlsx": b"Code,Since,Before\nOP8,2020-01-02,5\n"},
            mapping=LIST,
            says=("content does not match the name",),
        ),
        Attempt(
            {"list.xlsx": b"MZ\x90\x00" + b"\0" * 200},
            mapping=LIST,
            says=("content does not match the name",),
        ),
    ],
    "BI-036": [
        Attempt(
            mapping=LIST,
            make=book(TWO, with_error),
            held=frozenset({("list.xlsx, sheet Sheet", 3)}),
            column="Before (cell C3)",
            says=("#REF!",),
        )
    ],
    # 1904-01-01 and 45,000 days.
    "BI-037": [
        Attempt(
            mapping=LIST,
            make=book(TWO, of_1904),
            says=("45000", "2027-03-16"),
            stored=(
                "SELECT since FROM operators WHERE operator = 'OP8'",
                [(date(1904, 1, 1) + timedelta(days=45_000),)],
            ),
        )
    ],
    "BI-039": [
        Attempt(
            mapping=WIDE,
            make=book([HEAD, ["00456", None, 1], [123, None, 2]]),
            held=frozenset({("list.xlsx, sheet Sheet", 3)}),
            column="Code (cell A3)",
            says=("width", "never padded"),
            stored=(
                "SELECT operator FROM operators WHERE operator IN ('00456', '123', '00123')",
                [("00456",)],
            ),
        )
    ],
    "BI-041": [
        Attempt(
            mapping=LIST,
            make=book(TWO, hide_row_3),
            says=("hidden rows 3", "--include-hidden"),
            stored=(BOTH[0], [("OP8",)]),
        )
    ],
    "BI-042": [
        Attempt(
            mapping=LIST,
            make=book(TWO, raw=lambda xml: xml.replace(b"<worksheet", DOCTYPE + b"<worksheet", 1)),
            says=("document type",),
        )
    ],
}
