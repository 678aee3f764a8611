"""Rows in one form, whatever file they come from: the same rows have the same SHA-256.

The form is CSV after RFC 4180 with line feeds: a header, then the rows sorted by the key;
days as YYYY-MM-DD, yes and no as true and false, whole numbers in decimal digits, other
numbers as the shortest decimal text that reads back as the same number and with at least one
decimal, an empty cell as nothing, an empty text as a pair of quotes; quotes only where needed.
"""

from __future__ import annotations

import hashlib
import io
from typing import TYPE_CHECKING

import polars as pl

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

FORM = (
    "SHA-256 over UTF-8 CSV (RFC 4180, line feeds, header) of the rows sorted by the key: days YYYY-MM-DD, true and "
    "false, numbers as the shortest decimal text that reads back the same, whole ones of decimal columns with .0, "
    "an empty cell as nothing. Formula guards of the CSV files are taken off first."
)
_PART = 20_000
#: Kind of column as the manifest names it -> as it is read.
KINDS = {
    "text": pl.String,
    "yes/no": pl.Boolean,
    "date": pl.Date,
    "integer": pl.Int64,
    "decimal": pl.Float64,
}


def kind_of(dtype: pl.DataType) -> str:
    """What a column holds, in the words of the codebook."""
    if dtype.is_integer():
        return "integer"
    if dtype.is_float():
        return "decimal"
    return {pl.String: "text", pl.Boolean: "yes/no", pl.Date: "date"}.get(type(dtype), str(dtype))


def sorted_by(frame: pl.DataFrame, key: Sequence[str]) -> pl.DataFrame:
    """The rows in the order of the form."""
    return frame.sort(list(key), nulls_last=False, maintain_order=True) if key else frame


def rows_sha256(frame: pl.DataFrame, key: Sequence[str]) -> str:
    """SHA-256 of the rows in the form."""
    return _digest(sorted_by(frame, key))


def columns_sha256(frame: pl.DataFrame, key: Sequence[str]) -> dict[str, str]:
    """SHA-256 of each column apart, its rows in the order of the form."""
    ordered = sorted_by(frame, key)
    return {name: _digest(ordered.select(name)) for name in ordered.columns}


def _digest(frame: pl.DataFrame) -> str:
    """Part by part, so that the text of all rows never lies in memory."""
    digest = hashlib.sha256()
    for start in range(0, max(frame.height, 1), _PART):
        buffer = io.BytesIO()
        frame.slice(start, _PART).write_csv(
            buffer, include_header=not start, line_terminator="\n", quote_style="necessary"
        )
        digest.update(buffer.getbuffer())
    return digest.hexdigest()


def read_csv(path: Path, columns: dict[str, str]) -> pl.DataFrame:
    """A CSV file of a package, typed as its manifest says."""
    return pl.read_csv(path, schema={name: KINDS[kind] for name, kind in columns.items()})
