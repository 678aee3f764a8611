"""What is checked of a workbook before any cell is parsed.

A workbook is a zip archive of XML files. Its directory says how large they are, so a
file that would fill the memory is refused in a millisecond. Then each XML file goes once
through a parser that refuses document types: with them an XML file could ask for other
files, or for any amount of text.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.parsers import expat

from registry.errors import FileProblem
from registry.imports.empty_cells import MixedPlaces, Sieve
from registry.imports.faulty import NOTHING_IMPORTED
from registry.imports.sheet_facts import SheetFacts, without_empty_tail

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

#: Starting values of our own; a workbook of a hundred thousand rows stays below them. Cells
#: that are formatted and empty do not count; with them a workbook may be ten times larger.
EXPANDED_LIMIT = 50 * 1024 * 1024
WITH_EMPTY_LIMIT = 10 * EXPANDED_LIMIT
RATIO_LIMIT = 100
#: Small workbooks hold much repeated text and are harmless at any ratio.
_RATIO_FROM = 1024 * 1024
_BLOCK = 256 * 1024
_WORKBOOK = "xl/workbook.xml"
_SHEETS = "xl/worksheets/"
#: Stands in for the sheets that are not read.
_NO_ROWS = (
    b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData/></worksheet>'
)


@dataclass(frozen=True)
class SheetPlace:
    """A sheet of a workbook: its name, its file in the archive, and whether it is shown."""

    name: str
    member: str
    is_hidden: bool


@dataclass(frozen=True)
class Archive:
    """A workbook that passed the checks."""

    sheets: tuple[SheetPlace, ...]
    has_macros: bool


class _DocumentType(Exception):
    """The XML declares a document type."""


def _refuse_document_type(*_: object) -> None:
    raise _DocumentType


def check(path: Path) -> Archive:
    """Check a workbook without parsing a cell.

    Raises
    ------
    FileProblem
        The content is no workbook, would expand beyond the limits, is damaged, or
        declares a document type.
    """
    name = path.name
    with path.open("rb") as handle:
        start = handle.read(8)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        raise FileProblem(
            f"{name}: an old binary workbook (.xls), or one with a password. {NOTHING_IMPORTED} "
            "Save it as .xlsx without a password."
        )
    if not start.startswith(b"PK"):
        raise FileProblem(
            f"{name}: content does not match the name: it is not an .xlsx workbook. {NOTHING_IMPORTED} "
            'Save it as .xlsx, or use a mapping with format = "csv" if it is text.'
        )
    try:
        with zipfile.ZipFile(path) as archive:
            names = set(archive.namelist())
            if _WORKBOOK not in names:
                raise FileProblem(
                    f"{name}: content does not match the name: an archive without a workbook in it. {NOTHING_IMPORTED}"
                )
            _check_directory(archive, path)
            _check_members(archive, path)
            sheets = _sheets(archive)
            if not sheets or any(one.member not in names for one in sheets):
                raise zipfile.BadZipFile
            return Archive(sheets, any(one.endswith("vbaProject.bin") for one in names))
    except _DocumentType:
        raise FileProblem(
            f"{name}: the workbook declares a document type (<!DOCTYPE>), which is not allowed. {NOTHING_IMPORTED} "
            "Open it in a spreadsheet program and save it again as .xlsx."
        ) from None
    except (
        zipfile.BadZipFile,
        zlib.error,
        expat.ExpatError,
        EOFError,
        NotImplementedError,
        RuntimeError,
        KeyError,
        MixedPlaces,
    ):
        raise FileProblem(
            f"{name}: the workbook is damaged. {NOTHING_IMPORTED} Save it again as .xlsx."
        ) from None


def _check_directory(archive: zipfile.ZipFile, path: Path) -> None:
    """Refuse by what the directory says: quick, and nothing is inflated."""
    expanded = _expanded(archive)
    sheets = sum(one.file_size for one in archive.infolist() if one.filename.startswith(_SHEETS))
    if expanded - sheets > EXPANDED_LIMIT or expanded > WITH_EMPTY_LIMIT:
        raise _too_large(path.name, expanded)


def _expanded(archive: zipfile.ZipFile) -> int:
    return sum(one.file_size for one in archive.infolist())


def _too_large(name: str, expanded: int) -> FileProblem:
    return FileProblem(
        f"{name}: the workbook would expand to {expanded / 1024**2:,.0f} MB, more than "
        f"{EXPANDED_LIMIT // 1024**2}. {NOTHING_IMPORTED} Copy the rows that matter into a new workbook."
    )


def _check_members(archive: zipfile.ZipFile, path: Path) -> None:
    """Inflate every XML file once, counting what is not empty, and refuse document types."""
    name, total, packed = path.name, 0, max(path.stat().st_size, 1)
    for member in archive.infolist():
        if not member.filename.endswith((".xml", ".rels", ".vml")):
            # Pictures and the like are never inflated.
            total += member.file_size
            continue
        parser = expat.ParserCreate()
        parser.StartDoctypeDeclHandler = _refuse_document_type
        for block in _blocks(archive, member.filename, name):
            total += len(block)
            if total > EXPANDED_LIMIT:
                if (expanded := _expanded(archive)) > EXPANDED_LIMIT:
                    raise _too_large(name, expanded)
                # The directory may lie about the size.
                raise FileProblem(
                    f"{name}: the workbook expands beyond {EXPANDED_LIMIT // 1024**2} MB. {NOTHING_IMPORTED}"
                )
            parser.Parse(block, False)
        parser.Parse(b"", True)
    if total > RATIO_LIMIT * packed and total > _RATIO_FROM:
        raise FileProblem(
            f"{name}: the workbook would expand {total / packed:,.0f}-fold, more than {RATIO_LIMIT}. "
            f"{NOTHING_IMPORTED} Copy the rows that matter into a new workbook."
        )


def _blocks(archive: zipfile.ZipFile, member: str, name: str) -> Iterator[bytes]:
    """A file of the workbook in blocks; a sheet without its empty cells."""
    sieve = Sieve() if member.startswith(_SHEETS) else None
    inflated = 0
    with archive.open(member) as handle:
        while block := handle.read(_BLOCK):
            inflated += len(block)
            if inflated > WITH_EMPTY_LIMIT:
                raise FileProblem(
                    f"{name}: the workbook expands beyond {WITH_EMPTY_LIMIT // 1024**2} MB. {NOTHING_IMPORTED}"
                )
            yield sieve.take(block) if sieve else block
    if sieve:
        yield sieve.end()


def _sheets(archive: zipfile.ZipFile) -> tuple[SheetPlace, ...]:
    sheets: list[tuple[str, str, bool]] = []
    targets: dict[str, str] = {}

    def sheet(tag: str, attributes: dict[str, str]) -> None:
        if tag.rsplit(" ", 1)[-1] == "sheet":
            identifier = next((value for key, value in attributes.items() if key.endswith(" id")), "")
            shown = attributes.get("state", "visible") == "visible"
            sheets.append((attributes.get("name", ""), identifier, not shown))

    def relation(tag: str, attributes: dict[str, str]) -> None:
        if attributes.get("Type", "").endswith("/worksheet"):
            targets[attributes.get("Id", "")] = attributes.get("Target", "")

    _walk(archive, _WORKBOOK, sheet)
    _walk(archive, "xl/_rels/workbook.xml.rels", relation)
    return tuple(
        SheetPlace(name, _member(targets[identifier]), hidden)
        for name, identifier, hidden in sheets
        if identifier in targets
    )


def _member(target: str) -> str:
    return target.lstrip("/") if target.startswith("/") else f"xl/{target}"


def _walk(archive: zipfile.ZipFile, member: str, element: Callable[[str, dict[str, str]], None]) -> None:
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartDoctypeDeclHandler = _refuse_document_type
    parser.StartElementHandler = element
    with archive.open(member) as handle:
        parser.ParseFile(handle)


def sheet(path: Path, place: SheetPlace) -> bytes:
    """The XML of a sheet without its empty cells."""
    with zipfile.ZipFile(path) as archive:
        return b"".join(_blocks(archive, place.member, path.name))


def facts(xml: bytes) -> SheetFacts:
    """What the reader of cell values does not tell of a sheet: see :class:`SheetFacts`."""
    found = SheetFacts()
    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = _refuse_document_type
    parser.StartElementHandler = found.start
    parser.EndElementHandler = found.end
    parser.CharacterDataHandler = found.text
    parser.Parse(without_empty_tail(xml), True)
    return found


def slim(path: Path, place: SheetPlace, xml: bytes) -> io.BytesIO:
    """The workbook with one sheet, without the empty cells: what its values are read from."""
    made = io.BytesIO()
    with zipfile.ZipFile(path) as archive, zipfile.ZipFile(made, "w") as copy:
        for member in archive.infolist():
            if member.filename == place.member:
                copy.writestr(member.filename, xml)
            elif member.filename.startswith(_SHEETS) and member.filename.endswith(".xml"):
                copy.writestr(member.filename, _NO_ROWS)
            elif member.filename.endswith((".xml", ".rels")):
                copy.writestr(member.filename, archive.read(member))
    made.seek(0)
    return made
