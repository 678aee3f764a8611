"""One cell of a mapped source as text of the data dictionary, or why it cannot be read."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

import polars as pl

from registry.imports import characters, xlsx
from registry.imports.mapping_parts import UNITS, FieldSource, Mapping, folded

if TYPE_CHECKING:
    from collections.abc import Callable

_Made = TypeVar("_Made")
#: What a spreadsheet shows in place of a result it cannot give.
ERROR_VALUES = frozenset(
    {"#REF!", "#N/A", "#VALUE!", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!", "#SPILL!", "#CALC!", "#GETTING_DATA"}
)
#: Explicit word that empties a field; intake knows what to do with it.
ERASE = "<erase>"
_ISO_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_ISO_TIME = re.compile(r"[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?")
_ISO_MOMENT = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,6})?)?)(Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_COMPARATORS = "<>≤≥~≈="
_SERIAL = re.compile(r"[0-9]{1,7}(\.[0-9]+)?")


class Unreadable(Exception):
    """A cell cannot be read: a stable rule name, a sentence, and what to do."""

    def __init__(self, rule: str, message: str, hint: str) -> None:
        super().__init__(message)
        self.rule = rule
        self.message = message
        self.hint = hint


class Converter:
    """Reads the cells of one field.

    Parameters
    ----------
    source
        What the mapping says of the field.
    mapping
        What it says of the whole source: signs, formats, empty words.
    is_1904
        Whether a workbook counts days from 1904.
    """

    def __init__(self, source: FieldSource, mapping: Mapping, is_1904: bool) -> None:
        self._source = source
        self._mapping = mapping
        self._is_1904 = is_1904
        self._zone = ZoneInfo(mapping.time_zone) if mapping.time_zone else None
        by_type: dict[str, Callable[[str], str | None]] = {
            "integer": self._number,
            "decimal": self._number,
            "date": self._day,
            "timestamp": self._moment,
        }
        self._typed = by_type.get(source.field.type, self._words)

    def read(self, parts: tuple[str | None, ...]) -> str | None:
        """Text of the field from its source cells (None where empty).

        Raises
        ------
        Unreadable
            The cell holds something, but nothing that can be read as the mapping says.
        """
        source = self._source
        if source.kind == "constant":
            return source.text
        cells = [self._cell(part) for part in parts]
        if source.kind == "join":
            return self._joined(cells)
        cell = next((one for one in cells if one is not None), None)
        if cell == ERASE:
            return ERASE
        found = self._transformed(cell) if cell is not None else None
        return source.if_empty if found is None else found

    def _said(self, text: str) -> str:
        if self._source.field.sensitive:
            return "The value"
        return repr(text if len(text) <= 40 else text[:37] + "...")

    def _cell(self, text: str | None) -> str | None:
        if text is None:
            return None
        if character := characters.first_refused(text):
            raise Unreadable(
                "refused_character",
                f"The cell holds {characters.named(character)}.",
                "Remove it; type the cell again if it cannot be seen.",
            )
        if text.upper() in ERROR_VALUES:
            raise Unreadable(
                "spreadsheet_error",
                f"The cell holds the spreadsheet error {text.upper()}.",
                "Correct the formula.",
            )
        word = folded(text)
        return None if word in self._mapping.null_words and word not in self._source.codes else text

    def _joined(self, cells: list[str | None]) -> str | None:
        filled = [cell for cell in cells if cell is not None]
        if not filled:
            return None
        if len(filled) < len(cells):
            empty = self._source.columns[cells.index(None)]
            raise Unreadable(
                "part_missing", f"{empty} is empty beside a filled part.", "Fill in both, or neither."
            )
        if self._source.field.type == "timestamp":
            return self._zoned(
                datetime.fromisoformat(f"{self._day(filled[0])}T{self._time(filled[1])}"), filled[1]
            )
        return self._cased(self._typed(self._source.text.join(filled)))

    def _transformed(self, text: str) -> str | None:
        source = self._source
        if source.split_by:
            parts = text.split(source.split_by)
            if len(parts) < source.split_part:
                raise Unreadable(
                    "part_missing",
                    f"{self._said(text)} has no part {source.split_part} when split by {source.split_by!r}.",
                    "Complete it.",
                )
            text = parts[source.split_part - 1].strip()
        if source.pattern:
            # The engine of this library takes linear time whatever the pattern is.
            found = pl.Series([text]).str.extract(source.pattern, 1)[0]
            if found is None:
                raise Unreadable(
                    "pattern",
                    f"{self._said(text)} does not have the form that the mapping expects.",
                    "Correct it.",
                )
            text = str(found).strip()
        if not text:
            return None
        code = source.codes.get(folded(text))
        return code if code is not None else self._cased(self._typed(text))

    def _cased(self, text: str | None) -> str | None:
        if text is None or not self._source.letters:
            return text
        return text.upper() if self._source.letters == "upper" else text.lower()

    # -- texts ---------------------------------------------------------------------

    def _words(self, text: str) -> str:
        width = self._source.width
        if width and len(text) != width:
            raise Unreadable(
                "width",
                f"{self._said(text)} has {len(text)} characters, not {width}: the width differs. It is never padded silently.",
                "Leading zeros are lost where an identifier was stored as a number; restore them in the source.",
            )
        return text

    # -- numbers -------------------------------------------------------------------

    def _number(self, text: str) -> str | None:
        bare = text.replace(characters.MINUS, "-").strip()
        if bare[0] in _COMPARATORS:
            if not self._source.comparator:
                raise Unreadable(
                    "comparator",
                    f"{self._said(text)} has a comparator before the number.",
                    "State in the mapping what it means (comparator).",
                )
            if self._source.comparator == "leave_empty":
                return None
            bare = bare.lstrip(_COMPARATORS).strip()
        for suffix in sorted(self._source.suffixes, key=len, reverse=True):
            if folded(bare).endswith(suffix) and len(bare) > len(suffix):
                bare = bare[: -len(suffix)].rstrip(" -")
                break
        plain = self._plain_number(bare, text)
        if self._source.field.type == "integer" and re.fullmatch(r"-?[0-9]+\.0+", plain):
            plain = plain.partition(".")[0]
        factor = UNITS.get((self._source.unit, self._source.field.unit))
        if factor is None:
            return plain
        return format(Decimal(f"{float(Fraction(plain) * factor):.10g}"), "f")

    def _plain_number(self, bare: str, text: str) -> str:
        """A number with a decimal point and no thousands sign."""
        decimal, thousands = re.escape(self._mapping.decimal), re.escape(self._mapping.thousands)
        if re.fullmatch(rf"[+-]?([0-9]+({decimal}[0-9]+)?|{decimal}[0-9]+)", bare):
            return bare.lstrip("+").replace(self._mapping.decimal, ".")
        if thousands and re.fullmatch(rf"[+-]?[0-9]{{1,3}}({thousands}[0-9]{{3}})+({decimal}[0-9]+)?", bare):
            return bare.lstrip("+").replace(self._mapping.thousands, "").replace(self._mapping.decimal, ".")
        if not thousands and re.fullmatch(r"[+-]?[0-9]{1,3}([.,' ][0-9]{3})+([.,][0-9]+)?", bare):
            raise Unreadable(
                "ambiguous_number",
                f"{self._said(text)} has an ambiguous thousands separator.",
                "Write the number without one, or state thousands in the mapping.",
            )
        raise Unreadable(
            "not_a_number",
            f"{self._said(text)} is not a number with the decimal sign {self._mapping.decimal!r}.",
            "Correct it; a unit that stands behind the number is stated in the mapping (suffix).",
        )

    # -- dates and times -----------------------------------------------------------

    def _day(self, text: str) -> str:
        if match := _ISO_MOMENT.fullmatch(text):
            text = match.group(1)
        if _ISO_DAY.fullmatch(text):
            return self._checked(lambda: date.fromisoformat(text), text).isoformat()
        if self._source.date_format:
            return self._checked(
                lambda: datetime.strptime(text, self._source.date_format).date(), text
            ).isoformat()
        return self._serial(text, "date", "date_format")[:10]

    def _time(self, text: str) -> str:
        if _ISO_TIME.fullmatch(text):
            return text
        if match := _ISO_MOMENT.fullmatch(text):
            return match.group(2)
        form = self._source.time_format
        if not form:
            raise self._no_format(text, "time", "time_format")
        return self._checked(lambda: datetime.strptime(text, form).time(), text).isoformat()

    def _moment(self, text: str) -> str:
        if match := _ISO_MOMENT.fullmatch(text):
            if match.group(3):
                return text
            return self._zoned(self._checked(lambda: datetime.fromisoformat(text), text), text)
        if _ISO_DAY.fullmatch(text):
            return text
        form = self._source.datetime_format
        if form:
            moment = self._checked(lambda: datetime.strptime(text, form), text)
            return moment.isoformat() if moment.tzinfo else self._zoned(moment, text)
        found = self._serial(text, "date and time", "datetime_format")
        return self._zoned(datetime.fromisoformat(found), text) if "T" in found else found

    def _checked(self, make: Callable[[], _Made], text: str) -> _Made:
        try:
            return make()
        except ValueError:
            raise Unreadable(
                "not_a_date",
                f"{self._said(text)} is not a calendar date or time of the form that the mapping states.",
                "Correct it, or correct the form in the mapping.",
            ) from None

    def _serial(self, text: str, what: str, key: str) -> str:
        plain = text.replace(self._mapping.decimal, ".")
        if self._mapping.format != "xlsx" or not _SERIAL.fullmatch(plain):
            raise self._no_format(text, what, key)
        if not self._mapping.serial_dates:
            raise Unreadable(
                "serial_date",
                "The cell holds a bare number in a date column; it may be a day in disguise.",
                "Format the column as a date, or state serial_dates = true in the mapping.",
            )
        return self._checked(lambda: xlsx.serial_moment(float(plain), self._is_1904), text)

    def _no_format(self, text: str, what: str, key: str) -> Unreadable:
        return Unreadable(
            "ambiguous_date",
            f"{self._said(text)} is not a {what} in ISO form, and the mapping states no {key}.",
            f"State the form in the mapping ({key}), or write YYYY-MM-DD.",
        )

    def _zoned(self, moment: datetime, text: str) -> str:
        """The moment, with its offset where the source's zone is stated."""
        if self._zone is None:
            return moment.isoformat()
        first, second = moment.replace(tzinfo=self._zone), moment.replace(tzinfo=self._zone, fold=1)
        if first.utcoffset() == second.utcoffset():
            return first.isoformat()
        exists = first.astimezone(UTC).astimezone(self._zone).replace(tzinfo=None) == moment
        why = (
            "occurs twice on the night clocks go back"
            if exists
            else "does not exist: clocks go forward over it"
        )
        raise Unreadable(
            "time_twice" if exists else "time_never",
            f"{self._said(text)} {why}.",
            "Give the offset from UTC with the time.",
        )
