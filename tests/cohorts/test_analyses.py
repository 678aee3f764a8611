"""Measures, outcomes and models among the procedures of a cohort, each worked out again another way."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm

from registry.cohorts import MISSED, UPGRADE, cohort_measures, covariates_known, draw, model, outcomes
from registry.errors import UsageProblem
from registry.measures import evaluate, load_measures, procedures
from registry.stats.proportions import wilson_interval
from tests.cohorts.conftest import AS_OF, Reading, cohort
from tests.measures.build import day

TRACER = {"field": "is_tracer_guided", "operator": "eq", "value": True}


@pytest.fixture
def tracer(registry):
    return draw(registry, cohort(population=TRACER), seed=1)


# -- measures ----------------------------------------------------------------------


def test_every_proportion_is_that_of_the_cohorts_procedures(registry, tracer):
    """Counted from the list behind each measure, kept to the keys of the cohort."""
    keys = set(tracer.frame["procedure_id"])
    proportions = [one.id for one in load_measures().values() if one.kind == "proportion"]
    found = {one.measure: one for one in cohort_measures(registry, tracer, proportions)}
    counted = {}
    for name in proportions:
        rows = procedures(registry, name, as_of=AS_OF).filter(
            pl.col("procedure_id").is_in(keys) & pl.col("excluded_because").is_null()
        )
        counted[name] = (int(rows["in_numerator"].sum() or 0), rows.height)

    assert {name: (one.numerator, one.denominator) for name, one in found.items()} == counted
    assert sum(n for _, n in counted.values()) > 1_000


def test_a_cohort_of_everything_has_the_figures_of_the_service_less_those_who_object(registry):
    everything = draw(registry, cohort(), seed=1)
    (found,) = cohort_measures(registry, everything, ["discordance"], interval="clustered")
    (service,) = evaluate(registry, ["discordance"], as_of=AS_OF, interval="clustered")
    objecting = next(one.left_out for one in everything.flow if one.key == "objection")

    assert objecting > 0
    assert found.denominator + sum(found.excluded.values()) == everything.frame.height
    assert service.denominator + sum(service.excluded.values()) == everything.frame.height + objecting
    assert found.method == service.method


def test_the_probability_of_sampling_is_not_asked_of_a_cohort(registry, tracer):
    with pytest.raises(UsageProblem, match="sampling_probability: is no proportion"):
        cohort_measures(registry, tracer, ["sampling_probability"])
    with pytest.raises(UsageProblem, match="asked of a whole service"):
        evaluate(registry, ["sampling_probability"], as_of=AS_OF, among=["P1"])


# -- outcomes ----------------------------------------------------------------------


def test_pending_is_left_out_or_counted_as_best_or_as_worst(drawn):
    """Six high-risk results, all two years old: one cancer, two clear, one excised benign, two with nothing."""
    for number in range(6):
        drawn.procedure(f"P{number}")
        drawn.report(f"P{number}", "high_risk")
    drawn.excision("P0", 20, "invasive")
    drawn.imaging("P1", 700, "stable", modality="pet_tracer")
    drawn.imaging("P2", 700, "stable", modality="pet_tracer")
    drawn.excision("P3", 20, "benign")
    made = draw(Reading(drawn), cohort(as_of=day(900).isoformat()))
    found = {
        one.reading: (one.numerator, one.denominator, one.pending)
        for one in outcomes(Reading(drawn), made)
        if one.measure == "upgrade_high_risk_resolved"
    }

    assert found == {
        "complete only": (1, 4, 2),
        "pending as best": (1, 6, 2),
        "pending as worst": (3, 6, 2),
    }


def test_outcomes_ask_those_who_came_as_far_as_the_reference_standard(drawn):
    """A cohort with a standard has left the pending ones out, and they must be there to be pending."""
    for number in range(3):
        drawn.procedure(f"P{number}")
        drawn.report(f"P{number}", "high_risk")
    drawn.excision("P0", 20, "invasive")
    strict = cohort(
        as_of=day(900).isoformat(), reference_standard="excision_or_follow_up", minimum_follow_up_days=700
    )
    made = draw(Reading(drawn), strict)
    found = {
        one.reading: one.denominator for one in outcomes(Reading(drawn), made) if one.measure == UPGRADE[1]
    }

    assert made.frame.height == 1
    assert found == {"complete only": 1, "pending as best": 3, "pending as worst": 3}


def test_intervals_of_outcomes_are_those_of_their_counts(registry, tracer):
    found = outcomes(registry, tracer)

    assert [one.measure for one in found] == [name for name in (*UPGRADE, *MISSED) for _ in range(3)]
    for one in found:
        if one.denominator:
            low, high = wilson_interval([one.numerator], [one.denominator], 0.95)
            assert (one.lower, one.upper) == pytest.approx((low[0], high[0]))
    bounds = {
        one.measure: one.bounds
        for one in evaluate(registry, list(MISSED), as_of=AS_OF, among=tracer.reaching)
    }
    for name, one in bounds.items():
        best, worst = (x for x in found if x.measure == name and x.reading != "complete only")
        assert (best.proportion, worst.proportion) == (one.lower, one.upper)


def test_outcomes_refuse_the_clustered_interval(registry, tracer):
    with pytest.raises(UsageProblem, match="Choose one of wilson"):
        outcomes(registry, tracer, interval="clustered")


# -- models ------------------------------------------------------------------------


def table(registry, tracer):
    said = procedures(registry, "cancer_at_biopsy", as_of=AS_OF).filter(pl.col("excluded_because").is_null())
    return (
        tracer.frame.join(said.select("procedure_id", "in_numerator"), on="procedure_id")
        .drop_nulls(["age_years", "size_mm", "laterality"])
        .sort("procedure_id")
    )


def test_gee_agrees_with_statsmodels_over_rows_put_together_here(registry, tracer):
    made = model(
        registry, tracer, outcome="cancer_at_biopsy", covariates=["age_years", "size_mm", "laterality"]
    )
    rows = table(registry, tracer)
    right = (rows["laterality"] == "R").sum()
    usual = "R" if right > rows.height / 2 else "L"
    design = np.column_stack(
        [
            np.ones(rows.height),
            rows["age_years"].to_numpy(),
            rows["size_mm"].to_numpy(),
            (rows["laterality"] != usual).cast(pl.Float64).to_numpy(),
        ]
    )
    fit = sm.GEE(
        rows["in_numerator"].cast(pl.Int64).to_numpy(),
        design,
        groups=rows["patient_no"].to_numpy(),
        family=sm.families.Binomial(),
        cov_struct=sm.cov_struct.Independence(),
    ).fit()
    found = made.coefficients

    assert [one.covariate for one in found] == ["(intercept)", "age_years", "size_mm", "laterality"]
    assert found[3].reference == usual
    assert [one.log_odds for one in found] == pytest.approx(fit.params.tolist(), rel=1e-6)
    assert [[one.lower, one.upper] for one in found] == [
        pytest.approx(one, rel=1e-6) for one in fit.conf_int().tolist()
    ]
    assert (made.n, made.events, made.patients) == (
        rows.height,
        rows["in_numerator"].sum(),
        rows["patient_no"].n_unique(),
    )


def test_rows_left_out_are_told_by_reason(registry, tracer):
    made = model(registry, tracer, outcome="cancer_at_biopsy", covariates=["size_mm"])

    assert made.n + sum(made.left_out.values()) == tracer.frame.height
    assert made.left_out["size_mm not recorded"] > 0


def separated(drawn, events: int):
    """40 women; those with cancer, and only those, were over 59."""
    for number in range(40):
        key = f"P{number:02}"
        drawn.procedure(
            key, age_years=60 + number % 9 if number < events else 40 + number % 9, cores=number % 7
        )
        drawn.report(key, "invasive" if number < events else "benign")
    return draw(Reading(drawn), cohort(as_of=day(400).isoformat()))


def test_separation_ends_in_a_sentence_and_firth_stays_finite(drawn):
    made = separated(drawn, 12)
    given = {"outcome": "cancer_at_biopsy", "covariates": ["age_years"]}
    with pytest.raises(UsageProblem, match="age_years: one of them separates the outcomes .* --method firth"):
        model(Reading(drawn), made, **given)
    fit = model(Reading(drawn), made, **given, method="firth")

    assert all(np.isfinite([one.log_odds, one.lower, one.upper]).all() for one in fit.coefficients)
    assert fit.coefficients[1].lower > 0


def test_too_few_events_end_in_a_sentence(drawn):
    made = separated(drawn, 2)
    with pytest.raises(
        UsageProblem, match="2 of the rarer outcome among 40 rows, too few for 2 coefficients"
    ):
        model(
            Reading(drawn),
            made,
            outcome="cancer_at_biopsy",
            covariates=["age_years", "cores"],
            method="firth",
        )


def test_outcomes_that_are_all_alike_end_in_a_sentence(drawn):
    made = separated(drawn, 0)
    with pytest.raises(UsageProblem, match="0 of 40 rows have it"):
        model(Reading(drawn), made, outcome="cancer_at_biopsy", covariates=["age_years"])


def test_few_events_for_each_coefficient_are_said(registry, tracer):
    made = model(registry, tracer, outcome="discordance", covariates=["age_years"], method="firth")

    assert any("with fewer than 10 each" in one for one in made.cautions)
    assert any("takes them for independent" in one for one in made.cautions)
    assert made.cautions[-1] == "What goes with an outcome need not cause it."


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"outcome": "size_mm"}, "size_mm"),
        ({"outcome": "targeting_error_mm"}, "is no proportion"),
        ({"covariates": ["operator_no"]}, "operator_no: is no covariate of a model. Allowed: repeat_reason"),
        ({"covariates": ["started_on"]}, "is no covariate"),
        ({"covariates": []}, "1 to 10 covariates"),
        ({"covariates": ["age_years", "age_years"]}, "each once"),
        ({"covariates": ["is_sampled"]}, "is_sampled: has one value only"),
        (
            {"covariates": ["diagnosis", "is_malignant"], "method": "firth"},
            "diagnosis, is_malignant: depend on one another",
        ),
        ({"method": "ordinary"}, "there is no such method. Known: gee, firth"),
        ({"confidence": 95}, "Write 95 % as 0.95"),
    ],
)
def test_a_model_that_cannot_be_fitted_says_why(registry, tracer, changed, says):
    with pytest.raises(UsageProblem, match=says):
        model(registry, tracer, **{"outcome": "cancer_at_biopsy", "covariates": ["age_years"], **changed})


def test_no_covariate_is_a_key_staff_or_a_date():
    assert {"patient_no", "procedure_id", "operator_no", "supervisor_no", "started_on", "died_on"}.isdisjoint(
        covariates_known()
    )


def test_a_cohort_too_small_for_figures_has_no_model(registry):
    newest = registry.rows("SELECT max(started_on) FROM procedure_facts")[0][0].isoformat()
    few = draw(registry, cohort(population={"field": "started_on", "operator": "ge", "value": newest}))
    with pytest.raises(UsageProblem, match="Look at its flow and widen a step"):
        model(registry, few, outcome="cancer_at_biopsy", covariates=["age_years"])
