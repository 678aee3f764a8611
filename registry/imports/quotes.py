"""Quotation marks in the bytes of a delimited file, after RFC 4180."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_LF, _CR, _QUOTE = 10, 13, 34
_QUOTED = rb'"[^"]*+(?:""[^"]*+)*+"'
_QUOTED_TEXT = re.compile(_QUOTED.decode())


@dataclass(frozen=True)
class Walk:
    """What a walk from record to record found.

    ``faulty`` holds the lines (start, end) whose marks do not fit, without their line
    ending; ``end`` where the last whole record ends; ``open_at`` the place of a mark
    that is not closed on its own line, or None.
    """

    faulty: tuple[tuple[int, int], ...]
    end: int
    open_at: int | None = None


def fit(array: NDArray[np.uint8], marks: NDArray[np.int64], delimiter: int) -> bool:
    """Whether each mark opens a cell, closes one, or is one of a doubled pair.

    Parameters
    ----------
    array
        Bytes that begin at the start of a record.
    marks
        Places of all quotation marks in it.
    delimiter
        Byte between cells.
    """
    opening, closing = marks[0::2], marks[1::2]
    before = array[opening - 1]
    begins = (before == delimiter) | (before == _LF) | (opening == 0)
    # A mark straight behind a closing one is the second of a doubled pair.
    begins[1:] |= opening[1:] == closing[: len(opening) - 1] + 1
    if not begins.all():
        return False
    # Behind the last byte it is as if the line ended.
    last = len(array) - 1
    after, second = (
        np.where(at > last, _LF, array[np.minimum(at, last)]) for at in (closing + 1, closing + 2)
    )
    ends = (after == delimiter) | (after == _LF) | ((after == _CR) & (second == _LF))
    paired = np.zeros(len(closing), dtype=bool)
    following = opening[1:]
    paired[: len(following)] = following == closing[: len(following)] + 1
    return bool((ends | paired).all())


@lru_cache(maxsize=16)
def _patterns(delimiter: bytes) -> tuple[re.Pattern[bytes], ...]:
    mark = re.escape(delimiter)
    cell = rb"(?:" + _QUOTED + rb'|[^"\n' + mark + rb"]*+)"
    cells = rb"(?:" + cell + mark + rb")*+"
    whole = cells + cell + rb"\r?\n"
    at_end = cells + cell + rb"(?:\r?\n|\Z)"
    return re.compile(whole), re.compile(at_end), re.compile(cells), re.compile(_QUOTED)


def cells(text: str, delimiter: str) -> list[str]:
    """Cells of one record whose marks fit, without its line ending."""
    if '"' not in text:
        return text.split(delimiter)
    found: list[str] = []
    place = 0
    while True:
        if match := _QUOTED_TEXT.match(text, place):
            found.append(match.group()[1:-1].replace('""', '"'))
            place = match.end()
        else:
            end = text.find(delimiter, place)
            end = len(text) if end < 0 else end
            found.append(text[place:end])
            place = end
        if place >= len(text):
            return found
        place += 1


def record_end(data: bytes, start: int, delimiter: bytes) -> int | None:
    """Where the record that begins at ``start`` ends; None where its marks do not fit."""
    match = _patterns(delimiter)[1].match(data, start)
    return match.end() if match else None


def walk(data: bytes, delimiter: bytes, last: bool) -> Walk:
    """Go from record to record and set apart the lines whose marks do not fit.

    Parameters
    ----------
    data
        Bytes that begin at the start of a record.
    delimiter
        Byte between cells.
    last
        Whether the file ends with these bytes.
    """
    whole, at_end, cells, quoted = _patterns(delimiter)
    record = at_end if last else whole
    faulty: list[tuple[int, int]] = []
    place = 0
    while (mark := data.find(b'"', place)) >= 0:
        start = max(data.rfind(b"\n", place, mark) + 1, place)
        if match := record.match(data, start):
            place = match.end()
            continue
        reached = cells.match(data, start)
        stuck = reached.end() if reached else start
        closed = quoted.match(data, stuck)
        if not last and (
            stuck >= len(data)
            or (closed is None and data[stuck] == _QUOTE)
            or (closed and closed.end() == len(data))
        ):
            return Walk(tuple(faulty), start)
        if data[stuck : stuck + 1] == b'"' and (closed is None or b"\n" in closed.group()):
            return Walk(tuple(faulty), start, stuck)
        end = data.find(b"\n", stuck)
        if end < 0 and not last:
            return Walk(tuple(faulty), start)
        end = len(data) if end < 0 else end
        faulty.append((start, end))
        place = end + 1
    if last:
        return Walk(tuple(faulty), len(data))
    return Walk(tuple(faulty), max(data.rfind(b"\n", place) + 1, min(place, len(data))))
