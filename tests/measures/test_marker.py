"""Marker: placed, documented, and how far off."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000


def shift(x: float | None, y: float | None, z: float | None) -> dict[str, Any]:
    return {"marker": "placed", "marker_shift_x_mm": x, "marker_shift_y_mm": y, "marker_shift_z_mm": z}


def test_marker_placed(drawn: Drawn):
    for marker in ("placed", "not_placed", "failed", None):
        drawn.procedure(f"{marker}", marker=marker)

    assert drawn.built().said("marker_placed", AS_OF) == {
        "placed": True,
        "not_placed": False,
        "failed": False,
        "None": "marker not recorded",
    }


def test_marker_documented(drawn: Drawn):
    for mammogram in ("yes", "no", None):
        drawn.procedure(f"{mammogram}", marker="placed", post_mammogram=mammogram)
    for marker in ("not_placed", "failed", None):
        drawn.procedure(f"marker {marker}", marker=marker, post_mammogram="yes")

    assert drawn.built().said("marker_documented", AS_OF) == {
        "yes": True,
        "no": False,
        "None": "mammogram not recorded",
        "marker not_placed": "marker not placed",
        "marker failed": "marker not placed",
        "marker None": "marker not placed",
    }


def test_marker_within_10mm(drawn: Drawn):
    """6-8-10 triangle in the plane, with and without a third coordinate."""
    drawn.procedure("10 mm", **shift(6.0, -8.0, 0.0))
    drawn.procedure("beyond", **shift(6.0, -8.0, 0.1))
    drawn.procedure("inside the tolerance", **shift(0.0, 0.0, 10 + 0.9e-9))
    drawn.procedure("outside the tolerance", **shift(0.0, 0.0, 10 + 1.1e-9))
    drawn.procedure("in part", **shift(1.0, 1.0, None))
    drawn.procedure("not placed", **{**shift(1.0, 1.0, 1.0), "marker": "failed"})

    assert drawn.built().said("marker_within_10mm", AS_OF) == {
        "10 mm": True,
        "beyond": False,
        "inside the tolerance": True,
        "outside the tolerance": False,
        "in part": "shift not recorded",
        "not placed": "marker not placed",
    }


@pytest.mark.parametrize("axis", range(3))
def test_marker_shift(drawn: Drawn, axis: int):
    point: list[float | None] = [1.0, 2.0, -2.0]
    drawn.procedure("whole", **shift(*point))
    point[axis] = None
    drawn.procedure("in part", **shift(*point))
    drawn.procedure("marker not stated", **{**shift(1.0, 2.0, 2.0), "marker": None})

    assert drawn.built().said("marker_shift_mm", AS_OF) == {
        "whole": 3.0,
        "in part": "shift not recorded",
        "marker not stated": "marker not placed",
    }
