"""The truth beside the data agrees with the parameters, and the data follow it."""

from __future__ import annotations

import math

import numpy as np
import polars as pl
import pytest

from synthetic_data import parameters
from tests.synthetic.units import MALIGNANT, UNITS, reported, units_of

GIVEN = parameters.values(parameters.tree())
#: Half-lives: F-18 109.77 min (European Pharmacopoeia 5.7), Ge-68 270.8 d (Grigorescu 2004).
F18_MINUTES, GE68_DAYS = 109.77, 270.8


@pytest.mark.parametrize("measure", sorted(UNITS))
def test_denominator_is_that_of_the_tables(large, measure):
    assert large.truth["measures"][measure]["n"] == units_of(large, measure).height


@pytest.mark.parametrize("measure", sorted(UNITS))
def test_observed_share_lies_near_the_truth(large, measure):
    """Within four standard errors of a ratio of sums over patients (clustered, at the true rate)."""
    units, rate = units_of(large, measure), large.truth["measures"][measure]["rate"]
    patients = units.group_by("patient_id").agg(
        pl.col("yes").sum().cast(pl.Float64).alias("y"), pl.len().alias("n")
    )
    residual = (patients["y"] - rate * patients["n"]).to_numpy()
    assert abs(residual.sum()) < 4 * math.sqrt((residual**2).sum())


@pytest.mark.parametrize("guidance", list(GIVEN["service"]["guidance"]))
def test_cancer_at_biopsy_by_guidance_is_the_parameter(demo, guidance):
    stratum = demo.truth["measures"]["cancer_at_biopsy"]["by"]["guidance"][guidance]
    assert stratum["rate"] == pytest.approx(GIVEN["result"][guidance]["malignant"], abs=1e-6)


@pytest.mark.parametrize("guidance", list(GIVEN["service"]["guidance"]))
def test_cancellation_by_guidance_is_the_parameter(demo, guidance):
    stratum = demo.truth["measures"]["cancellation"]["by"]["guidance"][guidance]
    assert stratum["rate"] == pytest.approx(GIVEN["procedure"]["cancelled"][guidance], abs=1e-6)


def test_severe_complications_are_the_product_of_the_parameters(demo):
    given = GIVEN["complication"]
    # Any complication, of grade 3 or 4, with onset within 30 days.
    expected = given["any"] * (given["grade_3"] + given["grade_4"]) * given["within_30_days"]
    assert demo.truth["measures"]["severe_complication"]["rate"] == pytest.approx(expected, abs=1e-6)


def test_upgrade_of_in_situ_cancer_is_the_published_share(demo):
    # Brennan 2011, Radiology 260:119: 1736 of 7350 in situ lesions were invasive at excision.
    assert demo.truth["measures"]["upgrade_in_situ"]["rate"] == pytest.approx(1736 / 7350, abs=5e-5)


def test_discordant_benign_share_of_all_biopsies_is_near_the_published_one(large):
    """The published 64/3080 is a share of all; one operator doubled, one reviewer without any."""
    benign, all_ = (large.truth["measures"][name] for name in ("discordant_benign", "discordance"))
    assert benign["rate"] * benign["n"] / all_["n"] == pytest.approx(64 / 3080, rel=0.2)


def test_doubled_operator_starts_three_years_before_the_end(demo):
    doubled = demo.truth["doubled_operator"]
    assert (doubled["operator"], doubled["from"], doubled["factor"]) == ("OP02", "2023-06-30", 2.0)


def test_discordance_of_the_doubled_operator_doubles(large):
    doubled = large.truth["doubled_operator"]
    # Not exactly 2: the mix of results differs by chance between the two spans.
    assert doubled["after"]["rate"] / doubled["before"]["rate"] == pytest.approx(2.0, rel=0.15)


def test_observed_discordance_of_the_doubled_operator_rises(large):
    units = units_of(large, "discordance").filter(pl.col("operator") == "OP02")
    late = pl.col("day") >= pl.date(2023, 6, 30)
    before, after = (units.filter(side)["yes"].mean() for side in (~late, late))
    assert after > 1.4 * before


def test_results_of_two_targets_of_a_patient_correlate_as_stated(large):
    """Moment estimate over pairs of first biopsies of one patient under the same guidance."""
    first = reported(large).filter(pl.col("repeat_of").is_null() & (pl.col("guidance") == "pet_tracer"))
    marked = first.with_columns(y=pl.col("diagnosis").is_in(MALIGNANT).cast(pl.Float64))
    p = GIVEN["result"]["pet_tracer"]["malignant"]
    sums = marked.group_by("patient_id").agg(
        pl.len().cast(pl.Float64).alias("n"),
        (pl.col("y") - p).sum().alias("s"),
        ((pl.col("y") - p) ** 2).sum().alias("q"),
    )
    pairs = (sums["n"] * (sums["n"] - 1) / 2).sum()
    correlation = ((sums["s"] ** 2 - sums["q"]) / 2).sum() / pairs / (p * (1 - p))
    assert correlation == pytest.approx(large.truth["within_patient_correlation"], abs=0.1)


def _errors(data) -> pl.DataFrame:
    """Error vector of the last verified attempt: achieved minus the target seen again, else the plan."""
    last = data.table("targeting").sort("attempt").group_by("procedure_id", maintain_order=True).last()
    last = last.filter(pl.col("achieved_x_mm").is_not_null()).join(data.procedures, on="procedure_id")
    return last.filter(pl.col("status") == "completed").with_columns(
        (pl.col(f"achieved_{axis}_mm") - pl.coalesce(f"seen_{axis}_mm", f"planned_{axis}_mm")).alias(axis)
        for axis in "xyz"
    )


@pytest.mark.parametrize("site", ["SITE-A", "SITE-B", "SITE-C"])
def test_mean_targeting_error_of_a_site_is_its_bias(large, site):
    tracer = pl.col("guidance").is_in(["pet_tracer", "gamma_tracer"]) & (
        pl.col("device") == "vacuum_assisted"
    )
    errors = _errors(large).filter((pl.col("site") == site) & tracer).select("x", "y", "z").to_numpy()
    limit = 4 * errors.std(axis=0, ddof=1) / math.sqrt(len(errors))
    assert (np.abs(errors.mean(axis=0) - large.truth["targeting"]["bias_mm"][site]) < limit).all()


def test_covariance_of_the_targeting_error_is_the_stated_one(large):
    errors = _errors(large).filter(pl.col("site") != "SITE-B").select("x", "y", "z").to_numpy()
    stated = np.array(large.truth["targeting"]["covariance_mm2"])
    # Standard error of a covariance of normal variables: sqrt((s_ii s_jj + s_ij^2) / n).
    diagonal = np.diag(stated)
    error = np.sqrt((np.outer(diagonal, diagonal) + stated**2) / len(errors))
    assert (np.abs(np.cov(errors.T) - stated) < 4 * error).all()


def test_counts_of_specimens_follow_decay_mass_and_calibration(large):
    """Net counts give back a concentration between 0.08 and 0.85 of the lesion's uptake, as drawn."""
    found = large.table("findings").select("finding_id", "suv_max")
    one = large.table("specimens").join(large.procedures, on="procedure_id").join(found, on="finding_id")
    single = pl.len().over("procedure_id") == 1
    one = one.filter(single & (pl.col("tracer") == "F-18 FDG") & (pl.col("counts") > 0)).drop_nulls(
        ["injected_at", "mass_g", "calibration_cps_per_kbq", "suv_max"]
    )
    assert one.height > 2000
    seconds = one["scan_seconds"].to_numpy()
    minutes = (one["scan_at"] - one["injected_at"]).dt.total_minutes().to_numpy()
    decay = math.log(2) / F18_MINUTES
    within_scan = decay * seconds / 60 / (1 - np.exp(-decay * seconds / 60))
    net, sd = (
        (one["counts"] - one["background_counts"]).to_numpy(),
        np.sqrt((one["counts"] + one["background_counts"]).to_numpy()),
    )
    to_ratio = (
        within_scan
        * np.exp(decay * minutes)
        / (seconds * one["calibration_cps_per_kbq"].to_numpy() * one["mass_g"].to_numpy())
    )
    to_ratio = (
        to_ratio * one["weight_kg"].to_numpy() / one["activity_mbq"].to_numpy() / one["suv_max"].to_numpy()
    )
    assert ((net + 5 * sd) * to_ratio > 0.08).all()
    assert ((net - 5 * sd) * to_ratio < 0.85).all()


def test_counts_of_the_line_source_follow_its_decay_but_for_the_stated_loss(demo):
    source = demo.table("sources").select("source_id", "activity_mbq", "reference_on")
    checks = demo.table("constancy").filter(pl.col("kind") == "counts").join(source, on="source_id")
    age = (checks["done_at"].dt.date() - checks["reference_on"]).dt.total_days().to_numpy()
    expected = checks["activity_mbq"].to_numpy() * 0.5 ** (age / GE68_DAYS)
    rate = checks["counts"].to_numpy() / checks["seconds"].to_numpy() / expected
    usual = GIVEN["constancy"]["cps_per_mbq"]
    lost = np.abs(rate / usual - (1 - demo.truth["constancy"]["loss_share"])) < 0.01
    # Two or three monthly checks of one site fall into the 75 days; all others are within 1 %.
    assert set(checks["site"].to_numpy()[lost]) == {demo.truth["constancy"]["loss_site"]}
    assert 2 <= lost.sum() <= 3
    assert np.abs(rate[~lost] / usual - 1).max() < 0.01


def test_every_rate_of_the_truth_is_checked_here(demo):
    assert set(demo.truth["measures"]) == set(UNITS)


def test_truth_names_the_request(demo):
    asked = {name: demo.truth[name] for name in ("procedures", "seed", "until", "years")}
    assert asked == {"procedures": 3000, "seed": 20260630, "until": "2026-06-30", "years": 6}


def test_cancers_left_behind_are_found_in_part_only(demo):
    """Some hidden cancers have not come to light at the end: bounds matter."""
    left = demo.truth["cancer_left_behind"]
    assert 0 < left["with_cancer_left"] < 0.05 * left["benign_results"]
