"""What is checked of a workbook before any cell is parsed.

A workbook is a zip archive of XML files. Its directory says how large they are, so a
file that would fill the memory is refused in a millisecond. Then each XML file goes once
through a parser that refuses document types: with them an XML file could ask for other
files, or for any amount of text.
"""

from __future__ import annotations

import zipfile
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.parsers import expat

from registry.errors import FileProblem
from registry.imports.faulty import NOTHING_IMPORTED
from registry.imports.sheet_facts import SheetFacts, without_empty_tail

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

#: Starting values of our own; a workbook of a hundred thousand rows stays below them.
EXPANDED_LIMIT = 50 * 1024 * 1024
RATIO_LIMIT = 100
#: Small workbooks hold much repeated text and are harmless at any ratio.
_RATIO_FROM = 1024 * 1024
_BLOCK = 256 * 1024
_WORKBOOK = "xl/workbook.xml"


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
            _check_members(archive, name)
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
    ):
        raise FileProblem(
            f"{name}: the workbook is damaged. {NOTHING_IMPORTED} Save it again as .xlsx."
        ) from None


def _check_directory(archive: zipfile.ZipFile, path: Path) -> None:
    expanded = sum(one.file_size for one in archive.infolist())
    packed = max(path.stat().st_size, 1)
    if expanded > EXPANDED_LIMIT:
        raise FileProblem(
            f"{path.name}: the workbook would expand to {expanded / 1024**2:,.0f} MB, more than "
            f"{EXPANDED_LIMIT // 1024**2}. {NOTHING_IMPORTED} Copy the rows that matter into a new workbook."
        )
    if expanded > RATIO_LIMIT * packed and expanded > _RATIO_FROM:
        raise FileProblem(
            f"{path.name}: the workbook would expand {expanded / packed:,.0f}-fold, more than {RATIO_LIMIT}. "
            f"{NOTHING_IMPORTED} Copy the rows that matter into a new workbook."
        )


def _check_members(archive: zipfile.ZipFile, name: str) -> None:
    """Inflate every XML file once, counting, and refuse document types."""
    total = 0
    for member in archive.infolist():
        if not member.filename.endswith((".xml", ".rels", ".vml")):
            continue
        parser = expat.ParserCreate()
        parser.StartDoctypeDeclHandler = _refuse_document_type
        with archive.open(member) as handle:
            while block := handle.read(_BLOCK):
                total += len(block)
                # The directory may lie about the size.
                if total > EXPANDED_LIMIT:
                    raise FileProblem(
                        f"{name}: the workbook expands beyond {EXPANDED_LIMIT // 1024**2} MB. {NOTHING_IMPORTED}"
                    )
                parser.Parse(block, False)
        parser.Parse(b"", True)


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


def facts(path: Path, place: SheetPlace) -> SheetFacts:
    """What the reader of cell values does not tell of a sheet: see :class:`SheetFacts`."""
    found = SheetFacts()
    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = _refuse_document_type
    parser.StartElementHandler = found.start
    parser.EndElementHandler = found.end
    parser.CharacterDataHandler = found.text
    with zipfile.ZipFile(path) as archive:
        parser.Parse(without_empty_tail(archive.read(place.member)), True)
    return found
