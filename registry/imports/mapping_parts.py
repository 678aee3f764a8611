"""Mapping files: which column of a source feeds which field, and how it is read.

A mapping is data, never code: closed lists of formats, units and transforms, strictly
read. An unknown key is refused, because a misspelt one would otherwise be silence.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from registry.dictionary import Field

#: Factor from a unit of a source to the unit of a field; exact unless a source is named.
UNITS: dict[tuple[str, str], Fraction] = {
    ("cm", "mm"): Fraction(10),
    ("in", "mm"): Fraction("25.4"),
    ("Bq", "MBq"): Fraction(1, 1_000_000),
    ("kBq", "MBq"): Fraction(1, 1000),
    ("uCi", "MBq"): Fraction(37, 1000),
    ("mCi", "MBq"): Fraction(37),
    ("mg", "g"): Fraction(1, 1000),
    ("kg", "g"): Fraction(1000),
    ("g", "kg"): Fraction(1, 1000),
    ("lb", "kg"): Fraction("0.45359237"),
    ("min", "s"): Fraction(60),
    # Molar mass of glucose 180.16 g/mol (from memory): 18.016 mg/dL are 1 mmol/L.
    ("mg/dL", "mmol/L"): 1 / Fraction("18.016"),
}
COMPARATORS = ("take_number", "leave_empty")
LETTERS = ("upper", "lower")


@dataclass(frozen=True)
class Condition:
    """Makes a row only where a column holds something, or one of some words."""

    column: str
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class FieldSource:
    """Where the text of one field comes from, and what is done to it.

    ``kind`` is ``column``, ``first_of``, ``join``, ``constant`` or ``row``;
    ``columns`` are the source columns read, ``text`` the constant, the words between
    joined parts, or the form of a key made of the row number.
    """

    field: Field
    kind: str
    columns: tuple[str, ...] = ()
    text: str = ""
    codes: dict[str, str] = dataclasses.field(default_factory=dict)
    unit: str = ""
    suffixes: tuple[str, ...] = ()
    split_by: str = ""
    split_part: int = 0
    pattern: str = ""
    letters: str = ""
    width: int = 0
    comparator: str = ""
    if_empty: str | None = None
    date_format: str = ""
    datetime_format: str = ""
    time_format: str = ""

    @property
    def label(self) -> str:
        """Header under which messages name the source."""
        if self.kind == "constant":
            return "(constant)"
        return " + ".join(self.columns) or "(row number)"


@dataclass(frozen=True)
class RowSource:
    """How one row of a table is made from a row of the source."""

    table: str
    fields: tuple[FieldSource, ...]
    when: Condition | None = None

    @property
    def columns(self) -> tuple[str, ...]:
        """Source columns read, each once."""
        read = [column for one in self.fields for column in one.columns]
        return tuple(dict.fromkeys([*read, *([self.when.column] if self.when else [])]))


@dataclass(frozen=True)
class Mapping:
    """A mapping file, checked."""

    name: str
    version: str
    format: str
    sha256: str
    rows: tuple[RowSource, ...]
    encoding: str = "utf-8"
    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    sheet: str | None = None
    header_row: int = 1
    columns: tuple[str, ...] | None = None
    comment_prefix: str = ""
    fill_down: tuple[str, ...] = ()
    null_words: frozenset[str] = frozenset()
    time_zone: str = ""
    serial_dates: bool = False
    ignored: tuple[str, ...] = ()
    skip: Condition | None = None

    @property
    def used(self) -> tuple[str, ...]:
        """Source columns that must be in the file, each once."""
        read = [column for one in self.rows for column in one.columns]
        return tuple(dict.fromkeys([*read, *self.fill_down, *([self.skip.column] if self.skip else [])]))

    @property
    def uses_row_number(self) -> bool:
        """Whether any key is made of the row number."""
        return any(one.kind == "row" for row in self.rows for one in row.fields)


def folded(text: str) -> str:
    """A text as code words are compared: trimmed, case folded."""
    return text.strip().casefold()


def spaced(text: str) -> str:
    """A column name as it is compared: line breaks and runs of spaces are one space."""
    return " ".join(text.split())
