"""Procedures, placements and specimens carry what they must, and nothing that contradicts it."""

from __future__ import annotations

import polars as pl
import pytest

from tests.synthetic.conftest import assert_none


def test_age_is_known_and_adult(demo):
    born = demo.table("patients").select("patient_id", "birth_date")
    joined = demo.procedures.join(born, on="patient_id")
    assert_none(joined, pl.col("birth_date").is_null() & pl.col("age_years").is_null())
    completed = (pl.col("day").dt.year() - pl.col("birth_date").dt.year()).cast(pl.Int64) - (
        pl.col("day").dt.strftime("%m%d") < pl.col("birth_date").dt.strftime("%m%d")
    ).cast(pl.Int64)
    assert_none(joined, completed != pl.col("age_years"))
    assert_none(joined, pl.coalesce("age_years", completed).is_between(18, 100).not_())


def test_accession_belongs_to_one_procedure(demo):
    assert demo.procedures["accession"].drop_nulls().is_duplicated().sum() == 0


def test_supervisor_is_another_operator(demo):
    assert_none(demo.procedures, pl.col("supervisor") == pl.col("operator"))


def test_operators_are_listed(demo):
    used = set(demo.procedures["operator"]) | set(demo.procedures["supervisor"].drop_nulls())
    assert used == set(demo.table("operators")["operator"])


def test_reason_is_given_where_no_tissue_was_taken(demo):
    completed = pl.col("status") == "completed"
    assert_none(demo.procedures, completed == pl.col("status_reason").is_not_null())


def test_cores_are_given_where_tissue_was_taken(demo):
    assert_none(demo.procedures, (pl.col("status") == "completed") != pl.col("cores").is_not_null())


def test_repeat_is_later_in_the_same_breast_with_a_reason(demo):
    before = demo.procedures.select(
        repeat_of="procedure_id", began="started_at", who="patient_id", side="laterality"
    )
    joined = demo.procedures.join(before, on="repeat_of")
    assert_none(joined, pl.col("began") >= pl.col("started_at"))
    assert_none(joined, (pl.col("who") != pl.col("patient_id")) | (pl.col("side") != pl.col("laterality")))
    assert_none(demo.procedures, pl.col("repeat_of").is_null() != pl.col("repeat_reason").is_null())


def test_marker_shapes_differ_within_a_breast(demo):
    placed = demo.procedures.filter(pl.col("marker_shape").is_not_null())
    assert placed.select("patient_id", "laterality", "marker_shape").is_duplicated().sum() == 0


def test_marker_details_need_a_placed_marker(demo):
    assert_none(
        demo.procedures,
        (pl.col("marker").is_null() | (pl.col("marker") != "placed"))
        & (pl.col("marker_shape").is_not_null() | pl.col("marker_shift_x_mm").is_not_null()),
    )


def test_sampled_hours_are_all_or_hours(demo):
    assert_none(
        demo.procedures, ~pl.col("sampled_hours").str.contains(r"^(all|([1-9]|1[0-2])(;([1-9]|1[0-2]))*)$")
    )


def test_no_visit_has_more_than_six_targets(demo):
    assert demo.procedures.group_by("patient_id", "day").len()["len"].max() <= 6


def test_clock_position_goes_with_region_clock(demo):
    assert_none(
        demo.table("findings"), (pl.col("region") == "clock") != pl.col("clock_position").is_not_null()
    )


@pytest.mark.parametrize("point", ["achieved", "seen"])
def test_coordinates_are_all_three_or_none(demo, point):
    missing = pl.sum_horizontal(pl.col(f"{point}_{axis}_mm").is_null().cast(pl.Int64) for axis in "xyz")
    assert_none(demo.table("targeting"), ~missing.is_in([0, 3]))


def test_attempts_are_consecutive(demo):
    grouped = demo.table("targeting").group_by("procedure_id").agg(pl.len(), pl.col("attempt").max())
    assert_none(grouped, pl.col("len") != pl.col("attempt"))


def test_verified_attempt_has_position_or_judgement(demo):
    done = pl.col("verification") == "done"
    assert_none(
        demo.table("targeting"),
        done & pl.col("achieved_x_mm").is_null() & pl.col("aperture_judgement").is_null(),
    )


def test_unverified_attempt_has_neither(demo):
    not_done = pl.col("verification") == "not_done"
    given = (
        pl.col("achieved_x_mm").is_not_null()
        | pl.col("aperture_judgement").is_not_null()
        | pl.col("stand_in").is_not_null()
    )
    assert_none(demo.table("targeting"), not_done & given)


def test_radioactive_stand_in_says_whether_its_length_matched(demo):
    radioactive = pl.col("stand_in") == "radioactive_source"
    assert_none(
        demo.table("targeting"), radioactive & ~pl.col("length_matched").is_in(["yes", "no"]).fill_null(False)
    )


def test_source_of_a_stand_in_is_of_the_same_site_and_not_of_the_future(demo):
    source = demo.table("sources").select("source_id", "reference_on", own="site")
    joined = demo.table("targeting").join(source, on="source_id").join(demo.procedures, on="procedure_id")
    assert_none(joined, (pl.col("own") != pl.col("site")) | (pl.col("reference_on") > pl.col("day")))


def test_depth_names_its_datum(demo):
    assert_none(
        demo.table("targeting"), pl.col("target_depth_mm").is_null() != pl.col("depth_datum").is_null()
    )


def test_target_lies_inside_the_compressed_breast(demo):
    joined = demo.table("targeting").join(
        demo.procedures.select("procedure_id", "compression_mm"), on="procedure_id"
    )
    along = pl.col("compression_axis") == "y"
    assert_none(
        joined, along & ((pl.col("planned_y_mm") < 0) | (pl.col("planned_y_mm") > pl.col("compression_mm")))
    )


def test_only_sampled_procedures_have_containers(demo):
    joined = demo.table("specimens").join(demo.procedures.select("procedure_id", "status"), on="procedure_id")
    assert_none(joined, pl.col("status") != "completed")


def test_containers_do_not_hold_more_cores_than_were_taken(demo):
    held = demo.table("specimens").group_by("procedure_id").agg(pl.col("cores").sum().alias("held"))
    assert_none(held.join(demo.procedures, on="procedure_id"), pl.col("held") > pl.col("cores"))


def test_taken_order_is_not_repeated(demo):
    assert demo.table("specimens").select("procedure_id", "taken_order").is_duplicated().sum() == 0


def test_pooled_container_names_another_one_of_its_procedure(demo):
    specimens = demo.table("specimens")
    carrier = specimens.select(scanned_with="specimen_id", owner="procedure_id", pooled="scanned_with")
    joined = specimens.join(carrier, on="scanned_with")
    assert_none(
        joined,
        (pl.col("owner") != pl.col("procedure_id"))
        | pl.col("pooled").is_not_null()
        | pl.col("counts").is_not_null(),
    )


def test_counts_have_a_duration(demo):
    assert_none(demo.table("specimens"), pl.col("counts").is_not_null() & pl.col("scan_seconds").is_null())
