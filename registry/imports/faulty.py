"""Records that are set apart before a delimited file is parsed, in words."""

from __future__ import annotations

from dataclasses import dataclass, field

from registry.imports import characters, quotes

#: A longer cell is a mistake in the file; 64 KiB holds every report we know of.
CELL_LIMIT = 64 * 1024
NOTHING_IMPORTED = "Nothing was imported."


@dataclass(frozen=True)
class Faulty:
    """A record that is not sound.

    ``cells`` are its texts by column. Where they cannot be told apart they are None,
    and ``raw`` holds the record (cut at the cell limit).
    """

    line: int
    rule: str
    message: str
    hint: str
    column: str = ""
    cells: dict[str, str | None] = field(default_factory=dict)
    raw: str | None = None


class FaultyRecords:
    """Describes faulty records of one file."""

    def __init__(self, name: str, columns: tuple[str, ...], delimiter: bytes) -> None:
        self._name = name
        self._columns = columns
        self._delimiter = delimiter.decode()

    def has_long_cell(self, record: bytes) -> bool:
        """Whether any cell of a record is longer than the limit."""
        return any(len(cell.encode("utf-8")) > CELL_LIMIT for cell in self._split(record))

    def _split(self, record: bytes) -> list[str]:
        return quotes.cells(record.decode("utf-8").rstrip("\r\n"), self._delimiter)

    def describe(self, record: bytes, line: int, found: int, misquoted: bool, too_long: bool) -> Faulty:
        """Say what is wrong with a record.

        Parameters
        ----------
        record
            Its bytes, valid UTF-8.
        line
            Physical line on which it starts.
        found
            Number of its cells.
        misquoted
            Whether its quotation marks do not fit.
        too_long
            Whether a cell is longer than the limit, or the record may hold one.
        """
        text = record.decode("utf-8").rstrip("\r\n")
        raw, unknown = text[:CELL_LIMIT], dict.fromkeys(self._columns)
        if misquoted:
            return Faulty(
                line,
                "misplaced_quote",
                "A quotation mark stands inside a cell that is not quoted, or text follows a closing one.",
                'Put the whole cell in quotation marks and double each one inside it ("").',
                cells=unknown,
                raw=raw,
            )
        if found != len(self._columns):
            return Faulty(
                line,
                "ragged_row",
                f"Expected {len(self._columns)} fields, found {found}.",
                "Compare the line with the header: a separator is missing or too many, or a text with one in it is not quoted.",
                cells=unknown,
                raw=raw,
            )
        cells = dict(zip(self._columns, self._split(record), strict=False))
        if too_long:
            column = next(
                (name for name, cell in cells.items() if len(cell.encode("utf-8")) > CELL_LIMIT), ""
            )
            return Faulty(
                line,
                "too_long",
                f"The cell is longer than {CELL_LIMIT // 1024} KiB.",
                "Shorten it.",
                column,
                cells=unknown,
                raw=raw,
            )
        return self._bad_character(line, cells, record)

    def _bad_character(self, line: int, cells: dict[str, str], record: bytes) -> Faulty:
        unquoted = b'"' not in record
        found = ((name, characters.first_refused(cell, layout_too=unquoted)) for name, cell in cells.items())
        # A tab or CR beside quoted cells of the same record is not looked up cell by cell.
        beside = ("", "\t" if b"\t" in record else "\r")
        column, character = next(((name, one) for name, one in found if one), beside)
        return Faulty(
            line,
            "refused_character",
            f"The cell holds {characters.named(character)}.",
            "Remove it; type the cell again if it cannot be seen.",
            column,
            cells=dict(cells),
        )
