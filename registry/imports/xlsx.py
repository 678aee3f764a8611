"""Workbooks: the values of one sheet as text, each with its address."""

from __future__ import annotations

import math
import re
import warnings
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from registry.errors import FileProblem
from registry.imports import archive
from registry.imports.faulty import NOTHING_IMPORTED
from registry.imports.header import MAX_COLUMNS
from registry.imports.sheet_facts import SheetFacts, column_letters

if TYPE_CHECKING:
    from pathlib import Path

#: A number format of zeros alone: what is shown has leading zeros that the value has not.
_PADDED = re.compile(r"0{2,}")
_FIRST_1904 = datetime(1904, 1, 1)


@dataclass(frozen=True)
class Sheet:
    """One sheet as text.

    ``rows`` maps a row number to its texts (None where empty), for the rows that hold
    anything.
    """

    name: str
    rows: dict[int, list[str | None]]
    facts: SheetFacts
    is_1904: bool
    notes: tuple[str, ...] = ()


@dataclass
class _Values:
    """Texts of the cells met so far."""

    decimal: str

    def text(self, cell: Any, row: int, column: int) -> str | None:
        """A cell as text: ISO dates, numbers without a tail of zeros."""
        value = cell.value
        if value is None:
            return None
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, (datetime, date, time, timedelta)):
            return moment_text(value)
        if isinstance(value, (int, float)):
            return number_text(value, cell.number_format or "", self.decimal)
        text = str(value).strip()
        return text or None


def moment_text(value: date | time | timedelta) -> str:
    """A date, time or both in ISO form; midnight of a day is the day alone."""
    if isinstance(value, timedelta):
        return str(value) if value >= timedelta(days=1) else (datetime.min + value).strftime("%H:%M:%S")
    if isinstance(value, datetime):
        # A spreadsheet stores days as floating numbers: half a second is rounding.
        rounded = (value + timedelta(microseconds=500_000)).replace(microsecond=0)
        return rounded.strftime("%Y-%m-%d" if rounded.time() == time() else "%Y-%m-%dT%H:%M:%S")
    if isinstance(value, date):
        return value.isoformat()
    return value.strftime("%H:%M:%S")


def number_text(value: float, number_format: str, decimal: str) -> str:
    """A number as the sheet shows it: whole numbers without a point, 15 digits at most."""
    if not math.isfinite(value):
        return str(value)
    exact = Decimal(value) if isinstance(value, int) else Decimal(f"{value:.15g}")
    if exact == exact.to_integral_value():
        whole = format(exact.quantize(Decimal(1)) if abs(exact) < Decimal("1e27") else exact, "f")
        if _PADDED.fullmatch(number_format) and not whole.startswith("-"):
            return whole.zfill(len(number_format))
        return whole
    return format(exact, "f").replace(".", decimal)


def read(path: Path, *, sheet: str | None, decimal: str, include_hidden: bool) -> Sheet:
    """Read one sheet of a workbook.

    Parameters
    ----------
    path
        The workbook.
    sheet
        Its name; None takes the only one that is shown.
    decimal
        Decimal sign in which numbers are written out.
    include_hidden
        Whether a hidden sheet may be the only one.

    Raises
    ------
    FileProblem
        The file is no sound workbook, or the sheet cannot be told.
    """
    checked = archive.check(path)
    place, notes = _choose(checked.sheets, sheet, include_hidden, path.name)
    xml = archive.sheet(path, place)
    facts = archive.facts(xml)
    if facts.last_column > MAX_COLUMNS:
        raise FileProblem(
            f"{path.name}: {facts.last_column:,} columns, more than {MAX_COLUMNS}. {NOTHING_IMPORTED}"
        )
    if checked.has_macros:
        notes.append(f"{path.name}: the workbook carries macros; they were not run.")
    values = _Values(decimal)
    rows, is_1904 = _rows(path, place, xml, facts, values)
    return Sheet(place.name, rows, facts, is_1904, tuple(notes))


def _choose(
    sheets: tuple[archive.SheetPlace, ...], wanted: str | None, include_hidden: bool, name: str
) -> tuple[archive.SheetPlace, list[str]]:
    listed = ", ".join(repr(one.name) for one in sheets)
    if wanted is not None:
        found = [one for one in sheets if one.name == wanted]
        if not found:
            raise FileProblem(
                f"{name}: there is no sheet {wanted!r}. {NOTHING_IMPORTED} Its sheets: {listed}."
            )
        return found[0], []
    shown = [one for one in sheets if include_hidden or not one.is_hidden]
    if not shown:
        raise FileProblem(
            f'{name}: all sheets are hidden. {NOTHING_IMPORTED} Name one in the mapping (sheet = "..."): {listed}.'
        )
    if len(shown) > 1:
        raise FileProblem(
            f'{name}: {len(shown)} sheets. {NOTHING_IMPORTED} Name one in the mapping (sheet = "..."): '
            f"{', '.join(repr(one.name) for one in shown)}."
        )
    hidden = [repr(one.name) for one in sheets if one.is_hidden and one is not shown[0]]
    notes = [f"{name}: hidden sheets were not read: {', '.join(hidden)}."] if hidden else []
    return shown[0], notes


def _rows(
    path: Path, place: archive.SheetPlace, xml: bytes, facts: SheetFacts, values: _Values
) -> tuple[dict[int, list[str | None]], bool]:
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    if not facts.last_row:
        return {}, False
    try:
        with warnings.catch_warnings():
            # What the library cannot keep on saving (lists, conditional formats) is
            # nothing to a reader of values.
            warnings.simplefilter("ignore")
            book = load_workbook(
                archive.slim(path, place, xml), read_only=True, data_only=True, keep_links=False
            )
            try:
                found = book[place.name]
                found.reset_dimensions()
                rows: dict[int, list[str | None]] = {}
                cells = found.iter_rows(min_row=1, max_row=facts.last_row, max_col=facts.last_column)
                for number, row in enumerate(cells, start=1):
                    texts = [values.text(cell, number, column) for column, cell in enumerate(row, start=1)]
                    if any(text is not None for text in texts):
                        rows[number] = texts
                return rows, book.epoch == _FIRST_1904
            finally:
                book.close()
    except (KeyError, ValueError, TypeError, AttributeError, IndexError, InvalidFileException) as problem:
        raise FileProblem(
            f"{path.name}: the sheet {place.name!r} cannot be read ({type(problem).__name__}). {NOTHING_IMPORTED} "
            "Save the workbook again as .xlsx."
        ) from None


def serial_moment(number: float, is_1904: bool) -> str:
    """The day, or day and time, of a serial number in the workbook's date system.

    Raises
    ------
    ValueError
        The number is no day of that system.
    """
    from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, from_excel

    if not 1 <= number < 2_958_466:
        raise ValueError("a serial number of a day lies between 1 and 2,958,465")
    moment = from_excel(number, CALENDAR_MAC_1904 if is_1904 else CALENDAR_WINDOWS_1900)
    return moment_text(moment)


def address(row: int, column: int) -> str:
    """Address of a cell, such as C14."""
    return f"{column_letters(column)}{row}"
