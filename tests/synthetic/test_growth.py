"""The generator grows without a loop over procedures."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from synthetic_data import generate

if TYPE_CHECKING:
    from types import FrameType

_HERE = str(Path(generate.__file__).parent)


def calls(folder: Path, procedures: int) -> int:
    """Calls of the generator's own functions while it writes a registry."""
    number = 0

    def count(frame: FrameType, event: str, _: object) -> None:
        nonlocal number
        number += event == "call" and frame.f_code.co_filename.startswith(_HERE)

    sys.setprofile(count)
    try:
        generate.write(folder, procedures=procedures)
    finally:
        sys.setprofile(None)
    return number


def test_ten_times_the_procedures_take_no_more_steps(tmp_path):
    few, many = calls(tmp_path / "few", 500), calls(tmp_path / "many", 5_000)

    assert few > 100
    assert many < 1.5 * few


def test_all_tables_grow_with_the_procedures(demo, large):
    for table in (
        "patients",
        "findings",
        "targeting",
        "specimens",
        "pathology",
        "reviews",
        "followup",
        "complications",
    ):
        ratio = large.table(table).height / demo.table(table).height
        assert 5.5 < ratio < 8.0, table
