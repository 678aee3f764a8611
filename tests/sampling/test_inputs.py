"""From the record to the geometry: hours in the frame, the error budget."""

from __future__ import annotations

from math import sqrt
from typing import Any

import numpy as np
import polars as pl
import pytest

from registry.sampling.files import Setting
from registry.sampling.inputs import (
    ALL_AROUND,
    NOT_KNOWN,
    NOT_PLACED,
    SOME_HOURS,
    geometry,
    runs,
    variances,
)
from registry.site import Frame
from tests.sampling.conftest import SUITE

LOCAL = Setting((0.0, 1.5, 3.0), 0.1, 10, None, 50, 1.3)
ROW = {
    "size_mm": 10.0,
    "outer_diameter_mm": 4.0,
    "aperture_mm": 20.0,
    "sampled_hours": "all",
    "laterality": "L",
    "frame": "SUITE",
    "needle_axis": "x",
    "needle_direction": "plus",
    "compression_axis": "y",
    "error_x_mm": 0.0,
    "error_y_mm": 0.0,
    "error_z_mm": 0.0,
    "is_seen_again": True,
    "slice_mm": 6.0,
    "measurement_sd_mm": 1.0,
}


def rows(*changes: dict[str, Any]) -> pl.DataFrame:
    return pl.DataFrame([{**ROW, **change} for change in changes or ({},)])


def found(change: dict[str, Any], frame: Frame = SUITE):
    return geometry(rows(change), LOCAL, {"SUITE": frame})


# -- hours -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("all", ()),
        ("1;2;3;4;5;6;7;8;9;10;11;12", ()),
        (None, None),
        ("3", ((-15.0, 30.0),)),  # hour 3 is the direction from which angles count
        ("12", ((75.0, 30.0),)),
        ("12;1;2;3", ((-15.0, 120.0),)),  # clockwise from 12 to 3: from hour 3 back to hour 12
        ("3;9", ((-15.0, 30.0), (-195.0, 30.0))),
        ("3;3", ((-15.0, 30.0),)),
    ],
)
def test_hours_as_stretches(text: str | None, expected: tuple[tuple[float, float], ...] | None):
    assert runs(text) == expected


@pytest.mark.parametrize(
    ("breast", "sense", "posterior"),
    [
        # Stand at the patient's left, look at her left breast, her head up: her back is to the right, at hour 3.
        ("L", "plus", 3),
        # From the medial side of the same breast it is to the left.
        ("L", "minus", 9),
        # At her right breast, from her right: her back is to the left.
        ("R", "plus", 9),
        ("R", "minus", 3),
    ],
)
def test_where_posterior_is_on_the_clock(breast: str, sense: str, posterior: int):
    """A target 4 mm posterior of the aperture (z plus): the error is 4 mm the other way."""
    made = found({"laterality": breast, "needle_direction": sense, "error_z_mm": -4.0})
    # Hour 3 lies along the first direction, hour 9 against it.
    assert made.placed.first[0] == pytest.approx(4.0 if posterior == 3 else -4.0)
    assert made.placed.second[0] == pytest.approx(0.0)


def test_cranial_is_hour_12_and_deeper_is_along_the_needle():
    made = found({"error_y_mm": -2.0, "error_x_mm": 3.0, "needle_direction": "minus"})
    # The aperture went 3 mm along x, the needle advances against it: the target lies 3 mm ahead of the aperture.
    assert (made.placed.second[0], made.placed.along[0]) == pytest.approx((2.0, 3.0))


def test_a_frame_that_counts_left_and_right_is_the_same_at_both_breasts():
    frame = Frame("SUITE", "left", "cranial", "posterior", "y_plus")
    places = [found({"laterality": breast, "error_z_mm": -4.0}, frame).placed.first[0] for breast in "LR"]
    # Needle towards the patient's left, as at a right breast from the right: her back is to the left.
    assert places == pytest.approx([-4.0, -4.0])


@pytest.mark.parametrize(
    "frame",
    [
        Frame("SUITE", "medial", "cranial", "posterior", "none"),
        Frame("SUITE", "medial", "cranial", "posterior", "x_plus"),
        Frame("SUITE", "none", "cranial", "posterior", "y_plus"),
        Frame("SUITE", "cranial", "cranial", "posterior", "y_plus"),
        Frame("OTHER", "medial", "cranial", "posterior", "y_plus"),
    ],
)
def test_hours_without_a_place_in_the_frame(frame: Frame):
    made = geometry(rows({"sampled_hours": "2;3"}), LOCAL, {frame.code: frame})
    assert made.hours.tolist() == [NOT_PLACED]


def test_how_the_hours_are_known():
    made = geometry(rows({}, {"sampled_hours": "2"}, {"sampled_hours": None}), LOCAL, {"SUITE": SUITE})
    assert made.hours.tolist() == [ALL_AROUND, SOME_HOURS, NOT_KNOWN]


def test_an_unknown_hour_points_away_from_the_target():
    """Target towards hour 12 (90 degrees): the hour opposite is centred at 270."""
    made = found({"sampled_hours": None, "error_y_mm": -5.0})
    assert (made.sectors.start[0, 0] + 15.0) % 360 == pytest.approx(270.0)
    assert made.sectors.width[0, 0] == 30.0


# -- the error budget ------------------------------------------------------------------


def test_slices_are_coarse_along_the_compression_only():
    """6 / sqrt(12) = 1.732 for a point; across them the measurement uncertainty."""
    reading = variances(rows(), LOCAL)[0, 0]
    assert reading == pytest.approx([1.0, 6 / sqrt(12), 1.0])


def test_both_points_are_read():
    """sqrt(2) times 1.732 along y, sqrt(2) along z; the needle goes along x."""
    placed = found({}).placed
    assert placed.sd_second[0] == pytest.approx(sqrt(2) * 6 / sqrt(12))
    assert (placed.sd_first[0], placed.sd_along[0]) == pytest.approx((sqrt(2), sqrt(2)))


def test_a_target_not_seen_again_may_have_moved():
    """sqrt(2 + 1.69) along the needle."""
    assert found({"is_seen_again": False}).placed.sd_along[0] == pytest.approx(sqrt(2 + 1.3**2))


def test_motion_that_is_not_known_adds_nothing():
    local = Setting((0.0, 1.5, 3.0), 0.1, 10, None, 3, None)
    made = geometry(rows({"is_seen_again": False}), local, {"SUITE": SUITE})
    assert made.placed.sd_along[0] == pytest.approx(sqrt(2))


def test_radius_is_half_the_needle_and_the_reach():
    assert found({}).radii[:, 0] == pytest.approx([2.0, 3.5, 5.0])


def test_no_rows_have_no_geometry():
    assert geometry(rows().clear(), LOCAL, {"SUITE": SUITE}).radii.shape == (3, 0)


def test_many_kinds_of_rows_keep_their_order():
    kinds = [{"error_z_mm": -4.0, "laterality": "LR"[place % 2]} for place in range(6)]
    made = geometry(rows(*kinds), LOCAL, {"SUITE": SUITE})
    assert made.placed.first == pytest.approx(np.array([4.0, -4.0] * 3))
