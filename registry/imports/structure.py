"""The structure of a delimited file, found from its bytes before anything is parsed.

CSV readers repair in silence: they drop ragged rows, swallow half a file behind an open
quotation mark, rename columns. So the bytes are looked at first, with array operations
over chunks, and every record that is not sound is named and set apart. What remains can
be given to any reader.

Quotation marks follow RFC 4180: a cell that begins with one ends with one, and one
inside is doubled. A mark in an unquoted cell, or text behind a closing mark, makes its
line faulty; a cell that runs over the line end and does not close properly refuses the
file, because nobody can tell where its rows end.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from registry.errors import FileProblem
from registry.imports import characters, header, quotes
from registry.imports.chunk import Chunk, divide, has_edge_space, refused_rows
from registry.imports.faulty import CELL_LIMIT, NOTHING_IMPORTED, Faulty, FaultyRecords

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

CHUNK = 8 * 1024 * 1024
#: No record can be longer: a file that seems to hold one has an open quotation mark.
RECORD_LIMIT = 32 * 1024 * 1024

_ASCII = bytes(range(128))
_PRINTABLE = bytes(range(32, 127))
_LF, _QUOTE = 10, 34


@dataclass(frozen=True)
class Structure:
    """What a scan found.

    ``lines`` holds the physical line on which each sound record starts. ``removed``
    lists the byte ranges (start, end) that are not part of the header or of a sound
    record. ``distinct`` holds the characters beyond ASCII. ``new_lines`` holds the
    line endings met outside quotation marks.
    """

    header: tuple[str, ...]
    lines: NDArray[np.int64]
    faulty: tuple[Faulty, ...]
    removed: tuple[tuple[int, int], ...]
    distinct: frozenset[str]
    new_lines: frozenset[str]
    has_quotes: bool
    has_edge_space: bool
    has_line_breaks: bool

    @property
    def records(self) -> int:
        """Number of sound records below the header."""
        return len(self.lines)

    @cached_property
    def needs_composing(self) -> bool:
        """Whether cells may have to be brought to the composed form (NFC)."""
        return characters.may_need_composing(self.distinct)

    @property
    def is_clean(self) -> bool:
        """Whether the file can be read as it stands, byte for byte."""
        return not (
            self.faulty
            or self.removed
            or self.has_edge_space
            or self.has_line_breaks
            or self.needs_composing
            or len(self.new_lines) > 1
        )


@dataclass
class _Scan:
    """State of a scan between chunks."""

    name: str
    delimiter: bytes
    columns: tuple[str, ...] | None
    offset: int = 0
    line: int = 1
    lines: list[NDArray[np.int64]] = field(default_factory=list)
    faulty: list[Faulty] = field(default_factory=list)
    removed: list[tuple[int, int]] = field(default_factory=list)
    distinct: set[str] = field(default_factory=set)
    new_lines: set[str] = field(default_factory=set)
    has_quotes: bool = False
    has_edge_space: bool = False
    has_line_breaks: bool = False

    # -- chunks --------------------------------------------------------------------

    def begin(self, data: bytes) -> bytes:
        """Take the mark and the header off the first chunk; returns what follows."""
        found = header.read(data, self.name, self.delimiter, self.columns)
        self.columns = found.names
        if found.mark_length:
            self.removed.append((0, found.mark_length))
        if found.first_line_start > found.mark_length:
            self.removed.append((found.mark_length, found.first_line_start))
        if not data[found.mark_length : found.length].isascii():
            self.distinct |= set(found.text) - set(map(chr, range(128)))
        self.has_line_breaks |= found.has_line_breaks
        self.has_quotes |= '"' in found.text
        if found.text.endswith("\n"):
            self.new_lines.add("\r\n" if found.text.endswith("\r\n") else "\n")
        self.line += data.count(b"\n", 0, found.length)
        self.offset = found.length
        return data[found.length :]

    def take(self, data: bytes, last: bool) -> int:
        """Look at the whole records of a chunk; returns how many bytes they are."""
        cut, work, forced = self._whole_records(data, last)
        if not cut:
            return 0
        data, work = data[:cut], work[:cut]
        self._check_encoding(data)
        if not self._take_plain(work, forced):
            self._take_arrays(data, work, forced)
        self.offset += cut
        return cut

    def _whole_records(self, data: bytes, last: bool) -> tuple[int, bytes, frozenset[int]]:
        """Length of the whole records, and the data with misquoted lines blanked."""
        if b'"' not in data:
            return (len(data) if last else data.rfind(b"\n") + 1), data, frozenset()
        self.has_quotes = True
        array = np.frombuffer(data, np.uint8)
        marks = np.flatnonzero(array == _QUOTE)
        if quotes.fit(array, marks, self.delimiter[0]):
            if last and len(marks) % 2:
                raise self._open_quote(data, int(marks[-1]))
            newlines = np.flatnonzero(array == _LF)
            ends = newlines[np.searchsorted(marks, newlines) % 2 == 0]
            return (len(data) if last else int(ends[-1]) + 1 if len(ends) else 0), data, frozenset()
        walk = quotes.walk(data, self.delimiter, last)
        if walk.open_at is not None:
            raise self._open_quote(data, walk.open_at)
        blanked = bytearray(data)
        for start, end in walk.faulty:
            blanked[start:end] = b"x" * (end - start)
        return walk.end, bytes(blanked), frozenset(start for start, _ in walk.faulty)

    def _open_quote(self, data: bytes, place: int) -> FileProblem:
        line = self.line + data.count(b"\n", 0, place)
        return FileProblem(
            f"{self.name}: a quotation mark that starts at line {line} is not closed. {NOTHING_IMPORTED} "
            'Close it, or double it ("") where it belongs to the text.'
        )

    def _check_encoding(self, data: bytes) -> None:
        if data.isascii():
            return
        try:
            data.decode("utf-8")
        except UnicodeDecodeError as problem:
            line = self.line + data.count(b"\n", 0, problem.start)
            raise FileProblem(
                f"{self.name}, line {line}: the byte at offset {self.offset + problem.start} "
                f"(0x{data[problem.start]:02X}) is not UTF-8. {NOTHING_IMPORTED} Save the file as UTF-8, or state its "
                'encoding in a mapping (encoding = "cp1252").'
            ) from None
        self.distinct |= set(data.translate(None, _ASCII).decode("utf-8"))

    # -- plain chunks --------------------------------------------------------------

    def _take_plain(self, data: bytes, forced: frozenset[int]) -> bool:
        """Take a chunk of plain records at once; False where it needs a closer look."""
        width = len(self._names())
        if forced or not data.isascii() or width < 2:
            return False
        delimiter = self.delimiter
        text = _PRINTABLE.replace(delimiter, b"")
        left = data.translate(None, text)
        if b'"' in data:
            # The marks fit, so every second piece between them lies outside the quoted cells. Inside
            # may stand text and delimiters: where anything else does, a closer look is due.
            outside = b"".join(data.split(b'"')[::2]).translate(None, text)
            if len(left.translate(None, delimiter)) != len(outside.translate(None, delimiter)):
                return False
            left = outside
        if not data.endswith(b"\n"):
            left += b"\n"
        count = left.count(b"\n")
        for ending in ("\n", "\r\n"):
            if left == (delimiter * (width - 1) + ending.encode()) * count:
                break
        else:
            return False
        array = np.frombuffer(data, np.uint8)
        newlines = np.flatnonzero(array == _LF)
        if (
            len(newlines)
            and max(int(newlines[0]), int(np.diff(newlines, append=len(data)).max())) > CELL_LIMIT
        ):
            return False
        marks = np.flatnonzero(array == _QUOTE) if b'"' in data else None
        self.has_edge_space |= has_edge_space(array, delimiter[0], marks)
        self.new_lines.add(ending)
        self.lines.append(np.arange(self.line, self.line + count, dtype=np.int64))
        self.line += len(newlines)
        return True

    # -- all other chunks ----------------------------------------------------------

    def _take_arrays(self, data: bytes, work: bytes, forced: frozenset[int]) -> None:
        chunk = divide(data, work, self.delimiter)
        has_cr, blank = chunk.ends_with_cr, chunk.blank
        terminated = len(chunk.ends) - int(chunk.ends[-1] == len(data))
        self.new_lines |= {"\r\n" if cr else "\n" for cr in np.unique(has_cr[:terminated]).tolist()}
        self.has_line_breaks |= len(chunk.newlines) > terminated
        # Line breaks and wide spaces may stand at the edge of a cell too; then it is
        # cheaper to trim than to look.
        self.has_edge_space |= self.has_line_breaks or bool(self.distinct & characters.WIDE_SPACES)
        self.has_edge_space |= has_edge_space(chunk.array, self.delimiter[0], chunk.marks)
        faulty = FaultyRecords(self.name, self._names(), self.delimiter)
        bad = ~blank & (chunk.counts != len(self._names()))
        too_long = chunk.ends - chunk.starts > CELL_LIMIT
        for row in np.flatnonzero(too_long):
            record = data[chunk.starts[row] : chunk.ends[row]]
            if not bad[row] and not faulty.has_long_cell(record):
                too_long[row] = False
            elif b"\n" in record:
                raise self._open_quote(data, data.find(b'"', int(chunk.starts[row])))
        refused = refused_rows(chunk, self.delimiter, frozenset(self.distinct))
        bad |= too_long
        bad[sorted(refused)] = True
        bad |= np.isin(chunk.starts, sorted(forced))
        at = self.line + np.searchsorted(chunk.newlines, chunk.starts)
        for row in np.flatnonzero(bad):
            record = data[chunk.starts[row] : chunk.ends[row]]
            made = faulty.describe(
                record,
                int(at[row]),
                int(chunk.counts[row]),
                chunk.starts[row] in forced,
                bool(too_long[row]),
            )
            self.faulty.append(made)
        self._keep(chunk, bad | blank, at)

    def _keep(self, chunk: Chunk, gone: NDArray[np.bool_], at: NDArray[np.int64]) -> None:
        self.lines.append(at[~gone].astype(np.int64))
        size = len(chunk.data)
        for row in np.flatnonzero(gone):
            end = min(int(chunk.ends[row]) + 1, size)
            self.removed.append((self.offset + int(chunk.starts[row]), self.offset + end))
        self.line += len(chunk.newlines)

    def _names(self) -> tuple[str, ...]:
        return self.columns or ()

    def result(self) -> Structure:
        """Everything found."""
        return Structure(
            self._names(),
            np.concatenate([np.array([], dtype=np.int64), *self.lines]),
            tuple(self.faulty),
            tuple(self.removed),
            frozenset(self.distinct),
            frozenset(self.new_lines),
            self.has_quotes,
            self.has_edge_space,
            self.has_line_breaks,
        )


def scan(
    read: Callable[[int], bytes], name: str, *, delimiter: str = ",", columns: tuple[str, ...] | None = None
) -> Structure:
    """Look through a delimited UTF-8 file.

    Parameters
    ----------
    read
        Gives the next bytes of the file, at most as many as asked for; fewer at its
        end only.
    name
        Name of the file, for messages.
    delimiter
        One ASCII character.
    columns
        Names of the columns, for a file without a header line.

    Raises
    ------
    FileProblem
        The file as a whole cannot be read: empty, another encoding, CR line endings,
        an open quotation mark, a header that cannot be used.
    """
    state = _Scan(name, delimiter.encode(), columns)
    carried, first = b"", True
    while True:
        block = read(CHUNK)
        last = len(block) < CHUNK
        data = carried + block if carried else block
        if first:
            data, first = state.begin(data), False
        done = state.take(data, last) if data else 0
        carried = data[done:]
        if last:
            return state.result()
        if len(carried) > RECORD_LIMIT:
            raise FileProblem(
                f"{name}: the record that starts at line {state.line} is longer than {RECORD_LIMIT // 1024**2} MB; "
                f"a quotation mark in it is probably not closed. {NOTHING_IMPORTED}"
            )
