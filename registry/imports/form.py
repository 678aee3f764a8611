"""Rows entered by hand, handed to intake as if they were read from a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from registry.imports.received import Received, SourceTable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FORMAT = "form"


def received(rows: Mapping[str, Sequence[Mapping[str, str | None]]]) -> Received:
    """What a form says, as text.

    Parameters
    ----------
    rows
        Table -> its rows, each field -> text. An empty text or None says nothing.
    """
    made = []
    for table, lines in rows.items():
        names = list(dict.fromkeys(name for line in lines for name in line))
        frame = pl.DataFrame(
            [{name: (line.get(name) or "").strip() or None for name in names} for line in lines],
            schema=dict.fromkeys(names, pl.String),
        ).with_columns(pl.int_range(1, len(lines) + 1, dtype=pl.Int64).alias("_line"))
        made.append(SourceTable(table, "form", frame, {name: name for name in names}))
    return Received(FORMAT, (), tuple(made))
