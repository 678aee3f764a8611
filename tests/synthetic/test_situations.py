"""The demo holds every situation that the measures and methods must cope with."""

from __future__ import annotations

import polars as pl
import pytest

MALIGNANT = ["in_situ", "invasive", "other_malignant"]
BENIGN = ["normal", "benign"]


def _benign(demo) -> pl.DataFrame:
    """Sampled procedures with a benign result."""
    found = demo.diagnoses.filter(pl.col("diagnosis").is_in(BENIGN))
    return demo.procedures.join(found, on="procedure_id").select("procedure_id", "patient_id", "day")


def _events(demo, kind: str) -> pl.DataFrame:
    return demo.table("followup").filter(pl.col("kind") == kind)


# -- operators, readers, patients -----------------------------------------------------


def test_about_ten_operators_at_three_sites(demo):
    assert (demo.procedures["operator"].n_unique(), demo.procedures["site"].n_unique()) == (10, 3)


def test_one_operator_has_one_procedure(demo):
    counts = demo.procedures["operator"].value_counts().filter(pl.col("count") == 1)
    assert counts["operator"].to_list() == [demo.truth["single_procedure_operator"]]


def test_one_specimen_reader_uses_one_category(demo):
    read = demo.table("specimens").filter(
        pl.col("reader") == demo.truth["one_category"]["specimen_reader"]["reader"]
    )
    assert read.height >= 20
    assert read["uptake_seen"].unique().to_list() == ["yes"]


def test_one_reviewer_uses_one_category(demo):
    of = demo.table("reviews").filter(
        pl.col("radiologist") == demo.truth["one_category"]["reviewer"]["radiologist"]
    )
    assert of.height >= 20
    assert of["determination"].unique().to_list() == ["concordant"]


@pytest.mark.parametrize("targets", [2, 3, 4, 5, 6])
def test_patients_with_several_targets(demo, targets):
    per_patient = demo.table("findings").group_by("patient_id").len()
    assert per_patient.filter(pl.col("len") == targets).height >= 1


def test_two_procedures_in_one_visit_share_a_report(demo):
    shared = demo.table("pathology").group_by("report_id").agg(pl.col("procedure_id").n_unique())
    assert shared["procedure_id"].max() >= 2


# -- attempts and chains ---------------------------------------------------------------


@pytest.mark.parametrize("status", ["cancelled", "abandoned"])
def test_attempts_without_tissue(demo, status):
    assert demo.procedures.filter(pl.col("status") == status).height >= 10


def test_target_not_seen_on_the_day(demo):
    assert demo.procedures.filter(pl.col("status_reason") == "target_not_seen").height >= 20


def test_pet_tracer_guides_about_half(demo):
    share = (demo.procedures["guidance"] == "pet_tracer").mean()
    assert 0.4 <= share <= 0.6


@pytest.mark.parametrize("guidance", ["gamma_tracer", "mri", "stereotactic", "tomosynthesis", "ultrasound"])
def test_every_other_guidance_occurs(demo, guidance):
    assert demo.procedures.filter(pl.col("guidance") == guidance).height >= 50


def _with_parent(demo) -> pl.DataFrame:
    before = demo.procedures.select(
        repeat_of="procedure_id", parent_status="status", grandparent="repeat_of", parent_finding="finding_id"
    )
    return demo.procedures.join(before, on="repeat_of")


def test_repeat_of_a_repeat(demo):
    assert _with_parent(demo)["grandparent"].drop_nulls().len() >= 3


def test_completed_after_cancelled(demo):
    after = _with_parent(demo).filter(
        (pl.col("parent_status") == "cancelled") & (pl.col("status") == "completed")
    )
    assert after.height >= 5


def test_two_repeats_of_one_procedure(demo):
    assert demo.procedures["repeat_of"].drop_nulls().is_duplicated().any()


def test_repeat_on_another_finding_of_the_same_breast(demo):
    assert _with_parent(demo).filter(pl.col("finding_id") != pl.col("parent_finding")).height >= 1


# -- targeting and specimens -----------------------------------------------------------


@pytest.mark.parametrize("attempt", [2, 3])
def test_further_attempts(demo, attempt):
    assert demo.table("targeting").filter(pl.col("attempt") == attempt).height >= 10


def test_stand_in_that_is_not_matched_in_length(demo):
    assert demo.table("targeting").filter(pl.col("length_matched") == "no").height >= 10


def test_compression_lies_along_the_needle_for_some_and_across_it_for_most(demo):
    tracer = demo.procedures.filter(pl.col("guidance") == "pet_tracer").select("procedure_id")
    axes = demo.table("targeting").join(tracer, on="procedure_id", how="semi")
    across = (axes["needle_axis"] != axes["compression_axis"]).mean()
    assert 0.6 < across < 0.95


def test_oblique_needle_has_no_direction(demo):
    oblique = demo.table("targeting").filter(pl.col("needle_axis") == "oblique")
    assert oblique.height >= 1
    assert oblique["needle_direction"].null_count() == oblique.height


def test_containers_scanned_at_once(demo):
    assert demo.table("specimens")["scanned_with"].drop_nulls().len() >= 20


def test_specimens_read_after_the_report(demo):
    first = demo.table("pathology").group_by("procedure_id").agg(pl.col("reported_on").min())
    read = demo.table("specimens").join(first, on="procedure_id")
    assert read.filter(pl.col("read_at").dt.date() > pl.col("reported_on")).height >= 5


def test_uptake_values_are_tied(demo):
    ratio = demo.table("findings")["uptake_ratio"].drop_nulls()
    assert ratio.is_duplicated().mean() > 0.9


# -- pathology and reviews -------------------------------------------------------------


@pytest.mark.parametrize("status", ["preliminary", "amended", "retracted"])
def test_report_versions(demo, status):
    assert demo.table("pathology").filter(pl.col("status") == status).height >= 5


def test_report_per_container(demo):
    assert demo.table("pathology")["specimen_id"].drop_nulls().len() >= 50


def test_addendum_changes_the_diagnosis_after_the_review(demo):
    group = ["report_id", "procedure_id", "specimen_id"]
    versions = demo.table("pathology").sort(*group, "version", nulls_last=True)
    changed = versions.filter(
        (pl.col("status") == "amended") & (pl.col("diagnosis") != pl.col("diagnosis").shift(1).over(group))
    )
    late = changed.join(demo.first_conclusive, on="procedure_id").filter(
        pl.col("reported_on") > pl.col("decided_on")
    )
    assert late.height >= 10


def test_sampled_procedure_without_a_report(demo):
    sampled = demo.procedures.filter(pl.col("status") == "completed")
    assert sampled.join(demo.diagnoses, on="procedure_id", how="anti").height >= 10


def test_reported_procedure_without_a_joint_review(demo):
    joint = demo.table("reviews").filter(pl.col("stage") == "joint")
    assert demo.diagnoses.join(joint, on="procedure_id", how="anti").height >= 20


@pytest.mark.parametrize("determination", ["discordant", "indeterminate", "not_applicable"])
def test_reviews_that_are_not_concordant(demo, determination):
    assert demo.table("reviews").filter(pl.col("determination") == determination).height >= 20


def test_discordant_review_that_a_later_one_revises(demo):
    joint = demo.table("reviews").filter(pl.col("stage") == "joint").sort("reviewed_on", "review_id")
    ends = joint.group_by("procedure_id", maintain_order=True).agg(
        pl.col("determination").first().alias("first"), pl.col("determination").last().alias("last")
    )
    assert ends.filter((pl.col("first") == "discordant") & (pl.col("last") == "concordant")).height >= 1


# -- follow-up -------------------------------------------------------------------------


def test_excision_elsewhere(demo):
    assert _events(demo, "excision").filter(pl.col("same_site") == "no").height >= 10


def test_linkage_that_found_no_cancer(demo):
    assert _events(demo, "registry_linkage").filter(pl.col("diagnosis") == "none").height >= 100


@pytest.mark.parametrize("kind", ["lost", "contact", "death"])
def test_events_without_an_examination(demo, kind):
    assert _events(demo, kind).height >= 10


@pytest.mark.parametrize("kind", ["excision", "registry_linkage"])
def test_later_cancer_known_from_an_event(demo, kind):
    later = _events(demo, kind).filter(
        pl.col("diagnosis").is_in(MALIGNANT) & (pl.col("same_site") != "no").fill_null(True)
    )
    assert later.join(_benign(demo), on="procedure_id", how="semi").height >= 1


def test_later_cancer_known_from_a_repeat(demo):
    repeats = demo.procedures.join(
        demo.diagnoses.filter(pl.col("diagnosis").is_in(MALIGNANT)), on="procedure_id"
    )
    assert repeats.filter(pl.col("repeat_of").is_in(_benign(demo)["procedure_id"].implode())).height >= 1


def test_deaths_known_from_one_table_only(demo):
    of = demo.procedures.select("procedure_id", "patient_id")
    told = set(_events(demo, "death").join(of, on="procedure_id")["patient_id"])
    written = set(demo.table("patients").filter(pl.col("death_date").is_not_null())["patient_id"])
    assert min(len(told - written), len(written - told), len(told & written)) >= 3


def test_death_competes_within_three_years_of_a_benign_result(demo):
    dead = demo.table("patients").select("patient_id", "death_date").drop_nulls()
    near = (
        _benign(demo)
        .join(dead, on="patient_id")
        .filter(pl.col("death_date") - pl.col("day") <= pl.duration(days=1095))
    )
    assert near.height >= 3


def test_findings_at_follow_up_come_on_a_grid_of_visits(demo):
    imaging = (
        _events(demo, "imaging")
        .filter(pl.col("imaging_outcome") != "progressed")
        .join(demo.procedures, on="procedure_id")
    )
    days = (imaging["happened_on"] - imaging["day"]).dt.total_days()
    # 20 days of spread, and up to 5 to the next working day after the end-of-year days.
    near = [((days - due) >= -20) & ((days - due) <= 25) for due in (183, 365, 730)]
    assert (near[0] | near[1] | near[2]).all()


def test_missing_follow_up_depends_on_concordance(large):
    """Of benign results two years old, the discordant ones come less often within seven months."""
    benign = (
        _benign(large)
        .filter(pl.col("day") < pl.date(2024, 6, 1))
        .join(large.first_conclusive, on="procedure_id")
    )
    still = benign.filter(~pl.col("procedure_id").is_in(large.procedures["repeat_of"].drop_nulls().implode()))
    still = still.join(_events(large, "excision"), on="procedure_id", how="anti")
    seen = _events(large, "imaging").join(large.procedures, on="procedure_id")
    seen = (
        seen.filter(pl.col("happened_on") - pl.col("day") <= pl.duration(days=210))
        .select("procedure_id")
        .unique()
    )
    came = still.with_columns(came=pl.col("procedure_id").is_in(seen["procedure_id"].implode()))
    share = dict(came.group_by("determination").agg(pl.col("came").mean()).iter_rows())
    assert share["discordant"] < 0.75 * share["concordant"]


# -- strata without variation ----------------------------------------------------------


def test_excision_device_never_has_an_insufficient_sample(demo):
    taken = demo.procedures.filter(pl.col("device") == "excision_device").join(
        demo.diagnoses, on="procedure_id"
    )
    assert taken.height >= 30
    assert "insufficient" not in set(taken["diagnosis"])


def test_other_devices_have_insufficient_samples(demo):
    taken = demo.procedures.filter(pl.col("device") != "excision_device").join(
        demo.diagnoses, on="procedure_id"
    )
    assert taken.filter(pl.col("diagnosis") == "insufficient").height >= 20


def test_category_6_is_malignant_every_time(demo):
    sampled = demo.procedures.filter(pl.col("assessment") == "6").join(demo.diagnoses, on="procedure_id")
    assert sampled.height >= 5
    assert set(sampled["diagnosis"]) <= set(MALIGNANT)


def test_share_of_cancer_is_plausible(demo):
    sampled = demo.procedures.join(demo.diagnoses, on="procedure_id")
    assert 0.30 <= sampled["diagnosis"].is_in(MALIGNANT).mean() <= 0.45


def test_share_of_discordant_reviews_is_plausible(demo):
    assert 0.02 <= (demo.first_conclusive["determination"] == "discordant").mean() <= 0.06
