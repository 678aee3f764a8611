"""The bad inputs of bad_inputs.json as files: what is sent, and what must be said of it.

Each is sent to a registry that holds the valid rows of ``tests.build``. ``reads_as`` says how
an entry is meant where its field has another form in the data dictionary.
"""

from __future__ import annotations

import csv
import io
import unicodedata
import zipfile
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING

from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from tests.build import BASE

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from openpyxl.worksheet.worksheet import Worksheet

Row = dict[str, str]


@dataclass(frozen=True)
class Attempt:
    """One source and what becomes of it.

    ``files`` are the bytes by file name, ``make`` writes them where that takes more.
    ``held`` are file and line of the rows that must be held, ``column`` where, ``says`` the
    words that the sentence must hold. ``stored`` is a query and its rows afterwards.
    ``between`` is done between reading and accepting.
    """

    files: dict[str, bytes] = field(default_factory=dict)
    held: frozenset[tuple[str, int]] = frozenset()
    column: str = ""
    says: tuple[str, ...] = ()
    stored: tuple[str, list[tuple]] | None = None
    mapping: str = ""
    make: Callable[[Path], None] | None = None
    between: Callable[[Path], None] | None = None
    reads_as: str = ""


def table(rows: list[Row]) -> bytes:
    """Rows as a CSV file."""
    columns = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def files(**rows: list[Row]) -> dict[str, bytes]:
    return {f"{name}.csv": table(given) for name, given in rows.items()}


def full(name: str, **cells: str) -> Row:
    """The valid row of a table with other cells."""
    return BASE[name][0] | cells


def procedure(number: int, **cells: str) -> Row:
    """A procedure of its own on its own day, without marker and tracer times."""
    own = {"procedure_id": f"P{number}", "accession": f"ACC{number}"}
    own["started_at"] = f"{date(2025, 4, 1) + timedelta(days=number)}T09:30"
    empty = dict.fromkeys(("ended_at", "injected_at", "first_scan_at", "marker", "marker_shape"), "")
    return full("procedures", **{**empty, **own, **cells})


def rows_held(name: str, *rows: int, column: str, says: tuple[str, ...], reads_as: str = "", **sent: list[Row]) -> Attempt:
    """Some rows (0 is the first) of one table are held."""
    return Attempt(files(**sent), frozenset((f"{name}.csv", row + 2) for row in rows), column, says, reads_as=reads_as)


def one_held(name: str, *says: str, column: str, reads_as: str = "", **cells: str) -> Attempt:
    """A changed row of the base is held."""
    return rows_held(name, 0, column=column, says=says, reads_as=reads_as, **{name: [full(name, **cells)]})


# -- files -------------------------------------------------------------------------

GOOD = b"operator,role,experience_before\nOP8,radiologist,5\n"


def shifted() -> dict[str, bytes]:
    """Findings whose cells stand one column to the right from line 40 on."""
    rows = [full("findings", finding_id=f"F{n}") for n in range(2, 62)]
    lines = table(rows).decode().splitlines()
    return {"findings.csv": "\n".join([*lines[:39], *("," + line.rsplit(",", 1)[0] for line in lines[39:])]).encode()}


def changed_on_disk(folder: Path) -> None:
    with (folder / "operators.csv").open("ab") as handle:
        handle.write(b"OP9,radiologist,7\n")


_HALF = ("operators.csv", 3)
CSV: dict[str, list[Attempt]] = {
    "BI-001": [Attempt({"operators.csv": b""}, says=("operators.csv", "empty"))],
    "BI-002": [Attempt({"operators.csv": b"operator,role\n"}, says=("0 rows",))],
    "BI-004": [Attempt({"operators.csv": GOOD.decode().encode("utf-16")}, says=("UTF-16", "UTF-8"))],
    "BI-006": [Attempt({"operators.csv": "operator,role\nOP8,LÃ¤sion\n".encode()}, says=("line 2", "role"), stored=("SELECT role FROM operators WHERE operator = 'OP8'", [("LÃ¤sion",)]))],
    "BI-007": [Attempt({"operators.csv": GOOD + b"OP9,x\0y,1\n"}, frozenset({_HALF}), "role", ("U+0000",))],
    "BI-009": [
        Attempt(
            {"procedures.csv": table([procedure(2), procedure(3, accession="A\u200b123")])}, frozenset({("procedures.csv", 3)}), "accession", ("U+200B",)
        )
    ],
    "BI-011": [
        Attempt(
            {"operators.csv": unicodedata.normalize("NFD", "operator,role\nOP\u00c9,radiologist\n").encode()},
            stored=("SELECT operator, role FROM operators WHERE starts_with(operator, 'OP\u00c9')", [("OP\u00c9", "radiologist")]),
            reads_as="stored beforehand in composed form; the row counts as unchanged",
        )
    ],
    "BI-012": [Attempt({"operators.csv": GOOD.replace(b"\n", b"\r")}, says=("CR",))],
    "BI-014": [Attempt({"operators.csv": ",".join(f"c{n}" for n in range(100_000)).encode() + b"\n1\n"}, says=("500",))],
    "BI-016": [Attempt({"operators.csv": b'operator,role\n"OP1,radiologist\n' + b"OP2,radiologist\n" * 200_000}, says=("quotation mark", "line 2"))],
    "BI-017": [Attempt({"operators.csv": GOOD + b"OP9,radiologist\n"}, frozenset({_HALF}), "", ("expected 3", "found 2"))],
    "BI-019": [Attempt({"operators.csv": b"operator,role,role\nOP8,a,b\n"}, says=("role", "twice"))],
    "BI-021": [
        Attempt({"findings.csv": table([{("lateralty" if k == "laterality" else k): v for k, v in full("findings").items()}])}, says=("lateralty", "laterality", "--ignore-unknown"))
    ],
    "BI-022": [
        Attempt({"pathology.csv": b"procedure_id,diagnosis\nP1,benign\n"}, says=("report_id", "version"), reads_as="the columns of the key; a correction may leave out all others")
    ],
    "BI-024": [Attempt(shifted(), says=("shifted by one column from line 40",))],
    "BI-026": [Attempt({"complications.csv": table([full("complications", complication_id="C2")]) + b"Total, , 214\n"}, frozenset({("complications.csv", 3)}), "", ("found 3",))],
    "BI-027": [Attempt({"operators.csv": GOOD}, says=("already imported",), stored=("SELECT count(*) FROM operators WHERE operator = 'OP8'", [(1,)]), reads_as="sent a second time by the test")],
    "BI-029": [Attempt({"operators.csv": GOOD}, between=changed_on_disk, says=("changed while it was being read",))],
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


def book(rows: list[list[object]], change: Callable[[Worksheet], None] | None = None, raw: Callable[[bytes], bytes] | None = None) -> Callable[[Path], None]:
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
    "BI-031": [Attempt(mapping=LIST, make=book(TWO, raw=lambda xml: xml + b" " * (300 * 1024 * 1024)), says=("would expand to",))],
    "BI-032": [Attempt(mapping=LIST, make=book(TWO, raw=lambda xml: xml.replace(b"</sheetData>", EMPTY_ROWS + b"</sheetData>")), stored=BOTH)],
    "BI-034": [
        Attempt({"list.xlsx": b"Code,Since,Before\nOP8,2020-01-02,5\n"}, mapping=LIST, says=("content does not match the name",)),
        Attempt({"list.xlsx": b"MZ\x90\x00" + b"\0" * 200}, mapping=LIST, says=("content does not match the name",)),
    ],
    "BI-036": [Attempt(mapping=LIST, make=book(TWO, with_error), held=frozenset({("list.xlsx", 3)}), column="Before (cell C3)", says=("#REF!",))],
    # 1904-01-01 and 45,000 days.
    "BI-037": [
        Attempt(
            mapping=LIST, make=book(TWO, of_1904), says=("45000", "2027-03-16"),
            stored=("SELECT since FROM operators WHERE operator = 'OP8'", [(date(1904, 1, 1) + timedelta(days=45_000),)]),
        )
    ],  # fmt: skip
    "BI-039": [
        Attempt(
            mapping=WIDE, make=book([HEAD, ["00456", None, 1], [123, None, 2]]), held=frozenset({("list.xlsx", 3)}), column="Code (cell A3)",
            says=("width", "never padded"), stored=("SELECT operator FROM operators WHERE operator IN ('00456', '123', '00123')", [("00456",)]),
        )
    ],  # fmt: skip
    "BI-041": [Attempt(mapping=LIST, make=book(TWO, hide_row_3), says=("hidden rows 3", "--include-hidden"), stored=(BOTH[0], [("OP8",)]))],
    "BI-042": [Attempt(mapping=LIST, make=book(TWO, raw=lambda xml: xml.replace(b"<worksheet", DOCTYPE + b"<worksheet", 1)), says=("document type",))],
}

# -- identity, links, dates --------------------------------------------------------

OTHER_PATIENT = {"patients": [full("patients", patient_id="PAT2")], "findings": [full("findings", finding_id="F2", patient_id="PAT2")]}
REPEAT = {"repeat_reason": "discordant"}
PROCEDURES: dict[str, list[Attempt]] = {
    "BI-044": [rows_held("procedures", 0, 1, column="procedure_id", says=("lines 2, 3",), procedures=[procedure(2), procedure(2)])],
    "BI-045": [
        rows_held(
            "procedures", 0, 1, column="accession", says=("another patient",), **OTHER_PATIENT,
            procedures=[procedure(2, accession="ACC7"), procedure(3, finding_id="F2", accession="ACC7")],
        )
    ],  # fmt: skip
    "BI-047": [rows_held("specimens", 0, column="procedure_id", says=("P77", "not known in procedures"), specimens=[full("specimens", specimen_id="S7", procedure_id="P77")])],
    "BI-049": [
        rows_held(
            "procedures", 0, 1, 2, column="repeat_of", says=("P2 -> P4 -> P3 -> P2",),
            procedures=[procedure(n, repeat_of=f"P{(n + 0) % 3 + 2}" if n != 2 else "P4", **REPEAT) for n in (2, 3, 4)],
        )
    ],  # fmt: skip
    "BI-050": [rows_held("procedures", 0, column="repeat_of", says=("self link",), procedures=[procedure(2, repeat_of="P2", **REPEAT)])],
    "BI-052": [
        rows_held(
            "procedures", 0, column="repeat_of", says=("another breast",), findings=[full("findings", finding_id="F2", laterality="R")],
            procedures=[procedure(2, finding_id="F2", repeat_of="P1", **REPEAT)],
        )
    ],  # fmt: skip
    "BI-054": [
        Attempt(files(patients=[full("patients", patient_id=key)]), says=("direct identifiers are not accepted", "patient_id"))
        for key in ("Surname, Given", "Given Surname", "123-45-6789")
    ],
    "BI-055": [rows_held("procedures", 0, column="procedure_id", says=("64",), procedures=[procedure(2, procedure_id="P" * 10_000)])],
    "BI-057": [
        Attempt(files(procedures=[full("procedures", procedure_id="P1 ")]), stored=("SELECT procedure_id, length(procedure_id) FROM procedures", [("P1", 2)]))
    ],
    "BI-059": [
        rows_held(
            "procedures", *range(30), column="finding_id", says=("More targets",), reads_as="a row is one target: thirty rows of one visit",
            procedures=[procedure(n, started_at="2025-05-05T09:30") for n in range(2, 32)],
        )
    ],  # fmt: skip
    "BI-060": [
        rows_held(
            "procedures", 0, column="marker", says=("no marker was placed",), reads_as="a marker is placed or not; there is no count",
            procedures=[procedure(2, marker="not_placed", marker_shape="coil")],
        )
    ],  # fmt: skip
    "BI-062": [rows_held("findings", 0, column="found_on", says=("2025-02-30", "not a calendar date"), findings=[full("findings", finding_id="F2", found_on="2025-02-30")])],
    "BI-063": [rows_held("findings", 0, column="found_on", says=("two ways", "YYYY-MM-DD"), findings=[full("findings", finding_id="F2", found_on="03/04/2025")])],
    "BI-065": [rows_held("procedures", 0, column="started_at", says=("later than today",), procedures=[procedure(2, started_at="2026-07-01T09:30")])],
    "BI-067": [
        rows_held(
            "procedures", 0, column="age_years", says=("10 to 115",), reads_as="the data dictionary takes 10 to 115 years; 18 to 100 is a warning",
            patients=[full("patients", patient_id="PAT2", birth_date="")], findings=OTHER_PATIENT["findings"],
            procedures=[procedure(2, finding_id="F2", age_years="7")],
        )
    ],  # fmt: skip
    "BI-068": [Attempt(files(patients=[full("patients", patient_id="PAT2", sex="male")]), stored=("SELECT count(*) FROM patients WHERE sex = 'male'", [(1,)]))],
    "BI-070": [
        # 400 days after 10 March 2025.
        Attempt(
            files(pathology=[full("pathology", report_id="R2", reported_on=f"{date(2025, 3, 10) + timedelta(days=400)}")]),
            says=("pathology.csv, line 2, column reported_on", "very long after"), stored=("SELECT count(*) FROM pathology WHERE report_id = 'R2'", [(1,)]),
        )
    ],  # fmt: skip
    "BI-072": [one_held("followup", "order of events", column="happened_on", event_id="E2", happened_on="2025-03-09")],
    "BI-073": [
        one_held("followup", "order of events", column="happened_on", event_id="E2", happened_on="2025-03-09", kind="excision", diagnosis="invasive", imaging_outcome="")
    ],
    "BI-075": [
        rows_held(
            "procedures", 0, column="started_at", says=("occurs twice", "offset"), reads_as="half past one: in Lisbon the hour from 01:00 comes twice",
            procedures=[procedure(2, started_at="2025-10-26T01:30")],
        )
    ],  # fmt: skip
    "BI-077": [
        Attempt(
            files(procedures=[procedure(2, started_at="2025-06-30T23:30Z")]),
            stored=("SELECT CAST(started_at AS VARCHAR), started_at_offset_min FROM procedures WHERE procedure_id = 'P2'", [("2025-07-01 00:30:00", 60)]),
            reads_as="stored in local time with its offset, from which the other form follows",
        )
    ],
    "BI-078": [rows_held("procedures", 0, column="started_at", says=("00:00 of the next day",), procedures=[procedure(2, started_at="2025-04-10T24:00:00")])],
    "BI-080": [one_held("patients", "order of events", column="death_date", death_date="2025-03-09")],
    # Injected at 08:20.
    "BI-082": [one_held("specimens", "long after the injection", column="scan_at", scan_at="2025-03-10T22:20", read_at="")],
}

# -- targeting geometry ------------------------------------------------------------


def placements(count: int, **cells: str) -> tuple[list[Row], list[Row]]:
    """Procedures with nine placements each, on days of their own."""
    targeting = [full("targeting", procedure_id=f"P{2 + n // 9}", attempt=str(1 + n % 9), **cells) for n in range(count)]
    return [procedure(2 + n) for n in range((count + 8) // 9)], targeting


def in_cm() -> Attempt:
    procedures, targeting = placements(40)
    for n, row in enumerate(targeting):
        row["planned_z_mm"] = str(30 + n * 30 / 39) if n else "4.2"
    return rows_held("targeting", 0, column="planned_z_mm", says=("looks like cm",), procedures=procedures, targeting=targeting)


def copied() -> Attempt:
    planned = {f"achieved_{axis}_mm": BASE["targeting"][0][f"planned_{axis}_mm"] for axis in "xyz"}
    procedures, targeting = placements(100, **planned)
    return Attempt(files(procedures=procedures, targeting=targeting), says=("looks copied",), stored=("SELECT count(*) FROM targeting", [(101,)]))


def placement(*says: str, column: str, **cells: str) -> Attempt:
    return rows_held("targeting", 0, column=column, says=says, targeting=[full("targeting", attempt="2", **cells)])


DECIMAL_COMMA = 'name = "list"\nversion = "1"\nformat = "csv"\ndelimiter = ";"\ndecimal = ","\n[tables.sources.fields]\n'
DECIMAL_COMMA += "".join(f'{name} = {{ column = "{name}" }}\n' for name in ("source_id", "site", "nuclide", "activity_mbq", "reference_on"))
ACTIVITIES = "source_id;site;nuclide;activity_mbq;reference_on\nSRC8;A;Ge-68;3,7;2024-01-15\nSRC9;A;Ge-68;1.234;2024-01-15\n"
GEOMETRY: dict[str, list[Attempt]] = {
    "BI-084": [one_held("findings", "One row per breast", column="laterality", finding_id="F2", laterality="B")],
    "BI-086": [one_held("findings", "1 to 12", column="clock_position", finding_id="F2", clock_position="13")],
    "BI-088": [placement("negative depth", column="planned_z_mm", frame="SUITE", planned_z_mm="-12")],
    "BI-089": [placement("beyond the compressed breast", column="planned_z_mm", frame="SUITE", planned_z_mm="56")],
    "BI-091": [in_cm()],
    "BI-093": [copied()],
    "BI-094": [placement("longer than the breast", column="achieved_x_mm", achieved_x_mm="220", achieved_y_mm="22", achieved_z_mm="31")],
    "BI-096": [
        Attempt(
            files(procedures=[procedure(n, gauge=text) for n, text in enumerate(("8 G", "8G", "8-gauge"), 2)]),
            stored=("SELECT gauge FROM procedures WHERE procedure_id <> 'P1'", [(8,), (8,), (8,)]),
        )
    ],
    "BI-098": [rows_held("procedures", 0, column="safe_margin_mm", says=("-3", "0 to 200 mm"), procedures=[procedure(2, safe_margin_mm="-3")])],
    "BI-099": [
        rows_held("procedures", 0, column="compression_mm", says=("5 to 150 mm", "unit"), reads_as="the data dictionary takes 5 to 150 mm", procedures=[procedure(2, compression_mm="600")])
    ],
    "BI-101": [
        rows_held("specimens", 0, column="procedure_id", says=("took no tissue",), procedures=[procedure(2, cores="0")], specimens=[full("specimens", specimen_id="S7", procedure_id="P2", scan_at="", read_at="")])
    ],
    "BI-103": [placement("contradiction", column="verification", verification="not_done", aperture_judgement="")],
    "BI-104": [
        rows_held(
            "findings", *range(7), column="size_mm", says=("not a finite decimal number",),
            findings=[full("findings", finding_id=f"F{n}", size_mm=text) for n, text in enumerate(("NaN", "nan", "inf", "-inf", "1e400", "0x1F", "1_000"), 2)],
        )
    ],  # fmt: skip
    "BI-106": [
        Attempt(
            {"list.csv": ACTIVITIES.encode()}, frozenset({("list.csv", 3)}), "activity_mbq", ("ambiguous",), mapping=DECIMAL_COMMA,
            stored=("SELECT activity_mbq FROM sources WHERE source_id = 'SRC8'", [(3.7,)]),
            reads_as="in a list with a decimal comma; the native form knows the point only, where 1.234 is one number",
        )
    ],  # fmt: skip
    "BI-108": [
        Attempt(
            files(procedures=[procedure(2, marker="placed", marker_shape="ring", marker_reference="target", marker_shift_x_mm="\u22124.0")]),
            says=("procedures.csv", "marker_shift_x_mm"), stored=("SELECT marker_shift_x_mm FROM procedures WHERE procedure_id = 'P2'", [(-4.0,)]),
        )
    ],  # fmt: skip
}

# -- activity, uptake --------------------------------------------------------------

CURIES = (
    'name = "list"\nversion = "1"\nformat = "csv"\n[tables.procedures.fields]\nprocedure_id = { column = "no" }\n'
    'activity_mbq = { column = "activity", unit = "mCi" }\n'
)


def containers(**of: str) -> list[Row]:
    """Six containers of a second procedure; ``of`` gives one cell of each, by its number."""
    rows = [full("specimens", specimen_id=f"S{n}", procedure_id="P2", taken_order=str(n), cores="2", scan_at="", read_at="") for n in range(1, 7)]
    return [row | {"specimen_id": f"S1{n}"} for n, row in enumerate(rows, 1)]


def times() -> list[Row]:
    rows = containers()
    rows[5]["scan_seconds"] = "2"
    return rows


SPECIMENS: dict[str, list[Attempt]] = {
    "BI-109": [
        rows_held("procedures", 5, column="activity_mbq", says=("looks like mCi",), procedures=[procedure(n, activity_mbq=str(300 + 20 * n)) for n in range(2, 7)] + [procedure(7, activity_mbq="10")])
    ],
    "BI-110": [
        Attempt(
            {"list.csv": b"no,activity\nP2,5\nP1,370\n"}, frozenset({("list.csv", 3)}), "activity", ("13690", "1 to 2000 MBq"), mapping=CURIES,
            reads_as="370 mCi are 13,690 MBq, more than the data dictionary takes; P2 is stored beforehand",
        )
    ],  # fmt: skip
    "BI-112": [
        Attempt(
            files(procedures=[procedure(2)], specimens=[row | {"counts": "0"} for row in containers()]), says=("Every container of the batch has 0 counts",),
            stored=("SELECT count(*) FROM specimens WHERE counts = 0", [(6,)]),
        )
    ],  # fmt: skip
    "BI-114": [rows_held("specimens", 5, column="scan_seconds", says=("looks like minutes",), procedures=[procedure(2)], specimens=times())],
    "BI-117": [
        Attempt(
            files(sources=[full("sources", source_id=f"SRC{n}", nuclide=text) for n, text in enumerate(("F18", "18F", "F-18"), 7)]),
            stored=("SELECT nuclide FROM sources WHERE source_id <> 'SRC1'", [("F-18",), ("F-18",), ("F-18",)]),
        )
    ],
    "BI-119": [
        rows_held("specimens", 0, 1, column="mass_g", says=("0.001 to 100 g",), procedures=[procedure(2)], specimens=[row | {"mass_g": mass} for row, mass in zip(containers(), ("0", "500", "1", "1", "1", "1"), strict=True)])
    ],
    "BI-120": [one_held("findings", "0 to 100", column="uptake_ratio", finding_id="F2", uptake_ratio="1e9")],
    "BI-122": [
        rows_held("specimens", 1, 2, column="taken_order", says=("duplicate specimen number",), procedures=[procedure(2)], specimens=[row | {"taken_order": order} for row, order in zip(containers(), "122345", strict=True)])
    ],
}

# -- pathology, concordance --------------------------------------------------------

PATHOLOGY: dict[str, list[Attempt]] = {
    "BI-124": [
        rows_held(
            "pathology", 0, 1, column="report_id", says=("lines 2, 3", "version"), reads_as="the same report, container and version twice",
            pathology=[full("pathology", report_id="R2", specimen_id="S1"), full("pathology", report_id="R2", specimen_id="S1", diagnosis="invasive", b_category="B5b", morphology="8500/3")],
        )
    ],  # fmt: skip
    "BI-125": [
        one_held("pathology", "the original is missing", column="status", report_id="R2", status="amended"),
        one_held("pathology", "an earlier one is missing", column="version", report_id="R2", status="amended", version="2"),
    ],
    "BI-127": [one_held("pathology", "contradiction", column="grade", report_id="R2", grade="3")],
    "BI-130": [
        one_held("followup", "an excision row is needed", column="kind", event_id="E2", diagnosis="invasive", reads_as="an upgrade is a malignant diagnosis without an excision")
    ],
    "BI-132": [one_held("reviews", "no action", column="management", review_id="V2", determination="discordant", reason="target_not_sampled", management="none")],
    "BI-134": [
        one_held("pathology", "possible direct identifier", column="conclusion", report_id="R2", conclusion=text)
        for text in ("Mrs Example, benign.", "Patient born 17.05.1960.", "Call her, phone 555 0100.")
    ],
    "BI-135": [
        rows_held("reviews", 0, column="note", says=("longer than",), reviews=[full("reviews", review_id="V2", note="x " * 500_000)]),
        rows_held("reviews", 0, column="note", says=("4,000",), reviews=[full("reviews", review_id="V2", note="x" * 4001)]),
    ],
    "BI-137": [one_held("complications", "not an allowed code", column="kind", complication_id="C2", kind="none", reads_as="where there was none there is no row")],
}

ATTEMPTS: dict[str, list[Attempt]] = {**CSV, **XLSX, **PROCEDURES, **GEOMETRY, **SPECIMENS, **PATHOLOGY}
NOT_APPLICABLE = {
    "BI-083": "the side stands once, on the finding; no other field repeats it",
    "BI-115": "no decay-corrected value is sent: the registry corrects the raw counts itself",
    "BI-129": "no upgrade is sent: it follows from the report and the excision",
}
