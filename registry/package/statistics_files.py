"""Files of statistics programs: Stata, SPSS and the SAS transport format, with labels.

A code of a list becomes a whole number with a value label in Stata and SPSS, which label
numbers only; the codebook's order is that of the numbers. The transport format has no value
labels and keeps the codes. In all of them an empty text cannot be told from a missing one.
Their times of writing are set to one day, so that the same rows give the same bytes.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import polars as pl

from registry.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from registry.package.book import Entry

STATISTICS = ("dta", "sav", "xpt")
#: Value labels are cut by SPSS beyond this.
_VALUE_LABEL = 120
_SAV_DATE, _SAV_TIME = slice(92, 101), slice(101, 109)
_XPT_TIME = rb"\d\d[A-Z]{3}\d\d:\d\d:\d\d:\d\d"
_DTA_TIME = rb"\d\d [A-Z][a-z]{2} \d{4} \d\d:\d\d"


def write(frame: pl.DataFrame, book: Sequence[Entry], path: Path, title: str) -> None:
    """Write one file; its ending says which format.

    Raises
    ------
    UsageProblem
        The library that writes it is not installed.
    """
    try:
        import pyreadstat
    except ModuleNotFoundError:
        raise UsageProblem(
            f"--formats {path.suffix[1:]}: needs pyreadstat. Install biopsy-outcomes[formats], or leave the format out."
        ) from None
    kind = path.suffix[1:]
    coded = kind != "xpt"
    plain, labels = _plain(frame, book, coded=coded)
    given: dict[str, Any] = {
        "file_label": title[:64],
        "column_labels": {one.name: one.label for one in book},
    }
    if kind == "dta":
        pyreadstat.write_dta(plain, path, version=15, variable_value_labels=labels, **given)
    elif kind == "sav":
        measures = {one.name: _measure(one) for one in book}
        pyreadstat.write_sav(
            plain, path, row_compress=True, variable_value_labels=labels, variable_measure=measures, **given
        )
    else:
        pyreadstat.write_xport(plain, path, table_name="PROCEDUR", file_format_version=8, **given)
    _set_time(path, kind)


def _plain(
    frame: pl.DataFrame, book: Sequence[Entry], *, coded: bool
) -> tuple[pl.DataFrame, dict[str, dict[int, str]]]:
    """Numbers for yes and no and, where asked, for codes; and what the numbers mean."""
    changed, labels = [], {}
    for one in book:
        if one.type == "yes/no":
            changed.append(pl.col(one.name).cast(pl.Int8))
            labels[one.name] = {0: "no", 1: "yes"}
        elif one.is_coded and coded:
            numbers = {code: place for place, code in enumerate(one.codes, start=1)}
            changed.append(pl.col(one.name).replace_strict(numbers, return_dtype=pl.Int16, default=None))
            labels[one.name] = {
                numbers[code]: f"{code}: {label}"[:_VALUE_LABEL] for code, label in one.codes.items()
            }
    return frame.with_columns(changed), labels


def _measure(entry: Entry) -> str:
    if entry.is_coded or entry.type in ("yes/no", "text"):
        return "nominal"
    return "scale"


def _set_time(path: Path, kind: str) -> None:
    """One day in place of the time of writing, in the first bytes of the file."""
    with path.open("r+b") as handle:
        head = bytearray(handle.read(4096))
        if kind == "sav":
            head[_SAV_DATE], head[_SAV_TIME] = b"01 Jan 80", b"00:00:00"
        elif kind == "xpt":
            head[:] = re.sub(_XPT_TIME, b"01JAN80:00:00:00", bytes(head))
        else:
            head[:] = re.sub(_DTA_TIME, b"01 Jan 1980 00:00", bytes(head), count=1)
        handle.seek(0)
        handle.write(head)
