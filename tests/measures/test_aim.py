"""Vectors of the needle error and of the motion: who has one, in which directions, and what they share."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from registry import aim
from registry.errors import UsageProblem
from registry.site import Frame
from tests.measures.build import day

if TYPE_CHECKING:
    import polars as pl

    from tests.measures.build import Drawn

AS_OF = 1000
#: z has no anatomical direction; y plus is the patient's left.
ROOM = Frame("ROOM", "posterior", "left", "none")
SUITE = Frame("SUITE", "medial", "cranial", "posterior")
FRAMES = {"ROOM": ROOM, "SUITE": SUITE}


def achieved(x: float, y: float, z: float) -> dict[str, float]:
    return {"achieved_x_mm": x, "achieved_y_mm": y, "achieved_z_mm": z}


def seen(x: float, y: float, z: float) -> dict[str, float]:
    return {"seen_x_mm": x, "seen_y_mm": y, "seen_z_mm": z}


def place(drawn: Drawn, key: str, side: str = "L", attempt: int = 1, **cells: Any) -> None:
    """A procedure with one needle placement, at a finding of that side."""
    if all(one["procedure_id"] != key for one in drawn.rows["procedures"]):
        drawn.finding(f"finding of {key}", laterality=side)
        drawn.procedure(key)
    drawn.target(key, attempt, **{"frame": "SUITE", **cells})


def read(drawn: Drawn, **question: Any) -> pl.DataFrame:
    return aim.vectors(drawn.built(), as_of=day(AS_OF), **question)


def parts(rows: pl.DataFrame, basis: aim.Basis, kind: str = "error") -> dict[str, tuple[float, ...]]:
    found = aim.points(rows, basis, kind).select("procedure_id", "first_mm", "second_mm", "third_mm")
    return {key: tuple(vector) for key, *vector in found.iter_rows()}


# --- who has a vector --------------------------------------------------------------------


def test_the_reasons_are_those_of_the_measure(drawn: Drawn):
    drawn.procedure("cancelled", status="cancelled")
    drawn.procedure("no record")
    place(drawn, "not verified", verification="not_done", **achieved(1, 0, 0))
    place(drawn, "stand-in", stand_in="radioactive_source", length_matched="no", **achieved(1, 0, 0))
    place(drawn, "no position")
    place(drawn, "kept", **achieved(1, 0, 0))
    rows = read(drawn)

    assert dict(rows.select("procedure_id", "excluded_because").iter_rows()) == {
        "cancelled": "not sampled",
        "no record": "no targeting record",
        "not verified": "not verified",
        "stand-in": "stand-in not matched",
        "no position": "position not recorded",
        "kept": None,
    }
    assert aim.summary(rows, FRAMES).excluded == {
        "not sampled": 1,
        "no targeting record": 1,
        "not verified": 1,
        "stand-in not matched": 1,
        "position not recorded": 1,
    }


@pytest.mark.parametrize("key", ["not verified", "stand-in"])
def test_one_left_out_has_no_vector_although_it_has_a_position(drawn: Drawn, key: str):
    left_out = {
        "not verified": {"verification": "not_done"},
        "stand-in": {"stand_in": "radioactive_source", "length_matched": "no"},
    }
    place(drawn, key, **left_out[key], **achieved(1, 0, 0))
    rows = read(drawn)

    assert parts(rows, aim.Basis(SUITE)) == {}
    assert aim.summary(rows, FRAMES).error.n == 0


def test_the_last_attempt_counts_and_starts_at_the_target_as_seen_again(drawn: Drawn):
    place(drawn, "P", attempt=1, **achieved(9, 9, 9))
    place(drawn, "P", attempt=2, planned_x_mm=1.0, **achieved(5, 4, 3), **seen(2, 2, 2))
    rows = read(drawn)

    # 5-2, 4-2, 3-2; the target itself moved from (1, 0, 0) to (2, 2, 2).
    assert parts(rows, aim.Basis(SUITE)) == {"P": (3, 2, 1)}
    assert parts(rows, aim.Basis(SUITE), "motion") == {"P": (1, 2, 2)}


def test_motion_is_counted_where_its_measure_counts_it(drawn: Drawn):
    """Seen again without a verified position: motion is known, the error is not."""
    place(drawn, "P", verification="not_done", **achieved(9, 0, 0), **seen(0, 3, 4))
    found = aim.summary(read(drawn), FRAMES, aim.Basis(SUITE))

    assert (found.motion.n, found.motion.median.radius, found.error.n) == (1, 5, 0)
    assert (found.motion_mean.n, found.error_mean.n) == (1, 0)


def test_procedures_after_the_day_or_outside_the_question_are_not_read(drawn: Drawn):
    for key, on in (("first", 10), ("second", 20), ("third", 30)):
        drawn.procedure(key, on, site=f"site of {key}")
        drawn.target(key, frame="SUITE", **achieved(1, 0, 0))
    drawn.built()

    def keys(**question: Any) -> list[str]:
        return aim.vectors(drawn, **question).get_column("procedure_id").to_list()

    assert keys(as_of=day(29)) == ["first", "second"]
    assert keys(as_of=day(AS_OF), start=day(20), end=day(20)) == ["second"]
    assert keys(as_of=day(AS_OF), within={"site": "site of third"}) == ["third"]
    with pytest.raises(UsageProblem, match="mood: a measure cannot be split by it"):
        keys(as_of=day(AS_OF), within={"mood": "good"})


# --- in which directions -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("axis", "direction", "expected"),
    [
        ("x", "plus", (3, 4, 12)),
        ("x", None, (3, 4, 12)),
        ("x", "minus", (-3, 4, 12)),
        ("y", "plus", (4, 3, 12)),
        ("y", "minus", (-4, 3, 12)),
        ("z", "minus", (-12, 3, 4)),
    ],
)
def test_the_first_direction_of_a_needle_is_deeper(drawn: Drawn, axis: str, direction: str | None, expected):
    place(drawn, "P", needle_axis=axis, needle_direction=direction, **achieved(3, 4, 12))

    assert parts(read(drawn), aim.Basis(SUITE, axis)) == {"P": expected}


def test_length_along_and_across_are_those_of_the_measures(drawn: Drawn):
    place(drawn, "P", needle_axis="y", needle_direction="minus", **achieved(3, 4, 12))
    ((deeper, second, third),) = parts(read(drawn), aim.Basis(SUITE, "y")).values()

    assert drawn.said("targeting_depth_mm", AS_OF) == {"P": deeper}
    assert drawn.said("targeting_lateral_mm", AS_OF)["P"] == pytest.approx(np.hypot(second, third))


def test_only_an_axis_towards_left_or_right_is_mirrored(drawn: Drawn):
    """y plus is the patient's left: lateral in the left breast, medial in the right."""
    for side in "LR":
        place(drawn, side, side, frame="ROOM", **achieved(1, 2, 3))
    basis = aim.Basis(ROOM)

    assert [(axis.plus, axis.minus) for axis in basis.directions] == [
        ("posterior", "anterior"),
        ("lateral", "medial"),
        ("z plus", "z minus"),
    ]
    assert parts(read(drawn), basis) == {"L": (1, 2, 3), "R": (1, -2, 3)}
    assert basis.uncorrected == ("z",)


def test_a_frame_that_counts_towards_medial_is_corrected_already(drawn: Drawn):
    for side in "LR":
        place(drawn, side, side, **achieved(1, 2, 3))

    assert parts(read(drawn), aim.Basis(SUITE)) == {"L": (1, 2, 3), "R": (1, 2, 3)}
    assert aim.Basis(SUITE).uncorrected == ()


def test_deeper_is_deeper_in_either_breast(drawn: Drawn):
    for side in "LR":
        place(drawn, side, side, frame="ROOM", needle_axis="y", **achieved(0, 2, 0))

    assert {vector[0] for vector in parts(read(drawn), aim.Basis(ROOM, "y")).values()} == {2}


def test_motion_is_mirrored_as_the_error_is(drawn: Drawn):
    for side in "LR":
        place(drawn, side, side, frame="ROOM", **achieved(0, 0, 0), **seen(0, 2, 0))
    found = parts(read(drawn), aim.Basis(ROOM), "motion")

    assert (found["L"], found["R"]) == ((0, 2, 0), (0, -2, 0))


def test_the_directions_with_most_procedures_come_first_and_the_needles_before_the_breast(drawn: Drawn):
    for number, (frame, axis) in enumerate(
        [("SUITE", "y"), ("ROOM", "x"), ("ROOM", "x"), ("ROOM", "oblique"), (None, "x"), ("LOST", "x")]
    ):
        place(drawn, f"P{number}", frame=frame, needle_axis=axis, **achieved(1, 0, 0))

    assert aim.bases(read(drawn), FRAMES) == [
        (aim.Basis(ROOM, "x"), 2),
        (aim.Basis(SUITE, "y"), 1),
        (aim.Basis(ROOM), 3),
        (aim.Basis(SUITE), 1),
    ]


def test_another_kind_of_vector_is_refused(drawn: Drawn):
    with pytest.raises(ValueError, match="kind must be error or motion; got 'drift'"):
        aim.points(read(drawn), aim.Basis(SUITE), "drift")


# --- what they share ---------------------------------------------------------------------


def test_without_a_registered_frame_only_the_length_counts(drawn: Drawn):
    for key, frame in (("none", None), ("lost", "LOST"), ("known", "SUITE")):
        place(drawn, key, frame=frame, **achieved(0, 3, 4))
    place(drawn, "oblique", needle_axis="oblique", **achieved(0, 3, 4))
    found = aim.summary(read(drawn), FRAMES, aim.Basis(SUITE, "x"))

    assert (found.without_frame, found.unregistered, found.oblique) == (1, 1, 1)
    assert (found.error.n, found.error_mean.n) == (4, 1)


def test_directions_that_are_empty_are_counted(drawn: Drawn):
    place(drawn, "empty", **achieved(1, 0, 0))
    place(drawn, "given", needle_direction="plus", **achieved(1, 0, 0))

    assert aim.summary(read(drawn), FRAMES).direction_empty == 1


def test_errors_counted_from_the_target_as_seen_are_told_apart(drawn: Drawn):
    place(drawn, "plan", **achieved(1, 0, 0))
    place(drawn, "seen", **achieved(1, 0, 0), **seen(1, 1, 1))

    assert aim.summary(read(drawn), FRAMES).from_seen == 1


def corners(drawn: Drawn, *, more: int = 0) -> None:
    """Errors at the 8 corners of a cube of side 2 around (1, 2, 3), and further ones at its middle."""
    for number, (x, y, z) in enumerate(product((0, 2), (1, 3), (2, 4))):
        place(drawn, f"P{number}", **achieved(x, y, z))
    for number in range(more):
        place(drawn, f"Q{number}", **achieved(1, 2, 3))


def test_the_mean_and_its_joint_limits(drawn: Drawn):
    """Ten errors: mean (1, 2, 3), variance 8/9 on each axis, no covariance.

    T2 = 10 * (1 + 4 + 9) / (8/9) = 157.5; T2 at 0.95 = 3 * 9 / 7 * F(3, 7) = 27/7 * 4.346831.
    """
    corners(drawn, more=2)
    found = aim.summary(read(drawn), FRAMES, aim.Basis(SUITE)).error_mean

    half = np.sqrt(27 / 7 * 4.346831 * 8 / 9 / 10)
    assert found.mean == pytest.approx((1, 2, 3))
    assert np.array(found.covariance) == pytest.approx(np.eye(3) * 8 / 9)
    assert found.sd == pytest.approx([np.sqrt(8 / 9)] * 3)
    assert np.array(found.limits) == pytest.approx(
        np.array([(m - half, m + half) for m in (1, 2, 3)]), rel=1e-6
    )
    assert pytest.approx(157.5) == found.test.T2
    assert found.is_off is True


def test_nine_errors_have_no_mean(drawn: Drawn):
    corners(drawn, more=1)
    found = aim.summary(read(drawn), FRAMES, aim.Basis(SUITE)).error_mean

    assert (found.n, found.mean, found.limits, found.covariance, found.is_off) == (9, None, None, None, None)
    assert found.reason == "fewer than 10 vectors: no mean, no region"


def test_errors_in_a_plane_have_no_region(drawn: Drawn):
    for number in range(12):
        place(drawn, f"P{number}", **achieved(number % 3, number // 3, 1))
    found = aim.summary(read(drawn), FRAMES, aim.Basis(SUITE)).error_mean

    assert (found.mean, found.reason) == (None, "the points lie in a plane or on a line: no region")


def test_a_mean_around_the_target_is_not_off(drawn: Drawn):
    for number, (x, y, z) in enumerate(product((-1, 1), (-1, 1), (-1, 1), repeat=1)):
        place(drawn, f"P{number}", **achieved(x, y, z))
        place(drawn, f"Q{number}", **achieved(2 * x, 2 * y, 2 * z))

    assert aim.summary(read(drawn), FRAMES, aim.Basis(SUITE)).error_mean.is_off is False


def test_the_two_ellipses_of_a_plane(drawn: Drawn):
    """Ten errors with variance 8/9: circles around (1, 2).

    Single errors: radius sqrt(8/9 * 5.991465); mean: sqrt(8/9 / 10 * 2 * 9 / 8 * F(2, 8)), F = 4.458970.
    """
    corners(drawn, more=2)
    one = aim.planes(aim.points(read(drawn), aim.Basis(SUITE)))[0]

    def radii(outline: np.ndarray) -> np.ndarray:
        return np.hypot(*(outline - np.array([1, 2])).T)

    assert (one.right, one.up, one.mean) == (0, 1, pytest.approx((1, 2)))
    assert radii(one.single_outline) == pytest.approx(np.full(73, np.sqrt(8 / 9 * 5.991465)), rel=1e-6)
    assert radii(one.mean_outline) == pytest.approx(
        np.full(73, np.sqrt(8 / 90 * 18 / 8 * 4.458970)), rel=1e-6
    )


def test_nine_errors_have_no_ellipse(drawn: Drawn):
    corners(drawn, more=1)

    assert {one.mean_outline is None for one in aim.planes(aim.points(read(drawn), aim.Basis(SUITE)))} == {
        True
    }


def test_the_95th_percentile_of_71_has_no_upper_limit(drawn: Drawn):
    for number in range(1, 72):
        place(drawn, f"P{number}", **achieved(number, 0, 0))
    high = aim.summary(read(drawn), FRAMES).error.high

    # Linear interpolation: 0.95 * 70 = 66.5, between the 67th and 68th; one-sided bound from 59 on.
    assert (high.radius, high.ci[1], high.upper_bound) == (67.5, None, 71)


def test_groups_stand_in_the_order_of_their_codes(drawn: Drawn):
    for number, operator in enumerate(["OP3", "OP1", "OP2", "OP1"]):
        drawn.procedure(f"P{number}", operator=operator)
        drawn.target(f"P{number}", frame="SUITE", **achieved(number, 0, 0))
    found = aim.by_stratum(read(drawn), "operator", FRAMES)

    assert [(name, one.error.n) for name, one in found] == [("OP1", 2), ("OP2", 1), ("OP3", 1)]


def test_periods_and_what_is_not_recorded_are_groups(drawn: Drawn):
    drawn.procedure("P1", 0, approach="medial")
    drawn.procedure("P2", 400)
    rows = read(drawn)

    # Day 400 is 2021-02-04.
    assert [name for name, _ in aim.by_stratum(rows, "quarter", FRAMES)] == ["2020-Q1", "2021-Q1"]
    assert [name for name, _ in aim.by_stratum(rows, "approach", FRAMES)] == ["medial", "not recorded"]


# --- first attempt against last ----------------------------------------------------------


def test_first_against_last(drawn: Drawn):
    for key, first, last in (("nearer", 9, 2), ("further", 1, 3), ("same", 4, 4)):
        place(drawn, key, attempt=1, **achieved(first, 0, 0))
        place(drawn, key, attempt=2, **achieved(0, last, 0))
    place(drawn, "once", **achieved(5, 0, 0))
    found = aim.summary(read(drawn), FRAMES).attempts

    assert (found.moved.n, found.moved.nearer, found.moved.further, found.moved.unchanged) == (3, 1, 1, 1)
    assert (found.moved.first.radius, found.moved.last.radius) == (4, 3)  # of 1 4 9 and of 2 3 4
    assert (found.first.n, found.first.median.radius) == (4, 4.5)  # of 1 4 5 9


@pytest.mark.parametrize(
    "unusable",
    [
        {"verification": "not_done", **achieved(9, 0, 0)},
        {"stand_in": "radioactive_source", "length_matched": "no", **achieved(9, 0, 0)},
        {},
    ],
    ids=["not verified", "stand-in", "no position"],
)
def test_a_first_attempt_must_be_usable_as_the_last_must(drawn: Drawn, unusable: dict[str, Any]):
    place(drawn, "P", attempt=1, **unusable)
    place(drawn, "P", attempt=2, **achieved(1, 0, 0))
    found = aim.summary(read(drawn), FRAMES).attempts

    assert (found.moved.n, found.moved_without_first, found.first.n) == (0, 1, 0)


def test_a_first_attempt_starts_at_its_own_target(drawn: Drawn):
    place(drawn, "P", attempt=1, **achieved(9, 0, 0), **seen(4, 0, 0))
    place(drawn, "P", attempt=2, **achieved(1, 0, 0), **seen(0, 0, 0))
    (row,) = read(drawn).to_dicts()

    assert (row["first_error_mm"], row["error_mm"]) == (5, 1)


def test_the_only_attempt_is_the_first(drawn: Drawn):
    place(drawn, "P", **achieved(0, 3, 4))
    (row,) = read(drawn).to_dicts()

    assert (row["first_error_mm"], row["error_mm"], row["attempts"]) == (5, 5, 1)


def test_an_empty_registry_has_nothing(drawn: Drawn):
    rows = read(drawn)
    found = aim.summary(rows, FRAMES)

    assert (found.procedures, found.error.n, found.error.median.radius) == (0, 0, None)
    assert (aim.bases(rows, FRAMES), aim.by_stratum(rows, "site", FRAMES)) == ([], [])
