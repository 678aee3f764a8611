"""What commands share: options, the day at the site, and how rows are printed."""

from __future__ import annotations

import csv
import io
import json
import sys
from contextlib import contextmanager
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from registry.errors import RegistryBusy, UsageProblem
from registry.numerals import NARROW

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from registry.site import Site
    from registry.store import Registry


class Format(StrEnum):
    """How rows are printed."""

    TABLE = "table"
    JSON = "json"
    CSV = "csv"


FolderArgument = Annotated[Path, typer.Argument(help="Registry folder.", show_default=False)]
FormatOption = Annotated[Format, typer.Option("--format", help="How rows are printed.")]
AsOfOption = Annotated[
    str | None,
    typer.Option(
        "--as-of",
        help="Nothing dated after this day counts (YYYY-MM-DD). Default: today at the site.",
        show_default=False,
    ),
]
FromOption = Annotated[
    str | None, typer.Option("--from", help="First day on which a procedure started.", show_default=False)
]
ToOption = Annotated[
    str | None, typer.Option("--to", help="Last day on which a procedure started.", show_default=False)
]


def today_at(site: Site) -> date:
    """The calendar day at the site."""
    return datetime.now(ZoneInfo(site.time_zone)).date()


def day(text: str | None, option: str) -> date | None:
    """A day given on the command line.

    Raises
    ------
    UsageProblem
        Not a calendar date as YYYY-MM-DD.
    """
    if text is None:
        return None
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError:
        raise UsageProblem(f"{option} {text}: is not a calendar date. Write it as 2026-06-30.") from None


@contextmanager
def reading(folder: Path) -> Iterator[Registry]:
    """The registry for reading; while another process owns it, the copy that this one publishes."""
    from registry import snapshot
    from registry.store import Registry

    try:
        opened = Registry.open(folder)
    except RegistryBusy:
        last = snapshot.published(folder)
        if last is None:
            raise
        opened = Registry.of_snapshot(folder)
        typer.echo(last.line(), err=True)
    with opened:
        yield opened


def say(text: str) -> None:
    """One line on standard output."""
    typer.echo(text)


def shown(value: Any) -> str:
    """A value in a table."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 1e6 else f"{value:.0f}"
    if isinstance(value, dict):
        return ", ".join(f"{key}: {part}" for key, part in value.items())
    return str(value)


#: A word of a heading or a cell that is no longer than this is not broken.
_WHOLE_WORD = 16
#: Nor is one of the first column.
_WHOLE_NAME = 32
#: A cell that is no longer than this stands on one line: a moment, a median with its limits.
_SHORT = 20
#: Characters between two columns, and the same at both ends.
_BETWEEN = 3


def _longest_word(texts: list[str], most: int) -> int:
    return min(max((len(word) for text in texts for word in text.split()), default=0), most)


def _is_number(value: Any) -> bool:
    if isinstance(value, str):  # thousands stand apart
        return value.replace(NARROW, "").isdigit()
    return value is None or (isinstance(value, int | float) and not isinstance(value, bool))


def _widths(heads: list[str], cells: list[list[str]], room: int) -> list[int] | None:
    """Widths of the columns of one table; what is left over goes to the texts that wrap most.

    Short cells stand on one line where there is room for them, else words stay whole, else
    those of the headings and the first column. None where there is no room even for these:
    words broken anywhere are read more easily than figures that are cut off.
    """
    columns = list(zip(*cells, strict=True))
    most = [max(1, len(head), *map(len, texts)) for head, texts in zip(heads, columns, strict=True)]
    # A column in which nothing stands, not even a heading, is one wide.
    of_heads = [max(1, _longest_word([head], _WHOLE_WORD)) for head in heads]
    # What the line is about: the name of a measure, the key of a procedure.
    of_heads[0] = max(of_heads[0], _longest_word(list(columns[0]), _WHOLE_NAME))
    words = [_longest_word(list(texts), _WHOLE_WORD) for texts in columns]
    lines = [max(map(len, texts)) for texts in columns]
    short = [line if line <= _SHORT else word for line, word in zip(lines, words, strict=True)]
    left = room - _BETWEEN * len(heads)
    for least in (short, words, [0] * len(heads)):
        widths = [max(pair) for pair in zip(of_heads, least, strict=True)]
        if sum(widths) <= left:
            break
    else:
        return None
    while sum(widths) < min(left, sum(most)):
        wanting = max(range(len(heads)), key=lambda place: most[place] / widths[place])
        widths[wanting] += 1
    return widths


def print_rows(
    rows: Sequence[dict[str, Any]],
    format_: Format,
    columns: Sequence[str] | None = None,
    *,
    width: int | None = None,
) -> None:
    """Rows as a table, JSON array or CSV with a header; a table at most ``width`` columns wide."""
    names = list(columns or (rows[0].keys() if rows else []))
    if format_ is Format.JSON:
        say(
            json.dumps(
                [{name: row.get(name) for name in names} for row in rows],
                indent=2,
                default=str,
                ensure_ascii=False,
            )
        )
        return
    if format_ is Format.CSV:
        buffer = io.StringIO()
        writer = csv.writer(buffer, lineterminator="\n")
        writer.writerow(names)
        for row in rows:
            writer.writerow(
                [
                    json.dumps(v, ensure_ascii=False)
                    if isinstance(v := row.get(name), dict)
                    else ""
                    if v is None
                    else v
                    for name in names
                ]
            )
        sys.stdout.write(buffer.getvalue())
        return
    if not rows:
        say("(none)")
        return
    from rich import box
    from rich.console import Console
    from rich.table import Table

    numeric = {name for name in names if all(_is_number(row.get(name)) for row in rows)}
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    cells = [[shown(row.get(name)) for name in names] for row in rows]
    console = Console(highlight=False, markup=False)
    # In a pipe there is no width to fit to: cutting columns would lose figures.
    there = console.width if console.is_terminal else 220
    room = min(there, width or there)
    heads = [name.replace("_", " ") for name in names]
    widths = _widths(heads, cells, room)
    for place, (name, head) in enumerate(zip(names, heads, strict=True)):
        table.add_column(
            head,
            justify="right" if name in numeric else "left",
            overflow="fold",
            width=widths[place] if widths else None,
        )
    for line in cells:
        table.add_row(*line)
    Console(highlight=False, markup=False, width=room).print(table)
