"""Needle placements on the record page: one column each, their points on one line."""

from __future__ import annotations

import pytest

from dashboards.components import record_parts

POINTS = [f"{point}_{axis}_mm" for point in ("planned", "seen", "achieved") for axis in "xyz"]
OTHERS = (
    "frame",
    "needle_axis",
    "needle_direction",
    "verification",
    "stand_in",
    "aperture_judgement",
    "action",
)


def placement(attempt: int, **cells: object) -> dict[str, object]:
    return {"attempt": attempt, **dict.fromkeys((*OTHERS, *POINTS)), **cells}


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[tuple]:
    made: list[tuple] = []
    monkeypatch.setattr(record_parts, "table", lambda *cells, **_: made.append(cells))
    return made


def test_each_placement_is_a_column_and_what_nobody_recorded_is_left_out(drawn: list[tuple]):
    """A true minus and thin spaces; of the second point two axes are known."""
    first = placement(1, frame="SUITE", planned_x_mm=-24.1, planned_y_mm=25.8, planned_z_mm=69.0)
    second = placement(2, frame="SUITE", planned_x_mm=3.0, planned_z_mm=0.5)
    record_parts.placements([first, second])

    ((caption, heads, rows),) = drawn
    assert (caption, heads) == ("Needle placements", ["Attempt", "1", "2"])
    assert rows == [
        ["Frame", "SUITE", "SUITE"],
        ["Planned", "x\u202f\u221224.1, y\u202f25.8, z\u202f69\u202fmm", "x\u202f3, z\u202f0.5\u202fmm"],
    ]
