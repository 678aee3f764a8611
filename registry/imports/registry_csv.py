"""The native form: CSV files named after the tables of the data dictionary."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import polars as pl

from registry.dictionary import TABLE_ORDER, Table, tables
from registry.errors import FileProblem
from registry.imports import delimited, header, returned
from registry.imports.faulty import NOTHING_IMPORTED
from registry.imports.received import CleanCsv, Malformed, Received, ReceivedFile, SourceTable

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from registry.imports.faulty import Faulty
    from registry.imports.structure import Structure

FORMAT = "registry-csv"


@dataclass
class _Found:
    """What the files of one source gave so far."""

    files: list[ReceivedFile] = field(default_factory=list)
    tables: list[SourceTable] = field(default_factory=list)
    malformed: list[Malformed] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


def read(path: Path, *, ignore_unknown: bool = False) -> Received:
    """Read a folder of ``<table>.csv`` files, or one such file.

    Parameters
    ----------
    path
        The folder or file. Files of other kinds in a folder are left aside and noted.
    ignore_unknown
        Leave out columns that the data dictionary does not have, instead of refusing.

    Returns
    -------
    Received
        Tables in dictionary order, parents first. A file that holds only its header
        gives a table of no rows.

    Raises
    ------
    FileProblem
        A file cannot be used. The faults of all files are named at once.
    """
    found = _Found()
    try:
        files = _files(path, found)
    except OSError as problem:
        raise FileProblem(f"{path.name}: cannot be read ({problem.strerror}). {NOTHING_IMPORTED}") from None
    return _received(files, ignore_unknown, found)


def read_files(paths: Sequence[Path], *, ignore_unknown: bool = False) -> Received:
    """Read some ``<table>.csv`` files as one source; the rest as :func:`read`."""
    return _received(paths, ignore_unknown, _Found())


def _received(files: Sequence[Path], ignore_unknown: bool, found: _Found) -> Received:
    for one in files:
        try:
            _read_file(one, tables()[one.stem.lower()], ignore_unknown, found)
        except FileProblem as problem:
            found.problems.append(str(problem))
        except OSError as problem:
            found.problems.append(f"{one.name}: cannot be read ({problem.strerror}). {NOTHING_IMPORTED}")
    if found.problems:
        raise FileProblem("\n".join(found.problems))
    return Received(
        FORMAT,
        tuple(found.files),
        tuple(sorted(found.tables, key=lambda one: TABLE_ORDER.index(one.table))),
        tuple(found.malformed),
        tuple(found.notes),
    )


# -- files -------------------------------------------------------------------------


def _files(path: Path, found: _Found) -> list[Path]:
    """CSV files of the source; what is none of ours becomes a problem or a note."""
    if not path.exists():
        raise FileProblem(f"{path.name}: there is no such file or folder. {NOTHING_IMPORTED}")
    if not path.is_dir():
        candidates = [path]
        if path.suffix.lower() != ".csv":
            raise FileProblem(
                f"{path.name}: not a CSV file named after a table. {NOTHING_IMPORTED} "
                "Other sources, workbooks among them, are read through a mapping file (--mapping)."
            )
    else:
        candidates = sorted(one for one in path.iterdir() if one.is_file() and not one.name.startswith("."))
    files = []
    for one in candidates:
        if one.suffix.lower() != ".csv":
            found.notes.append(f"{one.name}: not a CSV file; left aside.")
        elif one.stem.lower() in tables():
            files.append(one)
        else:
            near = header.nearest(one.stem, list(tables()))
            found.problems.append(
                f"{one.name}: no table has this name{near or '.'} {NOTHING_IMPORTED} "
                f"Files are named after the tables: {', '.join(TABLE_ORDER)}."
            )
    if not files and not found.problems:
        raise FileProblem(f"{path.name}: the folder holds no CSV file. {NOTHING_IMPORTED}")
    return files


def _read_file(path: Path, table: Table, ignore_unknown: bool, found: _Found) -> None:
    file, structure = delimited.look(path)
    _check_columns(structure.header, table, ignore_unknown, path.name)
    found.files.append(file)
    if not structure.records and not structure.faulty:
        found.notes.append(f"{path.name}: the file holds only its header; 0 rows.")
    left_out = [name for name in structure.header if name not in table.names and name not in returned.COLUMNS]
    if left_out:
        listed = ", ".join(header.shortened(name) for name in left_out)
        found.notes.append(f"{path.name}: columns left out as asked: {listed}.")
    found.malformed += [_malformed(one, path.name, table) for one in structure.faulty]
    columns = {name: name for name in structure.header if name in table.names}
    if structure.is_clean and not returned.is_returned(structure.header) and not _needs_reading(structure):
        fields = tuple(name if name in columns else None for name in structure.header)
        ending = next(iter(structure.new_lines), "\n")
        clean = CleanCsv(file, fields, structure.records, ending)
        found.tables.append(
            SourceTable(table.name, path.name, lambda: _frame(file, structure, table, [])[0], columns, clean)
        )
        return
    frame, unreadable = _frame(file, structure, table, found.notes)
    found.malformed += unreadable
    found.tables.append(SourceTable(table.name, path.name, frame, columns))


def _needs_reading(structure: Structure) -> bool:
    """Whether the file holds characters on which the report may have to say something."""
    return delimited.has_notable(structure.distinct)


def _frame(
    file: ReceivedFile, structure: Structure, table: Table, notes: list[str]
) -> tuple[pl.DataFrame, list[Malformed]]:
    """The sound rows of a file under their field names; rows still unreadable apart."""
    _, data = delimited.read_bytes(file.path, file.sha256)
    frame = delimited.parse(data, structure, name=file.name)
    unreadable: list[Malformed] = []
    if returned.is_returned(structure.header):
        frame, unreadable = returned.take(frame, file.name, table.name)
    kept = [name for name in frame.columns if name in table.names or name.startswith("_")]
    frame = frame.select(kept)
    numbers = [one.name for one in table.fields if one.type in ("integer", "decimal")]
    if delimited.has_notable(structure.distinct):
        frame, said = delimited.minus_note(frame, numbers, file.name)
        notes += [note for note in (said, delimited.twice_encoded_note(frame, file.name)) if note]
    return frame, unreadable


def _malformed(one: Faulty, name: str, table: Table) -> Malformed:
    mark = one.cells.get(returned.MARK)
    cells = {column: cell for column, cell in one.cells.items() if column not in returned.COLUMNS}
    return Malformed(
        name,
        table.name,
        one.line,
        one.rule,
        one.message,
        one.hint,
        one.column,
        None,
        cells,
        one.raw,
        mark or None,
    )


# -- columns -----------------------------------------------------------------------


def _check_columns(columns: tuple[str, ...], table: Table, ignore_unknown: bool, name: str) -> None:
    """Refuse unknown columns and missing keys, all at once.

    Raises
    ------
    FileProblem
        With the nearest known name beside each unknown one.
    """
    known = [column for column in columns if column in table.names]
    if len(columns) == 1 and not known and any(mark in columns[0] for mark in ";\t|"):
        raise FileProblem(
            f"{name}: the columns are not separated by commas. {NOTHING_IMPORTED} "
            "Save the file with commas, or read it through a mapping that states the delimiter."
        )
    if not known:
        # The first line may be a row: it must not be repeated in a message.
        raise FileProblem(
            f"{name}: none of the {len(columns)} names in the first line is a field of {table.name}. "
            f"{NOTHING_IMPORTED} The first line must name the columns."
        )
    unknown = [column for column in columns if column not in table.names and column not in returned.COLUMNS]
    needed = [key for key in table.key if table[key].always_required and key not in columns]
    parts = []
    if unknown and not ignore_unknown:
        parts += [
            f"unknown column {header.shortened(column)}{header.nearest(column, list(table.names)) or '.'}"
            for column in unknown
        ]
    if needed:
        parts.append(
            f"missing column{'s' if len(needed) > 1 else ''} {', '.join(needed)}, which name the row."
        )
    if parts:
        hint = (
            " Unknown columns can be left out with --ignore-unknown."
            if unknown and not ignore_unknown
            else ""
        )
        raise FileProblem(f"{name}: {' '.join(parts)} {NOTHING_IMPORTED}{hint}")
