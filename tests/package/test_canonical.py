"""The canonical form of rows, written out by hand and by Python's own csv module."""

from __future__ import annotations

import csv
import hashlib
import io
from datetime import date

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from registry.package.canonical import read_csv, rows_sha256
from registry.package.guard import guard, unguard
from tests.package.made import package, parquet

ROWS = pl.DataFrame(
    {
        "key": ["b", "a"],
        "day": [date(2025, 1, 2), None],
        "is_so": [True, None],
        "number": [0.1, 50.0],
        "text": ["x, y", ""],
    }
)


def sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def test_rows_are_sorted_by_their_key_and_an_empty_text_is_not_an_empty_cell():
    text = 'key,day,is_so,number,text\na,,,50.0,""\nb,2025-01-02,true,0.1,"x, y"\n'

    assert rows_sha256(ROWS, ["key"]) == sha256(text)


def test_the_order_of_the_rows_does_not_matter_and_any_cell_does():
    assert rows_sha256(ROWS.reverse(), ["key"]) == rows_sha256(ROWS, ["key"])
    assert rows_sha256(ROWS.with_columns(number=pl.lit(0.1)), ["key"]) != rows_sha256(ROWS, ["key"])


def test_many_rows_are_hashed_as_one_text():
    """45,000 rows, more than are written at once."""
    numbers = list(range(45_000))
    text = "key\n" + "".join(f"{number}\n" for number in numbers)

    assert rows_sha256(pl.DataFrame({"key": numbers[::-1]}), ["key"]) == sha256(text)


def test_python_writes_the_same_form(registry, tmp_path):
    """repr gives the shortest decimal that reads back; csv quotes where needed."""
    report = package(registry, tmp_path / "out")
    rows = parquet(tmp_path / "out").sort("procedure_id")
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(rows.columns)
    for row in rows.iter_rows():
        writer.writerow(
            [str(cell).lower() if isinstance(cell, bool) else "" if cell is None else cell for cell in row]
        )

    assert sha256(buffer.getvalue()) == report.rows_sha256


words = st.text(st.characters(codec="utf-8", exclude_characters="\r\x00"), max_size=6)


@given(st.lists(st.one_of(st.none(), words, st.sampled_from(["'=1", "''=1", "=1", "-"])), min_size=1))
def test_guards_come_off_as_they_went_on(cells):
    frame = pl.DataFrame({"words": cells}, schema={"words": pl.String})

    assert unguard(guard(frame)[0]).equals(frame)


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1))
def test_numbers_come_back_from_the_text_file_to_the_last_bit(tmp_path_factory, numbers):
    path = tmp_path_factory.mktemp("numbers") / "n.csv"
    frame = pl.DataFrame({"number": numbers}, schema={"number": pl.Float64})
    frame.write_csv(path)

    assert read_csv(path, {"number": "decimal"}).equals(frame)
