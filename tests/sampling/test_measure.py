"""The measure: which procedures it can work out, why not the others, and what it says of them."""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Any

import pytest

from registry.measures import evaluate, exclusion_flow
from registry.sampling import sampling_procedures
from tests.measures.build import day
from tests.sampling.conftest import whole

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000
NOWHERE = {f"achieved_{axis}_mm": None for axis in "xyz"}

#: Cells that make the geometry unknown, or leave it known: reason, cells.
REASONS: list[tuple[str | None, dict[str, Any]]] = [
    (None, {}),
    ("not sampled", {"status": "abandoned", "status_reason": "access"}),
    ("not vacuum-assisted", {"device": "core_needle"}),
    ("not vacuum-assisted", {"device": None}),
    ("no targeting record", {"recorded": False}),
    ("not verified", {"verification": "not_done"}),
    ("stand-in not matched", {"stand_in": "radioactive_source"}),
    ("stand-in not matched", {"stand_in": "radioactive_source", "length_matched": "no"}),
    (None, {"stand_in": "radioactive_source", "length_matched": "yes"}),
    ("stand-in not matched", {"stand_in": "obturator", "length_matched": "no"}),
    (None, {"stand_in": "obturator", "length_matched": "not_applicable"}),
    ("marked point not stated", {"marked_point": None}),
    ("marked point not carried to the aperture", {"marked_point": "tip"}),
    ("marked point not carried to the aperture", {"marked_point": "source_centre"}),
    (None, {"marked_point": "tip", "point_to_aperture_mm": 17.0}),
    ("position not recorded", NOWHERE),
    ("needle_axis oblique", {"needle_axis": "oblique"}),
    ("needle diameter not known", {"gauge": None}),
    ("needle diameter not known", {"gauge": 13}),
    ("aperture not recorded", {"aperture_mm": None}),
    ("target size not recorded", {"size_mm": None}),
    ("slice thickness not known", {"slice_mm": None}),
    ("measurement uncertainty not known", {"measurement_sd_mm": None}),
    (None, {"sampled_hours": None, "frame": None, "needle_direction": None}),
]


def one(drawn: Drawn, key: str) -> dict[str, Any]:
    rows = sampling_procedures(drawn, as_of=day(AS_OF))
    return next(row for row in rows.to_dicts() if row["procedure_id"] == key)


@pytest.mark.parametrize(("reason", "cells"), REASONS)
def test_why_a_procedure_is_left_out(drawn: Drawn, reason: str | None, cells: dict[str, Any]):
    whole(drawn, "P", **cells)
    found = one(drawn.built(), "P")
    assert found["excluded_because"] == reason
    assert (found["probability_high"] is None) == (reason is not None)


def test_the_last_attempt_counts(drawn: Drawn):
    whole(drawn, "P", achieved_x_mm=9.0)
    drawn.target("P", 2, verification="not_done")
    assert one(drawn.built(), "P")["excluded_because"] == "not verified"


def test_the_error_vector_is_that_of_the_targeting_error(drawn: Drawn):
    """Aperture (3, 4, 12) from a target re-seen at 0: 13 mm long. From the plan where one coordinate is missing."""
    there = {"achieved_x_mm": 3.0, "achieved_y_mm": 4.0, "achieved_z_mm": 12.0}
    whole(drawn, "seen", **there, planned_x_mm=-7.0)
    whole(drawn, "plan", **there, seen_x_mm=None, planned_x_mm=3.0)
    said = drawn.built().said("targeting_error_mm", AS_OF)
    for key, length in (("seen", 13.0), ("plan", sqrt(16 + 144))):
        found = one(drawn, key)
        assert sqrt(sum(found[f"error_{axis}_mm"] ** 2 for axis in "xyz")) == pytest.approx(length)
        assert said[key] == pytest.approx(length)


def test_slices_from_the_compressed_thickness_over_twelve_per_view(drawn: Drawn):
    """Common practice: twelve slices of a breast of 60 mm are 5 mm thick. Under MRI nobody knows."""
    whole(drawn, "tracer", slice_mm=None)
    whole(drawn, "mri", slice_mm=None, guidance="mri")
    drawn.setting("slices_per_view", 12.0)
    drawn.built()
    assert (one(drawn, "tracer")["slice_mm"], one(drawn, "tracer")["is_slice_recorded"]) == (5.0, False)
    assert one(drawn, "mri")["excluded_because"] == "slice thickness not known"


def test_the_site_may_state_the_measurement_uncertainty(drawn: Drawn):
    whole(drawn, "recorded")
    whole(drawn, "stated", measurement_sd_mm=None)
    drawn.setting("measurement_sd_mm", 0.7)
    drawn.built()
    assert [one(drawn, key)["measurement_sd_mm"] for key in ("recorded", "stated")] == [1.0, 0.7]


def test_wider_reach_takes_in_more(drawn: Drawn):
    whole(drawn, "P", achieved_z_mm=2.0)
    found = one(drawn.built(), "P")
    assert 0 < found["expected_share_low"] < found["expected_share"] < found["expected_share_high"] < 1


def test_unknown_hours_leave_only_the_ends_of_the_band(drawn: Drawn):
    """All around at the most reach above; one hour away from the target at the least reach below."""
    whole(drawn, "all", achieved_z_mm=2.0)
    whole(drawn, "unknown", achieved_z_mm=2.0, sampled_hours=None)
    known, unknown = (one(drawn.built(), key) for key in ("all", "unknown"))
    assert (unknown["hours_used"], unknown["expected_share"], unknown["probability"]) == (
        "not known",
        None,
        None,
    )
    assert unknown["expected_share_high"] == pytest.approx(known["expected_share_high"])
    assert unknown["expected_share_low"] < known["expected_share_low"] / 12


def test_hours_that_cannot_be_placed_are_shown_like_unknown_ones(drawn: Drawn):
    whole(drawn, "no frame", sampled_hours="2;3", frame=None)
    whole(drawn, "hour 12 along the needle", sampled_hours="2;3", needle_axis="y")
    whole(drawn, "sense of advance not known", sampled_hours="2;3", needle_direction=None)
    whole(drawn, "placed", sampled_hours="2;3")
    rows = sampling_procedures(drawn.built(), as_of=day(AS_OF))
    used = dict(rows.select("procedure_id", "hours_used").iter_rows())
    assert used.pop("placed") == "recorded"
    assert set(used.values()) == {"not placed"}


def test_the_summary_counts_and_says_what_it_assumes(drawn: Drawn):
    for number in range(5):
        whole(drawn, f"P{number}", achieved_z_mm=float(number))
    whole(drawn, "unknown", sampled_hours=None)
    whole(drawn, "left out", gauge=None)
    (found,) = evaluate(drawn.built(), ["sampling_probability"], as_of=day(AS_OF))
    said = found.to_dict()
    assert (said["n"], said["hours_not_known"], said["patients"]) == (6, 1, 6)
    assert said["excluded"] == {"needle diameter not known": 1}
    counted = {(row["figure"], row["band"]): row["n"] for row in said["rows"]}
    assert counted[("probability", "middle reach")] == 5
    assert counted[("probability", "least reach")] == 6
    assert any("0 to 3 mm" in sentence for sentence in said["assumptions"])
    assert "never a reason to omit a step of the local protocol" in said["caution"]


def test_the_summary_is_that_of_the_rows(drawn: Drawn):
    for number in range(5):
        whole(drawn, f"P{number}", achieved_z_mm=float(number))
    (found,) = evaluate(drawn.built(), ["sampling_probability"], as_of=day(AS_OF))
    middle = next(
        row for row in found.distributions if (row.figure, row.band) == ("expected_share", "middle reach")
    )
    shares = sampling_procedures(drawn, as_of=day(AS_OF))["expected_share"]
    assert middle.median == pytest.approx(shares.median())


def test_strata_and_flow_add_up(drawn: Drawn):
    whole(drawn, "A1", site="A")
    whole(drawn, "B1", site="B")
    whole(drawn, "B2", site="B", gauge=None)
    drawn.built()
    found = evaluate(drawn, ["sampling_probability"], as_of=day(AS_OF), by="site")
    assert [(one.stratum, one.n, sum(one.excluded.values())) for one in found] == [("A", 1, 0), ("B", 1, 1)]
    flow = exclusion_flow(drawn, "sampling_probability", as_of=day(AS_OF))
    assert (flow[0], flow[-1][2]) == (("procedures", 0, 3), 2)
    assert ("needle diameter not known", 1, 2) in flow


def test_a_stratum_in_which_everything_is_left_out_has_no_figures(drawn: Drawn):
    whole(drawn, "A1", gauge=None)
    (found,) = evaluate(drawn.built(), ["sampling_probability"], as_of=day(AS_OF))
    assert (found.n, found.numerical_error) == (0, None)
    assert {row.median for row in found.distributions} == {None}


def test_what_started_later_is_not_there(drawn: Drawn):
    whole(drawn, "P", on=AS_OF + 1)
    assert sampling_procedures(drawn.built(), as_of=day(AS_OF)).is_empty()
