"""Columns to CSV: the native form, in the order of the data dictionary."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.dictionary import tables
from synthetic_data.columns import NO_DAY, NO_MINUTE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.dictionary import Field

#: Decimals kept where one is not enough.
_DECIMALS = {"mass_g": 2, "calibration_cps_per_kbq": 2}
_MICROSECONDS_PER_MINUTE = 60_000_000

#: A column as the other modules hand it over: numbers, or text that is ready.
Column = np.ndarray | pl.Series


def chosen(texts: list[str] | tuple[str, ...], number: np.ndarray) -> pl.Series:
    """Texts by number; missing where the number is negative."""
    return pl.Series(texts, dtype=pl.String).gather(_numbers(number, pl.UInt32))


def identifiers(prefix: str, number: np.ndarray, width: int = 7) -> pl.Series:
    """Keys such as P0000012 for the numbers 11; missing where the number is negative."""
    counted = _numbers(np.where(number < 0, -1, number + 1), pl.Int64)
    return pl.select(pl.lit(prefix) + counted.cast(pl.String).str.zfill(width)).to_series()


def _numbers(array: np.ndarray, kind: type[pl.DataType]) -> pl.Series:
    known = array >= 0
    series = pl.Series(np.where(known, array, 0)).cast(kind)
    return series if known.all() else series.set(pl.Series(~known), None)


def _moments(array: np.ndarray, missing: int, scale: int, kind: pl.DataType | type[pl.DataType]) -> pl.Series:
    known = array > missing
    series = (
        pl.Series(np.where(known, array, 0) * scale)
        .cast(pl.Int32 if kind == pl.Date else pl.Int64)
        .cast(kind)
    )
    return series if known.all() else series.set(pl.Series(~known), None)


def _decimals(field: Field, array: np.ndarray) -> pl.Series:
    if array.dtype.kind in "iu":
        return _numbers(array, pl.Int64)
    # Adding 0.0 turns -0.0 into 0.0, which would print as another text.
    rounded = np.round(array, _DECIMALS.get(field.name, 1)) + 0.0
    return pl.Series(rounded).fill_nan(None)


def _series(field: Field, column: Column) -> pl.Series:
    if isinstance(column, pl.Series):
        return column
    if field.codes:
        return chosen(field.codes, column)
    if field.type == "date":
        return _moments(column, NO_DAY, 1, pl.Date)
    if field.type == "timestamp":
        return _moments(column, NO_MINUTE, _MICROSECONDS_PER_MINUTE, pl.Datetime("us"))
    if field.type == "decimal":
        return _decimals(field, column)
    return _numbers(column, pl.Int64)


def write(folder: Path, table: str, columns: Mapping[str, Column]) -> None:
    """Write one table; an optional column without any value is left out.

    Raises
    ------
    ValueError
        A column is not in the data dictionary.
    """
    declared = tables()[table]
    if unknown := set(columns) - set(declared.names):
        raise ValueError(f"{table}: {', '.join(sorted(unknown))} not in the data dictionary")
    series = {}
    for field in declared.fields:
        if field.name in columns:
            one = _series(field, columns[field.name]).rename(field.name)
            if field.always_required or one.null_count() < one.len():
                series[field.name] = one
    with (folder / f"{table}.csv").open("wb") as file:
        pl.DataFrame(list(series.values())).write_csv(
            file, datetime_format="%Y-%m-%dT%H:%M", line_terminator="\n"
        )
