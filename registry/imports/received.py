"""What every reader hands to intake: rows as text, with the place each came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import polars as pl


@dataclass(frozen=True)
class ReceivedFile:
    """One file as it was received; its bytes are kept under their hash before parsing."""

    name: str
    path: Path
    sha256: str
    size: int


@dataclass(frozen=True)
class Malformed:
    """A source row that could not be read or converted, kept as text.

    ``line`` is the physical line (or spreadsheet row) where the record starts,
    ``place`` the column header or cell address, ``value`` what stood there (None
    where it must not be repeated), ``message`` what is wrong and ``hint`` what to do.
    ``cells`` are the row's original cells by header; ``raw`` the text of a row whose
    cells cannot be told apart. ``rule`` is a short stable name such as ``ragged_row``.
    """

    file: str
    table: str | None
    line: int
    rule: str
    message: str
    hint: str = ""
    place: str = ""
    value: str | None = None
    cells: dict[str, str | None] = field(default_factory=dict)
    raw: str | None = None
    quarantine_id: str | None = None


@dataclass(frozen=True)
class CleanCsv:
    """A CSV file that was found sound and can be read as it stands.

    Sound: UTF-8 without a mark, every record as long as the header, nothing malformed,
    no cell with spaces at its edges, nothing that needs normalising. ``fields`` names
    the field of each column in file order (None for a column that is left out),
    ``records`` counts the rows below the header, ``new_line`` is the line ending.
    """

    file: ReceivedFile
    fields: tuple[str | None, ...]
    records: int
    new_line: str = "\n"


class SourceTable:
    """Rows for one table of the data dictionary.

    Parameters
    ----------
    table
        Name of the table.
    file
        File (and sheet) named in messages.
    rows
        The rows, or a function that reads them when they are first asked for: one
        String column per field that the source carries (absent fields are absent
        columns; an empty cell is null), ``_line`` (Int64, where the record starts)
        and, where the file was one of held rows sent back, ``_quarantine_id`` and
        ``_confirm`` (String, null allowed).
    columns
        Header under which the source carries each field, for messages.
    csv
        The file itself, where it can be read as it stands; intake then need not hold
        its rows in memory.
    """

    def __init__(
        self,
        table: str,
        file: str,
        rows: pl.DataFrame | Callable[[], pl.DataFrame],
        columns: dict[str, str],
        csv: CleanCsv | None = None,
    ) -> None:
        self.table = table
        self.file = file
        self.columns = columns
        self.csv = csv
        self._rows = rows

    @cached_property
    def frame(self) -> pl.DataFrame:
        """The rows, read now if they were not before."""
        return self._rows() if callable(self._rows) else self._rows


@dataclass(frozen=True)
class Received:
    """Everything one source gave, before any rule of the data dictionary was applied.

    ``grouped`` is True where one source line feeds several tables: such rows are
    accepted or held together. ``originals`` then maps a file name to its source rows
    (``_line`` and the original columns as text), so that held rows can be given back
    in the form in which they came. ``notes`` are sentences for the intake report.
    """

    format: str
    files: tuple[ReceivedFile, ...]
    tables: tuple[SourceTable, ...]
    malformed: tuple[Malformed, ...] = ()
    notes: tuple[str, ...] = ()
    grouped: bool = False
    originals: dict[str, pl.DataFrame] = field(default_factory=dict)
    mapping_name: str = ""
    mapping_version: str = ""
    mapping_sha256: str = ""
