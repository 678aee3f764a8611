"""The first line of a delimited file: encoding marks and column names."""

from __future__ import annotations

import codecs
import difflib
import unicodedata
from collections import Counter
from dataclasses import dataclass

from registry.errors import FileProblem
from registry.imports import characters, quotes
from registry.imports.faulty import NOTHING_IMPORTED

MAX_COLUMNS = 500
_MARKS = (
    (codecs.BOM_UTF32_LE, "UTF-32 little-endian"),
    (codecs.BOM_UTF32_BE, "UTF-32 big-endian"),
    (codecs.BOM_UTF16_LE, "UTF-16 little-endian"),
    (codecs.BOM_UTF16_BE, "UTF-16 big-endian"),
)
_ARCHIVE, _BINARY_OFFICE, _PDF = b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"%PDF"


@dataclass(frozen=True)
class Header:
    """Column names and the bytes before the first record.

    ``first_line_start`` is the place where the header itself begins, behind a mark and
    empty lines; ``length`` where the first record begins.
    """

    names: tuple[str, ...]
    length: int
    mark_length: int
    first_line_start: int
    text: str
    has_line_breaks: bool


def _check_encoding(data: bytes, name: str) -> None:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            raise FileProblem(
                f"{name}: the file is {encoding}, by its first bytes. {NOTHING_IMPORTED} Save it as UTF-8."
            )
    start = data[:512]
    if start.count(0) >= max(2, len(start) // 4):
        if start[0::2].count(0) * 10 > len(start) * 4 or start[1::2].count(0) * 10 > len(start) * 4:
            raise FileProblem(
                f"{name}: the file looks like UTF-16 without a mark. {NOTHING_IMPORTED} Save it as UTF-8."
            )
        raise FileProblem(f"{name}: the file is not text. {NOTHING_IMPORTED} Send a CSV file saved as UTF-8.")


def check_is_text(data: bytes, name: str) -> None:
    """Refuse what is another kind of file, decided by its content and not by its name.

    Raises
    ------
    FileProblem
        The bytes begin as a workbook, another office file or a document does.
    """
    for start, kind in (
        (_ARCHIVE, "a workbook or another archive"),
        (_BINARY_OFFICE, "a binary office file"),
        (_PDF, "a PDF document"),
    ):
        if data.startswith(start):
            raise FileProblem(
                f"{name}: content does not match the name: it is {kind}, not CSV text. {NOTHING_IMPORTED}"
            )


def read(data: bytes, name: str, delimiter: bytes, columns: tuple[str, ...] | None) -> Header:
    """Column names of a file from its first bytes.

    Parameters
    ----------
    data
        The first bytes of the file: all of it, or more than any header is long.
    name
        Name of the file, for messages.
    delimiter
        Byte between cells.
    columns
        Names of the columns where the file has no header line.

    Raises
    ------
    FileProblem
        Empty file, another encoding, CR line endings, too many columns, a name that
        is empty, double or holds a character that cannot be seen.
    """
    if not data:
        raise FileProblem(f"{name}: the file is empty. {NOTHING_IMPORTED}")
    check_is_text(data, name)
    _check_encoding(data, name)
    mark = len(codecs.BOM_UTF8) if data.startswith(codecs.BOM_UTF8) else 0
    if columns is not None:
        return Header(columns, mark, mark, mark, "", False)
    start = _skip_blank(data, mark)
    end = data.find(b"\n", start)
    first_line = data[start : len(data) if end < 0 else end].rstrip(b"\r")
    if not first_line.strip():
        raise FileProblem(
            f"{name}: the file holds no header line. {NOTHING_IMPORTED} Its first line must name the columns."
        )
    count = first_line.count(delimiter) + 1
    if count > MAX_COLUMNS and b'"' not in first_line:
        raise _too_many(name, count)
    if b"\r" in first_line and b'"' not in first_line:
        if b"\0" in first_line:
            raise FileProblem(
                f"{name}: holds bytes that no text holds (NUL); it is not CSV. {NOTHING_IMPORTED}"
            )
        raise FileProblem(
            f"{name}: line endings are CR only. {NOTHING_IMPORTED} Save the file with LF or CRLF line endings."
        )
    length = _header_end(data, start, delimiter, name)
    text = _decode(data[start:length], name)
    cells = quotes.cells(text.rstrip("\r\n"), delimiter.decode())
    if len(cells) > MAX_COLUMNS:
        raise _too_many(name, len(cells))
    names = tuple(unicodedata.normalize("NFC", cell.strip()) for cell in cells)
    _check_names(names, name)
    return Header(names, length, mark, start, text, b"\n" in data[start:length].rstrip(b"\r\n"))


def _too_many(name: str, count: int) -> FileProblem:
    return FileProblem(
        f"{name}: {count:,} columns, more than {MAX_COLUMNS}. {NOTHING_IMPORTED} Is the separator the right one?"
    )


def _skip_blank(data: bytes, start: int) -> int:
    place = start
    while True:
        if data.startswith(b"\n", place):
            place += 1
        elif data.startswith(b"\r\n", place):
            place += 2
        else:
            return place


def _header_end(data: bytes, start: int, delimiter: bytes, name: str) -> int:
    end = data.find(b"\n", start)
    end = len(data) if end < 0 else end + 1
    if b'"' not in data[start:end]:
        return end
    line = 1 + data.count(b"\n", 0, start)
    found = quotes.record_end(data, start, delimiter)
    if found is None:
        raise FileProblem(
            f"{name}, line {line}: a quotation mark in the header is misplaced or not closed. {NOTHING_IMPORTED}"
        )
    return found


def _decode(data: bytes, name: str) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise FileProblem(
            f"{name}: the header line is not UTF-8 (byte 0x{data[problem.start]:02X} at offset {problem.start} of it). "
            f'{NOTHING_IMPORTED} Save the file as UTF-8, or state its encoding in a mapping (encoding = "cp1252").'
        ) from None


def _check_names(names: tuple[str, ...], name: str) -> None:
    problems = []
    for place, column in enumerate(names, start=1):
        if not column:
            problems.append(f"column {place} has no name")
        elif character := characters.first_refused(column):
            problems.append(f"the name of column {place} holds {characters.named(character)}")
    problems += [
        f"the column {shortened(column)} stands {times} times"
        for column, times in Counter(names).items()
        if times > 1 and column
    ]
    if problems:
        raise FileProblem(f"{name}: {'; '.join(problems)}. {NOTHING_IMPORTED} Correct the header line.")


def shortened(text: str) -> str:
    """A column name as a message repeats it."""
    return repr(text if len(text) <= 40 else text[:37] + "...")


def nearest(text: str, known: tuple[str, ...] | list[str]) -> str:
    """The known name nearest to a text, as a question; empty where none is near."""
    folded = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(text.casefold(), folded, n=1, cutoff=0.6)
    return f"; did you mean {folded[near[0]]}?" if near else ""
