"""What every reader hands to intake: rows as text, with the place each came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
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
class SourceTable:
    """Rows for one table of the data dictionary.

    ``frame`` holds one String column per field that the source carries (absent
    fields are absent columns; an empty cell is null), ``_line`` (Int64, where the
    record starts) and, where the file was one of held rows sent back,
    ``_quarantine_id`` and ``_confirm`` (String, null allowed). ``columns`` maps each
    field to the header under which the source carries it (for messages).
    """

    table: str
    file: str
    frame: pl.DataFrame
    columns: dict[str, str]


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
