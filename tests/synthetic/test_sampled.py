"""What was really sampled: the generator's own geometry, written apart from the product's."""

from __future__ import annotations

import json

import numpy as np
import polars as pl
import pytest

from registry.targeting import sphere_cylinder_fraction, wedge_fraction
from synthetic_data.columns import Columns
from synthetic_data.sampled import _share


@pytest.fixture(scope="module")
def truth(demo) -> dict[str, float]:
    return json.loads((demo.folder / "sampling_truth.json").read_text(encoding="utf-8"))["share"]


def shape(hours: list[int] | None = None, radius: float = 5.0, reach: float = 4.0) -> Columns:
    """One target; needle along x, hour 3 along z, hour 12 along y; hour 12 first in the list of hours."""
    chosen = [hour % 12 in {one % 12 for one in hours or range(12)} for hour in range(12)]
    return Columns(
        radius=np.array([radius]),
        reach=np.array([reach]),
        aperture=np.array([20.0]),
        axis=np.array([0]),
        right=np.array([2]),
        right_sense=np.array([1.0]),
        up=np.array([1]),
        hours=np.array([chosen]),
    )


@pytest.mark.parametrize("place", [(0.0, 0.0, 0.0), (1.0, 2.0, -2.0), (9.0, 0.0, 3.0), (14.0, 1.0, 0.0)])
def test_share_is_the_closed_integral(place):
    """Along x by 9 and 14 mm the aperture of 20 mm cuts the target of 5 mm radius."""
    lateral, along = np.hypot(place[1], place[2]), place[0]
    expected = sphere_cylinder_fraction(5, 4, lateral, (-10 - along, 10 - along))
    assert _share(np.array([place]), shape())[0] == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("hours", [[3], [12, 1, 2, 3], [9, 10]])
def test_hours_are_the_integral_over_hours(hours):
    """Target 3 mm towards z, which is hour 3."""
    found = _share(np.array([[0.0, 0.0, 3.0]]), shape(hours))[0]
    assert found == pytest.approx(wedge_fraction(5, 4, 3, 3, hours, axial_window=20), abs=0.01)


def test_every_share_is_one(truth):
    assert all(0 <= share <= 1 for share in truth.values())


def test_a_share_belongs_to_each_recorded_position_of_a_vacuum_assisted_biopsy(demo, truth):
    last = demo.table("targeting").sort("attempt").group_by("procedure_id", maintain_order=True).last()
    known = last.filter(pl.col("achieved_x_mm").is_not_null() & (pl.col("needle_axis") != "oblique"))
    found = demo.table("findings").select("finding_id", "size_mm")
    rows = demo.procedures.join(found, on="finding_id").join(known.select("procedure_id"), on="procedure_id")
    rows = rows.filter(
        (pl.col("status") == "completed")
        & (pl.col("device") == "vacuum_assisted")
        & pl.col("size_mm").is_not_null()
    )
    assert set(truth) == set(rows["procedure_id"])
