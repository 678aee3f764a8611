"""Hidden rows, merged cells and unfinished formulas of a sheet, from its XML."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

_ADDRESS = re.compile(r"\$?([A-Z]{1,3})\$?([0-9]+)")


@lru_cache(maxsize=1024)
def column_number(letters: str) -> int:
    """Number of a column from its letters; A is 1."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


def column_letters(number: int) -> str:
    """Letters of a column from its number; 1 is A."""
    letters = ""
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


@dataclass(frozen=True)
class MergedRange:
    """A range of merged cells, rows and columns counted from 1, last ones included."""

    text: str
    first_row: int
    last_row: int
    first_column: int
    last_column: int


@dataclass
class SheetFacts:
    """Collects from the elements of a sheet what matters before its values are read.

    ``last_row`` is the last row that holds a value: sheets often carry a million
    formatted empty ones. ``unfinished`` are the places (row, column) of formulas
    without a stored result.
    """

    last_row: int = 0
    last_column: int = 0
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    merged: list[MergedRange] = field(default_factory=list)
    unfinished: set[tuple[int, int]] = field(default_factory=set)
    _row: int = 0
    _column: int = 0
    _has_formula: bool = False
    _has_value: bool = False
    _in_value: bool = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        name = tag.rpartition(":")[2]
        if name == "c":
            self._has_formula = self._in_value = False
            # The result of a formula may be an empty text, which is marked as text.
            self._has_value = attributes.get("t") == "str"
            self._place_cell(attributes.get("r", ""))
        elif name in ("v", "t"):
            self._in_value = True
        elif name == "f":
            self._has_formula = True
        elif name == "row":
            self._row = int(attributes.get("r", self._row + 1))
            self._column = 0
            if attributes.get("hidden") in ("1", "true"):
                self.hidden_rows.add(self._row)
        elif name == "col" and attributes.get("hidden") in ("1", "true"):
            last = min(int(attributes["max"]), 16384)
            self.hidden_columns |= set(range(int(attributes["min"]), last + 1))
        elif name == "mergeCell":
            self._add_merged(attributes.get("ref", ""))

    def _place_cell(self, place: str) -> None:
        letters = place.rstrip("0123456789")
        self._column = column_number(letters) if letters else self._column + 1

    def text(self, _: str) -> None:
        """Text within an element."""
        if self._in_value:
            self._has_value = True

    def end(self, tag: str) -> None:
        """An element ends."""
        self._in_value = False
        if tag != "c" and not tag.endswith(":c"):
            return
        if self._has_formula and not self._has_value:
            self.unfinished.add((self._row, self._column))
        if self._has_value or self._has_formula:
            self.last_row = max(self.last_row, self._row)
            self.last_column = max(self.last_column, self._column)

    def _add_merged(self, text: str) -> None:
        found = _ADDRESS.findall(text)
        if len(found) != 2:
            return
        (first, top), (last, bottom) = found
        self.merged.append(
            MergedRange(text, int(top), int(bottom), column_number(first), column_number(last))
        )


def without_empty_tail(xml: bytes) -> bytes:
    """The XML of a sheet without the rows behind its last value.

    Where the elements carry a prefix, or nothing has a value, the XML stays as it is:
    it is then only slower to go through.
    """
    last = max(xml.rfind(tag) for tag in (b"</v>", b"</t>", b"</f>", b"<f ", b"<f/>"))
    if last < 0:
        return xml
    end = xml.find(b"</row>", last)
    tail = xml.find(b"</sheetData>", end)
    if end < 0 or tail < 0:
        return xml
    return xml[: end + len(b"</row>")] + xml[tail:]
