"""One database in memory; each test draws its own procedures."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from registry.site import Frame
from tests.measures.build import TABLES, Drawn

if TYPE_CHECKING:
    from collections.abc import Iterator

#: x medial, y cranial, z posterior; hour 12 points to the head.
SUITE = Frame("SUITE", "medial", "cranial", "posterior", "y_plus")


@pytest.fixture(scope="session")
def one_drawing() -> Iterator[Drawn]:
    made = Drawn()
    made.site = replace(made.site, frames={"SUITE": SUITE})
    yield made
    made.close()


@pytest.fixture
def drawn(one_drawing: Drawn) -> Iterator[Drawn]:
    """An empty drawing with the limits that are shipped."""
    one_drawing.rows = {table: [] for table in TABLES}
    before = one_drawing.run("SELECT * FROM site_setting")
    yield one_drawing
    one_drawing.run("DELETE FROM site_setting")
    with one_drawing.cursor() as cursor:
        cursor.executemany("INSERT INTO site_setting VALUES (?, ?, ?)", before)


def whole(drawn: Drawn, key: str, on: int = 0, **given: Any) -> str:
    """A procedure of which everything is recorded that the geometry needs; cells of any of the three tables."""
    findings = {"size_mm": 10.0, "laterality": "L"}
    procedures = {
        "device": "vacuum_assisted",
        "gauge": 9,
        "aperture_mm": 20.0,
        "sampled_hours": "all",
        "compression_mm": 60.0,
    }
    targeting = {
        "frame": "SUITE",
        "needle_axis": "x",
        "needle_direction": "plus",
        "compression_axis": "y",
        "marked_point": "aperture_centre",
        "slice_mm": 5.0,
        "measurement_sd_mm": 1.0,
        **{f"achieved_{axis}_mm": 0.0 for axis in "xyz"},
        **{f"seen_{axis}_mm": 0.0 for axis in "xyz"},
    }
    targeting |= {name: given.pop(name) for name in list(given) if name in _TARGETING}
    findings |= {name: given.pop(name) for name in ("size_mm", "laterality", "assessment") if name in given}
    drawn.finding(f"finding of {key}", **findings)
    drawn.procedure(key, on, finding=f"finding of {key}", **{**procedures, **given})
    if targeting.pop("recorded", True):
        drawn.target(key, **targeting)
    return key


_TARGETING = [
    "recorded",
    "attempt",
    "frame",
    "needle_axis",
    "needle_direction",
    "compression_axis",
    "marked_point",
    "slice_mm",
    "measurement_sd_mm",
    "verification",
    "stand_in",
    "length_matched",
    "point_to_aperture_mm",
    "aperture_judgement",
    "achieved_x_mm",
    "achieved_y_mm",
    "achieved_z_mm",
    "seen_x_mm",
    "seen_y_mm",
    "seen_z_mm",
    "planned_x_mm",
    "planned_y_mm",
    "planned_z_mm",
]
