"""Delimited files: bytes that were found sound become a frame of text."""

from __future__ import annotations

import hashlib
import io
from typing import TYPE_CHECKING

import polars as pl

from registry.errors import FileProblem
from registry.imports import characters
from registry.imports.faulty import NOTHING_IMPORTED
from registry.imports.received import ReceivedFile
from registry.imports.structure import Structure, scan

if TYPE_CHECKING:
    from pathlib import Path

#: Encodings that a mapping may declare. Nothing is ever guessed.
ENCODINGS = ("utf-8", "utf-8-sig", "cp1252", "latin-1", "utf-16")
#: Cells named in a note; the rest is counted.
_NAMED_CELLS = 5


def _changed(name: str) -> FileProblem:
    return FileProblem(
        f"{name}: changed while it was being read. {NOTHING_IMPORTED} Import it again when it is complete."
    )


def _state(path: Path) -> tuple[int, int, int]:
    seen = path.stat()
    return seen.st_ino, seen.st_size, seen.st_mtime_ns


def look(path: Path, *, delimiter: str = ",") -> tuple[ReceivedFile, Structure]:
    """Hash a UTF-8 file and find its structure, in one pass over its bytes.

    Raises
    ------
    FileProblem
        The file cannot be read, is no sound CSV, or changed meanwhile.
    """
    before = _state(path)
    digest = hashlib.sha256()
    with path.open("rb", buffering=0) as handle:

        def read(size: int) -> bytes:
            block = _read_full(handle, size)
            digest.update(block)
            return block

        structure = scan(read, path.name, delimiter=delimiter)
        size = handle.tell()
    if _state(path) != before or size != before[1]:
        raise _changed(path.name)
    return ReceivedFile(path.name, path, digest.hexdigest(), size), structure


def _read_full(handle: io.FileIO, size: int) -> bytes:
    """As many bytes as asked for; fewer at the end of the file only."""
    parts = []
    while size and (part := handle.read(size)):
        parts.append(part)
        size -= len(part)
    return parts[0] if len(parts) == 1 else b"".join(parts)


def read_bytes(path: Path, sha256: str | None = None) -> tuple[ReceivedFile, bytes]:
    """All bytes of a file and what identifies it.

    Parameters
    ----------
    path
        The file.
    sha256
        What its digest was when it was looked at first, where it was.

    Raises
    ------
    FileProblem
        The file is no longer what it was.
    """
    before = _state(path)
    data = path.read_bytes()
    digest = hashlib.sha256(data).hexdigest()
    if _state(path) != before or len(data) != before[1] or (sha256 is not None and digest != sha256):
        raise _changed(path.name)
    return ReceivedFile(path.name, path, digest, len(data)), data


def as_utf8(data: bytes, encoding: str, name: str) -> bytes:
    """Bytes of a declared encoding as UTF-8.

    Parameters
    ----------
    data
        The file as it was received.
    encoding
        One of ``ENCODINGS``.
    name
        Name of the file, for messages.

    Raises
    ------
    FileProblem
        The bytes are not of that encoding.
    """
    if encoding in ("utf-8", "utf-8-sig"):
        return data
    try:
        return data.decode(encoding).removeprefix("\ufeff").encode("utf-8")
    except UnicodeDecodeError as problem:
        line = 1 + data.count(b"\n", 0, problem.start)
        raise FileProblem(
            f"{name}, line {line}: the byte at offset {problem.start} is not {encoding}, which the mapping declares. "
            f"{NOTHING_IMPORTED} Correct the encoding in the mapping."
        ) from None


def parse(
    data: bytes, structure: Structure, *, delimiter: str = ",", has_header: bool = True, name: str = ""
) -> pl.DataFrame:
    """Sound records as text, with the physical line on which each starts.

    Parameters
    ----------
    data
        The bytes that were scanned.
    structure
        What the scan found.
    delimiter, has_header
        As they were scanned.
    name
        Name of the file, for messages.

    Returns
    -------
    polars.DataFrame
        One String column per column of the header (trimmed, composed, null where
        empty) and ``_line`` (Int64). No rows where there are no sound records.
    """
    columns = list(structure.header)
    if not structure.records:
        return pl.DataFrame(schema=dict.fromkeys(columns, pl.String) | {"_line": pl.Int64})
    frame = pl.read_csv(
        _without(data, structure.removed),
        separator=delimiter,
        has_header=has_header,
        new_columns=columns,
        infer_schema=False,
        quote_char='"' if structure.has_quotes else None,
        raise_if_empty=False,
    )
    if frame.shape != (structure.records, len(columns)):
        raise FileProblem(
            f"{name}: {structure.records:,} records were counted and {frame.height:,} read. "
            f"{NOTHING_IMPORTED} Please report this file's form."
        )
    frame.columns = columns
    return _tidy(frame, structure).with_columns(pl.Series("_line", structure.lines))


def _without(data: bytes, ranges: tuple[tuple[int, int], ...]) -> bytes:
    if not ranges:
        return data
    view, parts, place = memoryview(data), [], 0
    for start, end in ranges:
        parts.append(view[place:start])
        place = end
    parts.append(view[place:])
    return b"".join(parts)


def _tidy(frame: pl.DataFrame, structure: Structure) -> pl.DataFrame:
    text = pl.all()
    if structure.has_edge_space:
        text = text.str.strip_chars()
    if structure.needs_composing:
        text = text.str.normalize("NFC")
    if structure.has_edge_space or structure.has_quotes:
        text = text.replace("", None)
    elif not structure.needs_composing:
        return frame
    return frame.with_columns(text)


def has_notable(distinct: frozenset[str]) -> bool:
    """Whether cells may hold what a note has to be made of: see the two functions below."""
    return characters.MINUS in distinct or characters.may_be_encoded_twice(distinct)


def cells_with(frame: pl.DataFrame, characters_: frozenset[str]) -> list[tuple[int, str, str]]:
    """Line, column and text of each cell that holds one of a few characters."""
    pattern = "[" + "".join(sorted(characters_)) + "]"
    found = []
    for column in frame.columns:
        if column.startswith("_"):
            continue
        rows = frame.filter(pl.col(column).str.contains(pattern)).select("_line", column)
        found += [(line, column, text) for line, text in rows.iter_rows()]
    return sorted(found)


def twice_encoded_note(frame: pl.DataFrame, name: str) -> str:
    """A sentence on cells that look as if they had been encoded twice; empty where none does.

    The cells are taken as they are.
    """
    found = [
        (line, column)
        for line, column, text in cells_with(frame, frozenset("ÃÂâ"))
        if characters.is_encoded_twice(text)
    ]
    if not found:
        return ""
    listed = "; ".join(f"line {line}, column {column}" for line, column in found[:_NAMED_CELLS])
    more = f" and {len(found) - _NAMED_CELLS:,} more" if len(found) > _NAMED_CELLS else ""
    return (
        f"{name}: suspected double encoding (a letter with an accent shows as two characters) in {listed}{more}. "
        "The text was taken as it is; save the source as UTF-8 once."
    )


def minus_note(frame: pl.DataFrame, columns: list[str], name: str) -> tuple[pl.DataFrame, str]:
    """The frame with U+2212 read as a minus sign in number columns, and a sentence on it."""
    numeric = [column for column in columns if column in frame.columns]
    found = cells_with(frame.select("_line", *numeric), frozenset(characters.MINUS))
    if not found:
        return frame, ""
    line, column, _ = found[0]
    changed = frame.with_columns(pl.col(numeric).str.replace_all(characters.MINUS, "-", literal=True))
    return changed, (
        f"{name}: the minus sign U+2212 was read as '-' in {len(found):,} cells, first in line {line}, column {column}."
    )
