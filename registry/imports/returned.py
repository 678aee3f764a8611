"""Files of held rows that come back: the columns that were added to them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from registry.imports.received import Malformed

if TYPE_CHECKING:
    from collections.abc import Iterable

MARK, CONFIRM = "quarantine_id", "confirm"
#: Column that holds a row whose cells could not be told apart.
UNREADABLE = "(unreadable row)"
#: Column that holds the number of a row within its source, where keys are made of it.
ROW_NUMBER = "(row)"
COLUMNS = frozenset({MARK, CONFIRM, "problem", "hint", UNREADABLE, ROW_NUMBER})


def is_returned(header: Iterable[str]) -> bool:
    """Whether a header is that of a file of held rows."""
    return bool(COLUMNS & set(header))


def take(frame: pl.DataFrame, file: str, table: str | None) -> tuple[pl.DataFrame, list[Malformed]]:
    """Put the added columns in their places.

    Parameters
    ----------
    frame
        All columns as they came, and ``_line``.
    file, table
        Where the rows come from, for messages.

    Returns
    -------
    frame, malformed
        The frame without the added columns, with ``_quarantine_id`` and ``_confirm``
        where they were there; and the rows that still hold nothing but the text that
        could not be read.
    """
    names = {MARK: "_quarantine_id", CONFIRM: "_confirm"}
    own = [name for name in frame.columns if name not in COLUMNS and not name.startswith("_")]
    unreadable: list[Malformed] = []
    if UNREADABLE in frame.columns:
        still = pl.col(UNREADABLE).is_not_null() & pl.all_horizontal([pl.col(name).is_null() for name in own])
        for row in frame.filter(still).iter_rows(named=True):
            unreadable.append(
                Malformed(
                    file,
                    table,
                    row["_line"],
                    "unreadable_row",
                    "The cells of the row are still empty.",
                    f"Copy its texts from the column {UNREADABLE} into the other columns.",
                    UNREADABLE,
                    raw=row[UNREADABLE],
                    quarantine_id=row.get(MARK),
                )
            )
        frame = frame.filter(~still)
    frame = frame.rename({old: new for old, new in names.items() if old in frame.columns})
    return frame.drop([name for name in ("problem", "hint", UNREADABLE) if name in frame.columns]), unreadable
