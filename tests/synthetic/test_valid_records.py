"""Reports, reviews, follow-up and constancy carry what they must, and nothing that contradicts it."""

from __future__ import annotations

import polars as pl
import pytest

from tests.synthetic.conftest import assert_none


def test_versions_are_consecutive(demo):
    group = ["report_id", "procedure_id", "specimen_id"]
    grouped = demo.table("pathology").group_by(group).agg(pl.len(), pl.col("version").max())
    assert_none(grouped, pl.col("len") != pl.col("version"))


def test_later_version_is_not_reported_before_the_earlier(demo):
    group = ["report_id", "procedure_id", "specimen_id"]
    ordered = demo.table("pathology").sort(*group, "version", nulls_last=True)
    before = pl.col("reported_on").shift(1).over(group)
    assert_none(ordered.with_columns(before=before), pl.col("reported_on") < pl.col("before"))


def test_first_version_is_not_amended(demo):
    assert_none(
        demo.table("pathology"), (pl.col("version") == 1) & pl.col("status").is_in(["amended", "retracted"])
    )


def test_reports_are_of_sampled_procedures(demo):
    joined = demo.table("pathology").join(
        demo.procedures.select("procedure_id", taken="status"), on="procedure_id"
    )
    assert_none(joined, pl.col("taken") != "completed")


def test_container_of_a_report_is_of_its_procedure(demo):
    owner = demo.table("specimens").select("specimen_id", owner="procedure_id")
    assert_none(
        demo.table("pathology").join(owner, on="specimen_id"), pl.col("owner") != pl.col("procedure_id")
    )


def test_b_category_fits_the_diagnosis(demo):
    fits = {
        "insufficient": "B1",
        "normal": "B1",
        "benign": "B2",
        "high_risk": "B3",
        "suspicious": "B4",
        "in_situ": "B5a",
        "invasive": "B5b",
        "other_malignant": "B5d",
    }
    assert_none(demo.table("pathology"), pl.col("b_category") != pl.col("diagnosis").replace_strict(fits))


def test_behaviour_fits_the_diagnosis(demo):
    # ICD-O-3 behaviour: 0 benign, 1 uncertain, 2 in situ, 3 malignant, 6 malignant and metastatic.
    fits = {
        "normal": "",
        "benign": "0",
        "high_risk": "012",
        "in_situ": "2",
        "invasive": "3",
        "other_malignant": "36",
    }
    allowed = pl.col("diagnosis").replace_strict(fits, default="0123")
    assert_none(
        demo.table("pathology"), ~allowed.str.contains(pl.col("morphology").str.slice(-1), literal=True)
    )


def test_morphology_has_the_form_of_icd_o(demo):
    assert_none(demo.table("pathology"), ~pl.col("morphology").str.contains(r"^\d{4}/\d$"))


def test_grade_goes_with_carcinoma_only(demo):
    assert_none(
        demo.table("pathology"),
        pl.col("grade").is_not_null() & ~pl.col("diagnosis").is_in(["in_situ", "invasive"]),
    )


def test_atypia_is_stated_for_every_high_risk_lesion(demo):
    assert_none(
        demo.table("pathology"), (pl.col("diagnosis") == "high_risk") != pl.col("atypia").is_not_null()
    )


def test_amendment_for_receptors_alone_changes_nothing_else(demo):
    group = ["report_id", "procedure_id", "specimen_id"]
    kept = ["b_category", "lesion", "atypia", "calcifications", "morphology", "other_lesions"]
    versions = demo.table("pathology").sort(*group, "version", nulls_last=True)
    same = pl.col("diagnosis") == pl.col("diagnosis").shift(1).over(group)
    changed = pl.any_horizontal(pl.col(name).ne_missing(pl.col(name).shift(1).over(group)) for name in kept)
    assert_none(versions, (pl.col("status") == "amended") & same & changed)


def test_review_is_not_before_the_first_version_of_any_report(demo):
    first = demo.table("pathology").group_by("procedure_id").agg(pl.col("reported_on").min())
    assert_none(
        demo.table("reviews").join(first, on="procedure_id"), pl.col("reviewed_on") < pl.col("reported_on")
    )


def test_sampled_procedure_is_reviewed_only_with_a_report(demo):
    sampled = demo.procedures.filter(pl.col("status") == "completed").select("procedure_id")
    reviewed = demo.table("reviews").join(sampled, on="procedure_id", how="semi")
    assert reviewed.join(demo.table("pathology"), on="procedure_id", how="anti").height == 0


def test_not_applicable_is_for_procedures_without_tissue(demo):
    joined = demo.table("reviews").join(demo.procedures.select("procedure_id", "status"), on="procedure_id")
    assert_none(joined, (pl.col("determination") == "not_applicable") & (pl.col("status") == "completed"))


def test_joint_review_has_two_people(demo):
    joint = pl.col("stage") == "joint"
    assert_none(
        demo.table("reviews"),
        joint & (pl.col("pathologist").is_null() | (pl.col("pathologist") == pl.col("radiologist"))),
    )


def test_meeting_of_a_review_is_held_that_day_at_the_site(demo):
    meetings = demo.table("meetings").select("meeting_id", "held_on", place="site")
    joined = demo.table("reviews").join(meetings, on="meeting_id").join(demo.procedures, on="procedure_id")
    assert_none(joined, (pl.col("held_on") != pl.col("reviewed_on")) | (pl.col("place") != pl.col("site")))


def test_open_or_discordant_review_has_a_reason(demo):
    needs = pl.col("determination").is_in(["discordant", "indeterminate"])
    assert_none(demo.table("reviews"), needs != pl.col("reason").is_not_null())


def test_discordant_review_recommends_an_action(demo):
    actions = ["repeat_biopsy", "vacuum_excision", "excision", "surgical_opinion", "treatment"]
    assert_none(
        demo.table("reviews"),
        (pl.col("determination") == "discordant") & ~pl.col("management").is_in(actions),
    )


@pytest.mark.parametrize(
    ("field", "kinds"),
    [
        ("imaging_outcome", ["imaging"]),
        ("diagnosis", ["excision", "registry_linkage"]),
        ("contact_result", ["contact"]),
        ("closure_reason", ["lost"]),
    ],
)
def test_detail_of_an_event_goes_with_its_kind(demo, field, kinds):
    assert_none(demo.table("followup"), pl.col("kind").is_in(kinds) != pl.col(field).is_not_null())


def test_excision_always_has_a_diagnosis_of_tissue(demo):
    assert_none(demo.table("followup"), (pl.col("kind") == "excision") & (pl.col("diagnosis") == "none"))


def test_malignant_biopsy_with_benign_excision_is_adjudicated(demo):
    malignant = demo.diagnoses.filter(pl.col("diagnosis").is_in(["in_situ", "invasive", "other_malignant"]))
    events = demo.table("followup").join(malignant.select("procedure_id"), on="procedure_id", how="semi")
    clear = (pl.col("kind") == "excision") & pl.col("diagnosis").is_in(["benign", "normal"])
    assert_none(events, clear & (pl.col("same_site") != "no") & pl.col("adjudication").is_null())


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("counts", ["source_id", "counts", "seconds"]),
        ("targeting", ["error_x_mm", "error_y_mm", "error_z_mm"]),
        ("clock", ["clock_offset_s"]),
    ],
)
def test_constancy_check_carries_what_its_kind_needs(demo, kind, fields):
    assert_none(
        demo.table("constancy"), (pl.col("kind") == kind) != pl.all_horizontal(pl.col(fields).is_not_null())
    )
