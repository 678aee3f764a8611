"""Sources of other shapes, CSV or workbook, read through a mapping file."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import polars as pl

from registry.dictionary import TABLE_ORDER, tables
from registry.errors import FileProblem
from registry.imports import delimited, grid, header, returned
from registry.imports.convert import Converter, Unreadable
from registry.imports.faulty import NOTHING_IMPORTED
from registry.imports.mapping_parts import FieldSource, Mapping, RowSource, folded
from registry.imports.received import Malformed, Received, SourceTable

if TYPE_CHECKING:
    from pathlib import Path

    from registry.imports.grid import Grid

FORMAT = "mapped"
_MARKS = ("_line", "_quarantine_id", "_confirm")


@dataclass
class _Problems:
    """Source rows that could not be converted, by line."""

    grid: Grid
    found: list[Malformed] = field(default_factory=list)
    _seen: set[tuple[int, str, str]] = field(default_factory=set)

    def add(self, line: int, column: str, value: str | None, rule: str, message: str, hint: str) -> None:
        """Note a cell that cannot be converted; the same cell and rule once."""
        if (line, column, rule) in self._seen:
            return
        self._seen.add((line, column, rule))
        place = self.grid.place(column, line)
        self.found.append(Malformed(self.grid.name, None, line, rule, message, hint, place, value))

    @property
    def lines(self) -> set[int]:
        """Lines that hold at least one such cell."""
        return {one.line for one in self.found}


def read(path: Path, mapping: Mapping, *, include_hidden: bool = False) -> Received:
    """Read a CSV file or workbook as its mapping says.

    Parameters
    ----------
    path
        The source file.
    mapping
        What feeds which field.
    include_hidden
        Take hidden rows, columns and sheets of a workbook too.

    Returns
    -------
    Received
        Rows by table; ``grouped`` where a source row feeds more than one. A row with a
        cell that cannot be converted is in ``malformed`` and in no table.

    Raises
    ------
    FileProblem
        The file cannot be used, or lacks mapped columns.
    """
    if path.is_dir():
        raise FileProblem(f"{path.name}: a folder. {NOTHING_IMPORTED} A mapping reads one file at a time.")
    try:
        source = grid.read(path, mapping, include_hidden)
    except OSError as problem:
        raise FileProblem(f"{path.name}: cannot be read ({problem.strerror}). {NOTHING_IMPORTED}") from None
    notes = [*source.notes, *_check_columns(source, mapping)]
    if not source.frame.height and not source.malformed:
        notes.append(f"{source.name}: no rows below the header; 0 rows.")
    frame, noted = _noted_characters(source.frame, source, mapping)
    notes += noted
    problems = _Problems(source)
    lines = set(frame["_line"].to_list())
    for fault in source.faults:
        if fault.column in mapping.used and fault.line in lines:
            problems.add(fault.line, fault.column, None, fault.rule, fault.message, fault.hint)
    made = [_rows(one, frame, source, mapping, problems) for one in mapping.rows]
    grouped = len(mapping.rows) > 1
    kept = [rows.filter(~pl.col("_line").is_in(sorted(problems.lines))) for rows in made]
    if grouped:
        kept = _merged(kept, mapping.rows)
    originals = _originals(frame, source, mapping)
    table = None if grouped else mapping.rows[0].table
    return Received(
        FORMAT,
        (source.file,),
        tuple(_tables(kept, mapping, source.name)),
        tuple(_malformed(source, problems.found, originals, table)),
        tuple(notes),
        grouped,
        {source.name: originals},
        mapping.name,
        mapping.version,
        mapping.sha256,
    )


# -- the source as a whole ---------------------------------------------------------


def _check_columns(source: Grid, mapping: Mapping) -> list[str]:
    """Refuse a source that lacks mapped columns; name the columns that nothing reads."""
    missing = [column for column in mapping.used if column not in source.columns]
    needed = [column for column in missing if column not in source.hidden_columns]
    keys = {
        column
        for row in mapping.rows
        for one in row.fields
        if one.field.name in tables()[row.table].key
        for column in one.columns
    }
    parts = [f"{header.shortened(column)}{header.nearest(column, source.columns)}" for column in needed]
    parts += [
        f"{header.shortened(column)} (hidden; see --include-hidden)"
        for column in missing
        if column in source.hidden_columns and column in keys
    ]
    if parts:
        raise FileProblem(
            f"{source.name}: the mapping {mapping.name} needs columns that are not there: {', '.join(parts)}. "
            f"{NOTHING_IMPORTED} Correct the file, or the mapping if the source has changed."
        )
    unread = [
        column for column in source.columns if column not in mapping.used and column not in mapping.ignored
    ]
    if not unread:
        return []
    listed = ", ".join(header.shortened(column) for column in unread)
    return [
        f"{source.name}: columns that the mapping does not read: {listed}. Name them under ignored to leave this note out."
    ]


def _noted_characters(frame: pl.DataFrame, source: Grid, mapping: Mapping) -> tuple[pl.DataFrame, list[str]]:
    """Read U+2212 in number columns as minus, and name cells that look encoded twice."""
    numbers = {
        column
        for row in mapping.rows
        for one in row.fields
        if one.field.type in ("integer", "decimal")
        for column in one.columns
        if column in source.columns
    }
    frame, minus = delimited.minus_note(frame, sorted(numbers), source.name)
    used = [column for column in mapping.used if column in source.columns]
    twice = delimited.twice_encoded_note(frame.select("_line", *used), source.name)
    return frame, [note for note in (minus, twice) if note]


def _originals(frame: pl.DataFrame, source: Grid, mapping: Mapping) -> pl.DataFrame:
    """Source rows as they go back when they are held."""
    number = [returned.ROW_NUMBER] if mapping.uses_row_number else []
    return frame.select("_line", *source.columns, *number)


def _malformed(
    source: Grid, found: list[Malformed], originals: pl.DataFrame, table: str | None
) -> list[Malformed]:
    """All rows that could not be read or converted, with their source cells."""
    lines = {one.line for one in found}
    rows = {
        row["_line"]: row
        for row in originals.filter(pl.col("_line").is_in(sorted(lines))).iter_rows(named=True)
    }
    marks = {}
    if "_quarantine_id" in source.frame.columns:
        marks = dict(
            zip(source.frame["_line"].to_list(), source.frame["_quarantine_id"].to_list(), strict=True)
        )
    made = [Malformed(**{**one.__dict__, "table": table}) for one in source.malformed]
    for one in found:
        cells = {name: text for name, text in rows[one.line].items() if name != "_line"}
        made.append(
            Malformed(
                **{**one.__dict__, "table": table, "cells": cells, "quarantine_id": marks.get(one.line)}
            )
        )
    return sorted(made, key=lambda one: one.line)


# -- rows of one table -------------------------------------------------------------


def _rows(
    row: RowSource, frame: pl.DataFrame, source: Grid, mapping: Mapping, problems: _Problems
) -> pl.DataFrame:
    """Rows of one table as text of the data dictionary; what fails goes to ``problems``."""
    if row.when is not None:
        frame = frame.filter(_holds(frame, row, mapping))
    lines = frame["_line"].to_list()
    hidden = set(source.hidden_columns) - set(source.columns)
    made: dict[str, list[str | None]] = {}
    for one in row.fields:
        if hidden & set(one.columns):
            continue
        made[one.field.name] = _field(one, frame, lines, source, mapping, problems)
    marks = [name for name in _MARKS if name in frame.columns]
    return pl.DataFrame(made, schema=dict.fromkeys(made, pl.String)).with_columns(frame.select(marks))


def _holds(frame: pl.DataFrame, row: RowSource, mapping: Mapping) -> pl.Series:
    """Whether the condition of a row holds, for each source row."""
    if row.when is None or row.when.column not in frame.columns:
        return pl.Series([False] * frame.height, dtype=pl.Boolean)
    words = row.when.words
    found = []
    for text in frame[row.when.column].to_list():
        word = folded(text) if text is not None else ""
        found.append(word in words if words else bool(word) and word not in mapping.null_words)
    return pl.Series(found, dtype=pl.Boolean)


def _field(
    one: FieldSource,
    frame: pl.DataFrame,
    lines: list[int],
    source: Grid,
    mapping: Mapping,
    problems: _Problems,
) -> list[str | None]:
    if one.kind == "row":
        return _row_keys(one, frame, lines, problems)
    columns = [frame[column].to_list() for column in one.columns]
    if not columns:
        return [one.text] * len(lines)
    converter = Converter(one, mapping, source.is_1904)
    told = {(fault.line, fault.column) for fault in source.faults}
    known: dict[tuple[str | None, ...], str | Unreadable | None] = {}
    made: list[str | None] = []
    for line, *parts in zip(lines, *columns, strict=True):
        cells = tuple(parts)
        if cells not in known:
            known[cells] = _converted(converter, cells)
        found = known[cells]
        if isinstance(found, Unreadable) and any((line, column) in told for column in one.columns):
            found = None
        if isinstance(found, Unreadable):
            value = None if one.field.sensitive else " ".join(part for part in cells if part is not None)
            problems.add(line, one.label, value, found.rule, found.message, found.hint)
            found = None
        made.append(found)
    return made


def _converted(converter: Converter, cells: tuple[str | None, ...]) -> str | Unreadable | None:
    try:
        return converter.read(cells)
    except Unreadable as problem:
        return problem


def _row_keys(
    one: FieldSource, frame: pl.DataFrame, lines: list[int], problems: _Problems
) -> list[str | None]:
    """Keys made of the number of the row in its source."""
    made: list[str | None] = []
    for line, number in zip(lines, frame[returned.ROW_NUMBER].to_list(), strict=True):
        if number is None or not number.isascii() or not number.isdigit():
            problems.add(
                line,
                returned.ROW_NUMBER,
                None,
                "row_number",
                "The number of the row in its source is missing.",
                f"Fill in the column {returned.ROW_NUMBER}: the first row below the header is 1.",
            )
            made.append(None)
        else:
            made.append(one.text.format(row=int(number)))
    return made


# -- one source row, several tables ------------------------------------------------


def _merged(made: list[pl.DataFrame], rows: tuple[RowSource, ...]) -> list[pl.DataFrame]:
    """Rows that several source rows repeat word for word are kept once.

    A patient stands on every line of her biopsies. Rows of the same key that differ are
    all kept: intake holds them and names their lines. A source row always keeps at
    least one row, so that a line that was sent twice is seen and not lost.
    """
    repeated: list[set[int]] = []
    last: dict[int, int] = {}
    kept: set[int] = set()
    seen: dict[str, set[tuple[str | None, ...]]] = defaultdict(set)
    for place, (row, frame) in enumerate(zip(rows, made, strict=True)):
        names = sorted(name for name in frame.columns if not name.startswith("_"))
        again: set[int] = set()
        for line, *cells in frame.select("_line", *names).iter_rows():
            content = (*names, *cells)
            last[line] = place
            (again if content in seen[row.table] else kept).add(line)
            seen[row.table].add(content)
        repeated.append(again)
    return [
        frame.filter(
            ~pl.col("_line").is_in(sorted(line for line in again if line in kept or last[line] != place))
        )
        for place, (frame, again) in enumerate(zip(made, repeated, strict=True))
    ]


def _tables(made: list[pl.DataFrame], mapping: Mapping, name: str) -> list[SourceTable]:
    """One source table per table of the dictionary, parents first."""
    parts: dict[str, list[pl.DataFrame]] = defaultdict(list)
    labels: dict[str, dict[str, str]] = defaultdict(dict)
    for row, frame in zip(mapping.rows, made, strict=True):
        parts[row.table].append(frame)
        for one in row.fields:
            labels[row.table].setdefault(one.field.name, one.label)
    return [
        SourceTable(
            table,
            name,
            pl.concat(parts[table], how="diagonal").sort("_line", maintain_order=True),
            labels[table],
        )
        for table in TABLE_ORDER
        if table in parts
    ]
