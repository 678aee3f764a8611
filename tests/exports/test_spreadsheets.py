"""What a spreadsheet would run is marked, and nothing else is."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import polars as pl
import pytest

from registry.package.guard import guard
from registry.store import Registry
from tests.build import load
from tests.exports.made import manifest_of, rows_of, run


@pytest.mark.parametrize(
    "text", ["=cmd|' /C calc'!A0", "+1", "-1", "@x", "\tx", "\rx", "＝x", "＋x", "－x", "＠x"]
)
def test_text_that_a_spreadsheet_would_run_gets_an_apostrophe(text: str):
    frame, cells = guard(pl.DataFrame({"words": [text, "a=b", "", None]}))
    assert (frame["words"].to_list(), cells) == (["'" + text, "a=b", "", None], {"words": 1})


def test_numbers_and_dates_stay_what_they_are():
    frame = pl.DataFrame({"shift_mm": [-1.5, None], "year": [-1, 2], "day": [date(2025, 1, 1), None]})
    guarded, cells = guard(frame)
    assert (guarded.equals(frame), cells) == (True, {})


def test_the_csv_is_guarded_and_says_so_and_the_parquet_is_as_recorded(registry: Registry, tmp_path: Path):
    load(
        registry,
        {"procedures": [{"procedure_id": "P1", "marker_shape": "=1+1", "marker_shift_x_mm": "-3.5"}]},
    )
    run(registry, tmp_path / "out")
    row = next(
        one for one in rows_of(tmp_path / "out" / "data" / "procedures.csv") if one["procedure_id"] == "P1"
    )
    recorded = pl.read_parquet(tmp_path / "out" / "data" / "procedures.parquet").filter(
        pl.col("procedure_id") == "P1"
    )["marker_shape"][0]
    cells = manifest_of(tmp_path / "out")["guarded"]["cells"]
    assert (row["marker_shape"], row["marker_shift_x_mm"], recorded, cells) == (
        "'=1+1",
        "-3.5",
        "=1+1",
        {"marker_shape": 1},
    )
