"""Text that a spreadsheet would run: marked in what a spreadsheet opens, and unmarked again."""

from __future__ import annotations

import polars as pl

#: A spreadsheet takes a text that begins so for a formula. One that is marked already is marked
#: once more, so that taking one mark away always gives back what was recorded.
_FORMULA = r"^'*[=+\-@\t\r＝＋－＠]"
_MARKED = r"^'+[=+\-@\t\r＝＋－＠]"
GUARD_RULE = (
    "Text cells of the CSV and XLSX files that begin with = + - @, a tab, a return or a full-width form of these, "
    "after any apostrophes, carry one more leading apostrophe; the other files hold them as recorded."
)


def guard(frame: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, int]]:
    """Text that a spreadsheet would run gets a leading apostrophe; numbers stay numbers.

    Returns
    -------
    (frame, cells)
        ``cells`` counts the guarded cells of each column that has one.
    """
    cells, changed = {}, []
    for name, kind in frame.schema.items():
        if kind != pl.String:
            continue
        found = frame[name].str.contains(_FORMULA)
        if count := int(found.sum() or 0):
            cells[name] = count
            changed.append(
                pl.when(pl.col(name).str.contains(_FORMULA))
                .then("'" + pl.col(name))
                .otherwise(pl.col(name))
                .alias(name)
            )
    return frame.with_columns(changed), cells


def unguard(frame: pl.DataFrame) -> pl.DataFrame:
    """The text as recorded, from a guarded file."""
    return frame.with_columns(
        pl.when(pl.col(name).str.contains(_MARKED))
        .then(pl.col(name).str.slice(1))
        .otherwise(pl.col(name))
        .alias(name)
        for name, kind in frame.schema.items()
        if kind == pl.String
    )
