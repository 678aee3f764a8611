"""One chunk of a delimited file: where its records, lines and cells end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from registry.imports import characters

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

_NOT_CONTROL = bytes(code for code in range(256) if code not in (*range(9), 11, 12, *range(14, 32), 127))
_CONTROL = np.array([code not in _NOT_CONTROL for code in range(256)])
_TAB, _LF, _CR, _SPACE, _QUOTE = 9, 10, 13, 32, 34


@dataclass(frozen=True)
class Chunk:
    """Whole records and the places in them.

    ``newlines`` and ``marks`` are the places of all line feeds and quotation marks;
    ``starts`` and ``ends`` delimit each record (the end is its line feed, or the length
    of the data where the last one has none); ``counts`` are its cells.
    """

    data: bytes
    array: NDArray[np.uint8]
    newlines: NDArray[np.int64]
    marks: NDArray[np.int64]
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    counts: NDArray[np.int64]

    @property
    def ends_with_cr(self) -> NDArray[np.bool_]:
        """Whether each record ends with CR before its line feed."""
        last_byte = self.array[np.maximum(self.ends - 1, 0)]
        found: NDArray[np.bool_] = (last_byte == _CR) & (self.ends > self.starts)
        return found

    @property
    def blank(self) -> NDArray[np.bool_]:
        """Whether each record is an empty line."""
        found: NDArray[np.bool_] = self.ends - self.starts - self.ends_with_cr == 0
        return found


def divide(data: bytes, work: bytes, delimiter: bytes) -> Chunk:
    """Find the records of a chunk whose quotation marks fit.

    Parameters
    ----------
    data
        Whole records.
    work
        The same bytes, lines with misplaced quotation marks blanked.
    delimiter
        Byte between cells.
    """
    array = np.frombuffer(work, np.uint8)
    newlines = np.flatnonzero(array == _LF)
    cells = np.flatnonzero(array == delimiter[0])
    marks = np.flatnonzero(array == _QUOTE)
    ends = newlines
    if len(marks):
        # An odd number of marks before a place: it lies inside a quoted cell.
        ends = ends[np.searchsorted(marks, ends) % 2 == 0]
        cells = cells[np.searchsorted(marks, cells) % 2 == 0]
    if not len(ends) or ends[-1] != len(work) - 1:
        ends = np.append(ends, len(work))
    starts = np.concatenate([[0], ends[:-1] + 1])
    counts = np.diff(np.searchsorted(cells, ends), prepend=0) + 1
    return Chunk(data, array, newlines, marks, starts, ends, counts)


def refused_rows(chunk: Chunk, delimiter: bytes, distinct: frozenset[str]) -> set[int]:
    """Records that hold a character that no cell may hold.

    Tabs and line breaks may stand inside quotation marks only.

    Parameters
    ----------
    chunk
        The records.
    delimiter
        Byte between cells.
    distinct
        Characters beyond ASCII that the file holds.
    """
    array, size = chunk.array, len(chunk.data)
    suspects = [np.flatnonzero(_CONTROL[array])] if chunk.data.translate(None, _NOT_CONTROL) else []
    if b"\r" in chunk.data or b"\t" in chunk.data:
        layout = np.flatnonzero((array == _CR) | ((array == _TAB) & (delimiter != b"\t")))
        following = array[np.minimum(layout + 1, size - 1)]
        ends_line = (array[layout] == _CR) & ((following == _LF) | (layout == size - 1))
        layout = layout[~ends_line]
        suspects.append(layout[np.searchsorted(chunk.marks, layout) % 2 == 0])
    for character in distinct & characters.REFUSED:
        suspects.append(np.array(list(_places(chunk.data, character.encode("utf-8"))), dtype=np.int64))
    rows: set[int] = set()
    for places in suspects:
        rows |= set((np.searchsorted(chunk.starts, places, side="right") - 1).tolist())
    return rows


def _places(data: bytes, needle: bytes) -> Iterator[int]:
    place = data.find(needle)
    while place >= 0:
        yield place
        place = data.find(needle, place + 1)


def has_edge_space(array: NDArray[np.uint8], delimiter: int, marks: NDArray[np.int64] | None = None) -> bool:
    """Whether any cell begins or ends with a space, or may do so with a tab."""
    if delimiter != _TAB and (array == _TAB).any():
        return True
    spaces = np.flatnonzero(array == _SPACE)
    if not len(spaces):
        return False
    if spaces[0] == 0 or spaces[-1] == len(array) - 1:
        return True
    before, after = array[spaces - 1], array[spaces + 1]
    if ((before == _QUOTE) | (after == _QUOTE)).any():
        return True
    is_edge = np.zeros(256, dtype=bool)
    is_edge[[delimiter, _LF, _CR]] = True
    beside_edge = spaces[is_edge[before] | is_edge[after]]
    if marks is not None and len(marks):
        beside_edge = beside_edge[np.searchsorted(marks, beside_edge) % 2 == 0]
    return bool(len(beside_edge))
