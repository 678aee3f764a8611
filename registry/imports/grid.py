"""A source as a grid of text: the same whether it came from CSV or from a workbook."""

from __future__ import annotations

import io
import re
import unicodedata
from collections import Counter
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import polars as pl

from registry.errors import FileProblem
from registry.imports import delimited, header, returned, xlsx
from registry.imports.faulty import NOTHING_IMPORTED
from registry.imports.mapping_parts import Mapping, folded, spaced
from registry.imports.received import Malformed, ReceivedFile
from registry.imports.structure import scan

if TYPE_CHECKING:
    from pathlib import Path

#: Stands in a cell whose row cannot be read, so that nothing is filled down past it.
UNKNOWN = "\x00"


@dataclass(frozen=True)
class CellFault:
    """A cell that holds no value although it looks filled, or shares one with others."""

    line: int
    column: str
    rule: str
    message: str
    hint: str


@dataclass(frozen=True)
class Grid:
    """Rows of one source file.

    ``frame`` holds ``_line``, ``(row)`` (number of the row, first is 1), the source
    columns as text, and ``_quarantine_id`` and ``_confirm`` where the file was one of
    held rows. ``faults`` matter only where their column is mapped. ``letters`` are the
    column letters of a workbook.
    """

    file: ReceivedFile
    name: str
    columns: tuple[str, ...]
    frame: pl.DataFrame
    malformed: tuple[Malformed, ...] = ()
    faults: tuple[CellFault, ...] = ()
    notes: tuple[str, ...] = ()
    is_1904: bool = False
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: tuple[str, ...] = ()
    letters: dict[str, str] = field(default_factory=dict)

    def place(self, column: str, line: int) -> str:
        """Header of a column, with the address of the cell in a workbook."""
        if column not in self.letters:
            return column
        return f"{column} (cell {self.letters[column]}{line})"


def read(path: Path, mapping: Mapping, include_hidden: bool) -> Grid:
    """Read a source as its mapping says, rows to skip left out and cells filled down.

    Raises
    ------
    FileProblem
        The file as a whole cannot be used.
    """
    with path.open("rb") as handle:
        first = handle.readline(64 * 1024)
    if returned.MARK.encode() in first and returned.MARK not in mapping.used:
        # Held rows come back as plain CSV, whatever their source was.
        plain = replace(
            mapping,
            format="csv",
            encoding="utf-8",
            delimiter=",",
            header_row=1,
            columns=None,
            comment_prefix="",
        )
        grid = _as_returned(_from_csv(path, plain))
    elif mapping.format == "xlsx":
        grid = _from_xlsx(path, mapping, include_hidden)
    else:
        grid = _from_csv(path, mapping)
    return _without_hidden(
        _filled_down(_without_empty(_without_skipped(grid, mapping), mapping), mapping), include_hidden
    )


# -- delimited text ----------------------------------------------------------------


def _from_csv(path: Path, mapping: Mapping) -> Grid:
    file, raw = delimited.read_bytes(path)
    header.check_is_text(raw, path.name)
    data = delimited.as_utf8(raw, mapping.encoding, path.name)
    if mapping.comment_prefix:
        data = re.sub(rb"(?m)^" + re.escape(mapping.comment_prefix.encode()) + rb"[^\n]*", b"", data)
    data = _below_title(data, mapping.header_row)
    structure = scan(io.BytesIO(data).read, path.name, delimiter=mapping.delimiter, columns=mapping.columns)
    columns = tuple(spaced(name) for name in structure.header)
    _refuse_double(columns, path.name)
    frame = delimited.parse(
        data, structure, delimiter=mapping.delimiter, has_header=mapping.columns is None, name=path.name
    )
    frame = frame.rename(dict(zip(structure.header, columns, strict=True)))
    malformed = [
        Malformed(
            path.name,
            None,
            one.line,
            one.rule,
            one.message,
            one.hint,
            one.column,
            None,
            dict(one.cells),
            one.raw,
        )
        for one in structure.faulty
    ]
    frame = _numbered(frame, [one.line for one in malformed])
    malformed = _numbered_cells(malformed, frame, mapping)
    return Grid(file, path.name, columns, frame, tuple(malformed))


def _as_returned(grid: Grid) -> Grid:
    """A file of held rows: what was added to it goes to its own places."""
    frame, unreadable = returned.take(grid.frame, grid.name, None)
    columns = tuple(name for name in grid.columns if name not in returned.COLUMNS)
    return replace(grid, frame=frame, columns=columns, malformed=(*grid.malformed, *unreadable))


def _below_title(data: bytes, header_row: int) -> bytes:
    """The bytes with the lines above the header emptied, so that line numbers stay."""
    place = 0
    for _ in range(header_row - 1):
        end = data.find(b"\n", place)
        if end < 0:
            return b""
        place = end + 1
    return b"\n" * (header_row - 1) + data[place:]


def _numbered(frame: pl.DataFrame, other_lines: list[int]) -> pl.DataFrame:
    """The frame with the number of each row, counting the rows that could not be read."""
    number = returned.ROW_NUMBER
    if number in frame.columns:
        return frame
    order = {
        line: place for place, line in enumerate(sorted([*frame["_line"].to_list(), *other_lines]), start=1)
    }
    numbers = [str(order[line]) for line in frame["_line"].to_list()]
    return frame.with_columns(pl.Series(number, numbers, dtype=pl.String))


def _numbered_cells(malformed: list[Malformed], frame: pl.DataFrame, mapping: Mapping) -> list[Malformed]:
    """Unreadable rows with their number, where keys are made of it."""
    if not mapping.uses_row_number:
        return malformed
    lines = sorted([*frame["_line"].to_list(), *(one.line for one in malformed)])
    return [
        replace(one, cells={**one.cells, returned.ROW_NUMBER: str(lines.index(one.line) + 1)})
        for one in malformed
    ]


def _refuse_double(columns: tuple[str, ...], name: str) -> None:
    double = [column for column, times in Counter(columns).items() if times > 1]
    if double:
        listed = ", ".join(header.shortened(column) for column in double)
        raise FileProblem(
            f"{name}: the columns {listed} stand twice. {NOTHING_IMPORTED} Name each column once."
        )


# -- workbooks ---------------------------------------------------------------------


def _from_xlsx(path: Path, mapping: Mapping, include_hidden: bool) -> Grid:
    file, _ = delimited.read_bytes(path)
    sheet = xlsx.read(path, sheet=mapping.sheet, decimal=mapping.decimal, include_hidden=include_hidden)
    delimited.read_bytes(path, file.sha256)
    name = f"{path.name}, sheet {sheet.name}"
    names = sheet.rows.get(mapping.header_row)
    if names is None:
        raise FileProblem(
            f"{name}: row {mapping.header_row} holds no column names. {NOTHING_IMPORTED} "
            "State in the mapping which row does (header_row)."
        )
    at = {spaced(text): place for place, text in enumerate(names) if text is not None}
    _refuse_double(tuple(spaced(text) for text in names if text is not None), name)
    columns = tuple(at)
    lines = [
        line
        for line, texts in sheet.rows.items()
        if line > mapping.header_row and any(texts[p] for p in at.values())
    ]
    frame = pl.DataFrame(
        {
            "_line": lines,
            **{
                column: [_composed(sheet.rows[line][place]) for line in lines] for column, place in at.items()
            },
        },
        schema={"_line": pl.Int64, **dict.fromkeys(columns, pl.String)},
    )
    hidden = tuple(column for column, place in at.items() if place + 1 in sheet.facts.hidden_columns)
    return Grid(
        file,
        name,
        columns,
        _numbered(frame, []),
        faults=tuple(_cell_faults(sheet, at, mapping)),
        notes=(*sheet.notes, *_date_note(sheet, name)),
        is_1904=sheet.is_1904,
        hidden_rows=frozenset(sheet.facts.hidden_rows & set(lines)),
        hidden_columns=hidden,
        letters={column: xlsx.address(0, place + 1).rstrip("0") for column, place in at.items()},
    )


def _composed(text: str | None) -> str | None:
    return text if text is None or text.isascii() else unicodedata.normalize("NFC", text)


def _date_note(sheet: xlsx.Sheet, name: str) -> list[str]:
    if not sheet.is_1904:
        return []
    days = (xlsx.serial_moment(45000, True), xlsx.serial_moment(45000, False))
    return [
        f"{name}: the workbook counts days from 1904, and its dates were read that way "
        f"(serial number 45000 is {days[0]}, not {days[1]})."
    ]


def _cell_faults(sheet: xlsx.Sheet, at: dict[str, int], mapping: Mapping) -> list[CellFault]:
    by_place = {place + 1: column for column, place in at.items()}
    found = [
        CellFault(
            row, by_place[column], "formula_without_result", "The formula has no stored result.",
            "Open the workbook in a spreadsheet program, let it calculate, and save it.",
        )
        for row, column in sorted(sheet.facts.unfinished)
        if column in by_place
    ]  # fmt: skip
    for merged in sheet.facts.merged:
        down = merged.first_column == merged.last_column
        for place in range(merged.first_column, merged.last_column + 1):
            column = by_place.get(place)
            if column is None or (down and column in mapping.fill_down):
                continue
            found += [
                CellFault(
                    row, column, "merged_cells", f"The cell is part of the merged range {merged.text}.",
                    "Unmerge it and fill in each row, or name the column in the mapping (fill_down).",
                )
                for row in range(max(merged.first_row, mapping.header_row + 1), min(merged.last_row, sheet.facts.last_row) + 1)
            ]  # fmt: skip
    return found


# -- rows left out, cells filled down ----------------------------------------------


def _without_skipped(grid: Grid, mapping: Mapping) -> Grid:
    skip = mapping.skip
    if skip is None or skip.column not in grid.columns:
        return grid
    words = [folded(text or "") in skip.words for text in grid.frame[skip.column].to_list()]
    if not any(words):
        return grid
    gone = grid.frame.filter(pl.Series(words))
    lines = ", ".join(str(line) for line in gone["_line"].head(10).to_list())
    note = f"{grid.name}: {gone.height} rows were skipped as the mapping says (skip_rows): lines {lines}."
    return replace(grid, frame=grid.frame.filter(~pl.Series(words)), notes=(*grid.notes, note))


def _without_empty(grid: Grid, mapping: Mapping) -> Grid:
    """Rows that hold something of their own in a mapped column."""
    used = [column for column in mapping.used if column in grid.columns]
    if not used:
        return grid
    faulty = sorted({one.line for one in grid.faults if one.column in used and one.rule != "merged_cells"})
    frame = grid.frame.filter(pl.any_horizontal(pl.col(used).is_not_null()) | pl.col("_line").is_in(faulty))
    gone = grid.frame.height - frame.height
    notes = [f"{grid.name}: {gone} rows without any mapped cell were left out."] if gone else []
    return replace(grid, frame=frame, notes=(*grid.notes, *notes))


def _filled_down(grid: Grid, mapping: Mapping) -> Grid:
    """Empty cells of some columns take the value above, but never past an unreadable row."""
    columns = [column for column in mapping.fill_down if column in grid.columns]
    if not columns or not (grid.frame.height or grid.malformed):
        return grid
    barrier = pl.DataFrame(
        {
            "_line": [one.line for one in grid.malformed],
            **{column: [UNKNOWN] * len(grid.malformed) for column in columns},
        },
        schema={"_line": pl.Int64, **dict.fromkeys(columns, pl.String)},
    )
    unknown = {(fault.line, fault.column) for fault in grid.faults}
    own = grid.frame.with_columns(
        pl.Series(
            column,
            [
                UNKNOWN if (line, column) in unknown else text
                for line, text in zip(
                    grid.frame["_line"].to_list(), grid.frame[column].to_list(), strict=True
                )
            ],
            dtype=pl.String,
        )
        for column in columns
    )
    whole = pl.concat([own.with_columns(_is_row=True), barrier.with_columns(_is_row=False)], how="diagonal")
    whole = whole.sort("_line").with_columns(pl.col(columns).fill_null(strategy="forward"))
    frame = whole.filter(pl.col("_is_row")).drop("_is_row")
    faults = list(grid.faults)
    for column in columns:
        lines = frame.filter(pl.col(column) == UNKNOWN)["_line"].to_list()
        faults += [
            CellFault(
                line, column, "fill_down", "The row from which the value would be filled down cannot be read.",
                "Correct that row first, or fill in the value here.",
            )
            for line in lines
            if (line, column) not in unknown
        ]  # fmt: skip
    frame = frame.with_columns(pl.col(columns).replace(UNKNOWN, None))
    return replace(grid, frame=frame, faults=tuple(faults))


def _without_hidden(grid: Grid, include_hidden: bool) -> Grid:
    """Leave out hidden rows and columns of a workbook, and say so."""
    notes = list(grid.notes)
    verb = "were imported as asked" if include_hidden else "were not imported; --include-hidden takes them"
    if grid.hidden_rows:
        notes.append(f"{grid.name}: hidden rows {_ranges(sorted(grid.hidden_rows))} {verb}.")
    if grid.hidden_columns:
        notes.append(f"{grid.name}: hidden columns {', '.join(grid.hidden_columns)} {verb}.")
    if include_hidden:
        return replace(grid, notes=tuple(notes))
    return replace(
        grid,
        frame=grid.frame.filter(~pl.col("_line").is_in(sorted(grid.hidden_rows))).drop(grid.hidden_columns),
        columns=tuple(column for column in grid.columns if column not in grid.hidden_columns),
        notes=tuple(notes),
    )


def _ranges(numbers: list[int]) -> str:
    """Row numbers as ranges: 3, 5-9."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][1] + 1:
            parts[-1][1] = number
        else:
            parts.append([number, number])
    return ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in parts)
