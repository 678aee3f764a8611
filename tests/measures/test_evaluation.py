"""What a result carries: counts, interval, dates, strata, patients."""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pytest

from registry.errors import UsageProblem
from registry.measures import STRATA, clustering, evaluate
from registry.stats.clustering import clustered_wilson_interval
from registry.stats.proportions import exact_interval, jeffreys_interval, wilson_interval
from tests.measures.build import day

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = day(1000)


def cancelled(drawn: Drawn, key: str, on: int = 0, **cells: object) -> None:
    drawn.procedure(key, on, status="cancelled", **cells)


def test_a_result_carries_what_was_agreed(drawn: Drawn):
    drawn.procedure("one")
    drawn.procedure("two")
    drawn.procedure("three", status="abandoned")
    cancelled(drawn, "four")
    (result,) = evaluate(drawn.built(), ["tissue_obtained"], as_of=AS_OF, start=day(0), end=day(10))
    said = result.to_dict()
    lower, upper = wilson_interval(2, 3)

    assert said == {
        "measure": "tissue_obtained",
        "stratum": "all",
        "numerator": 2,
        "denominator": 3,
        "excluded": {"cancelled": 1},
        "proportion": 2 / 3,
        "lower": lower,
        "upper": upper,
        "confidence": 0.95,
        "interval": "wilson",
        "method": "Wilson",
        "patients": 3,
        "upper_bound_no_events": None,
        "design_effect": None,
        "bounds": None,
        "as_of": AS_OF.isoformat(),
        "from": day(0).isoformat(),
        "to": day(10).isoformat(),
        "registry": "drawn by a test",
    }
    assert json.loads(json.dumps(said)) == said


@pytest.mark.parametrize(
    ("interval", "function"),
    [("wilson", wilson_interval), ("exact", exact_interval), ("jeffreys", jeffreys_interval)],
)
def test_the_interval_is_the_one_asked_for(drawn: Drawn, interval: str, function: object):
    for number in range(4):
        drawn.procedure(f"{number}", status="completed" if number else "abandoned")
    (result,) = evaluate(drawn.built(), ["tissue_obtained"], as_of=AS_OF, interval=interval, confidence=0.9)

    assert (result.lower, result.upper) == function(3, 4, 0.9)
    assert (result.interval, result.confidence) == (interval, 0.9)


def test_the_clustered_interval_sums_over_patients(drawn: Drawn):
    """Patient sums, cancelled of all: 2/2, 0/2, 1/1, 0/3."""
    for patient, (y, n) in enumerate(((2, 2), (0, 2), (1, 1), (0, 3))):
        for number in range(n):
            drawn.finding(f"F{patient}{number}", f"patient {patient}")
            status = "cancelled" if number < y else "completed"
            drawn.procedure(f"{patient} {number}", finding=f"F{patient}{number}", status=status)
    (result,) = evaluate(drawn.built(), ["cancellation"], as_of=AS_OF, interval="clustered")
    expected = clustered_wilson_interval([2, 0, 1, 0], [2, 2, 1, 3])
    effect = clustering(drawn, "cancellation", as_of=AS_OF)
    low, high = wilson_interval(3, 8)

    assert (result.numerator, result.denominator, result.patients) == (3, 8, 4)
    assert (result.lower, result.upper, result.design_effect) == (
        expected.lower,
        expected.upper,
        expected.deff,
    )
    assert effect.ratio == pytest.approx((expected.upper - expected.lower) / (high - low))
    assert (effect.patients, effect.procedures, effect.from_data) == (4, 8, True)


def test_clustering_without_procedures_has_no_ratio(drawn: Drawn):
    effect = clustering(drawn.built(), "cancellation", as_of=AS_OF)

    assert (effect.ratio, effect.patients) == (None, 0)


def test_nothing_counted_has_a_one_sided_bound(drawn: Drawn):
    """1 - 0.05^(1/20) = 13.9 %, printed for 0 of 20 in tables of the rule of three."""
    for number in range(20):
        drawn.procedure(f"{number}")
    (result,) = evaluate(drawn.built(), ["cancellation"], as_of=AS_OF)

    assert (result.numerator, result.proportion, result.lower) == (0, 0.0, 0.0)
    assert result.upper_bound_no_events == pytest.approx(0.139, abs=5e-4)


def test_the_period_bounds_the_start_of_the_procedure_both_days_included(drawn: Drawn):
    for on in (9, 10, 20, 21):
        cancelled(drawn, f"day {on}", on)
    (result,) = evaluate(drawn.built(), ["cancellation"], as_of=AS_OF, start=day(10), end=day(20))

    assert result.denominator == 2


def test_a_repeat_outside_the_period_still_counts(drawn: Drawn):
    drawn.procedure("first", 10)
    drawn.procedure("second", 40, repeat_of="first")
    (result,) = evaluate(drawn.built(), ["repeat_biopsy"], as_of=AS_OF, end=day(20))

    assert (result.numerator, result.denominator, result.excluded) == (1, 1, {})


def test_patients_are_counted_once(drawn: Drawn):
    """A with three procedures, one of them left out; B with one; C only left out."""
    for key, patient, status in (
        ("A1", "A", "completed"),
        ("A2", "A", "abandoned"),
        ("A3", "A", "cancelled"),
        ("B1", "B", "completed"),
        ("C1", "C", "cancelled"),
        ("C2", "C", "cancelled"),
    ):
        drawn.finding(f"finding of {key}", patient)
        drawn.procedure(key, status=status)
    (result,) = evaluate(drawn.built(), ["tissue_obtained"], as_of=AS_OF)

    assert (result.denominator, result.patients) == (3, 2)


def test_a_patient_in_two_strata_counts_in_each(drawn: Drawn):
    for key, site in (("A1", "north"), ("A2", "south"), ("A3", "south")):
        drawn.finding(f"finding of {key}", "A")
        drawn.procedure(key, site=site)
    results = evaluate(drawn.built(), ["cancellation"], as_of=AS_OF, by="site")

    assert {one.stratum: (one.denominator, one.patients) for one in results} == {
        "north": (1, 1),
        "south": (2, 1),
    }


#: Stratum -> two codes, and where they stand.
CELLS = {
    "site": ("procedures", "A", "B"),
    "operator": ("procedures", "OP1", "OP2"),
    "guidance": ("procedures", "mri", "ultrasound"),
    "approach": ("procedures", "lateral", "medial"),
    "indication": ("procedures", "screening", "staging"),
    "device": ("procedures", "core_needle", "vacuum_assisted"),
    "gauge": ("procedures", 8, 10),
    "assessment": ("findings", "4", "5"),
    "finding_type": ("findings", "focus", "mass"),
    "correlate": ("findings", "mri", "none"),
}
OPTIONAL = ("approach", "indication", "device", "gauge", "correlate")


@pytest.mark.parametrize("by", CELLS)
def test_strata_from_a_column(drawn: Drawn, by: str):
    table, first, second = CELLS[by]
    for number, code in enumerate((first, second, second, *([None] if by in OPTIONAL else []))):
        cells = {by: code}
        drawn.finding(f"F{number}", **(cells if table == "findings" else {}))
        drawn.procedure(f"{number}", finding=f"F{number}", **(cells if table == "procedures" else {}))
    results = evaluate(drawn.built(), ["cancellation"], as_of=AS_OF, by=by)
    expected = {str(first): 1, str(second): 2, **({"not recorded": 1} if by in OPTIONAL else {})}

    assert {one.stratum: one.denominator for one in results} == expected
    assert [one.stratum for one in results] == list(expected)


def test_strata_from_the_day(drawn: Drawn):
    """Day 0 is 2020-01-01; 2020 is a leap year, so that day 91 is 1 April and day 366 the next year."""
    for on in (0, 90, 91, 365, 366):
        drawn.procedure(f"{on}", on)
    drawn.built()

    def split(by: str) -> dict[str, int]:
        return {one.stratum: one.denominator for one in evaluate(drawn, ["cancellation"], as_of=AS_OF, by=by)}

    assert split("year") == {"2020": 4, "2021": 1}
    assert split("quarter") == {"2020-Q1": 2, "2020-Q2": 1, "2020-Q4": 1, "2021-Q1": 1}


def test_every_stratum_is_tested():
    assert set(STRATA) == {*CELLS, "year", "quarter"}


def test_a_stratum_in_which_all_are_left_out_is_shown(drawn: Drawn):
    drawn.procedure("kept", site="A")
    cancelled(drawn, "left out", site="B")
    results = evaluate(drawn.built(), ["tissue_obtained"], as_of=AS_OF, by="site")

    assert [(one.stratum, one.denominator, one.proportion) for one in results] == [
        ("A", 1, 1.0),
        ("B", 0, None),
    ]
    assert results[1].excluded == {"cancelled": 1}


def test_without_procedures_a_split_has_no_strata(drawn: Drawn):
    assert evaluate(drawn.built(), ["cancellation"], as_of=AS_OF, by="site") == []


def test_within_keeps_one_value_of_each_stratum(drawn: Drawn):
    cancelled(drawn, "one", site="A", approach="lateral")
    cancelled(drawn, "two", site="A", approach="medial")
    cancelled(drawn, "three", site="B", approach="lateral")
    cancelled(drawn, "four", site="A")
    drawn.built()

    def size(**within: str) -> int:
        (result,) = evaluate(drawn, ["cancellation"], as_of=AS_OF, within=within)
        return result.denominator

    assert (
        size(site="A"),
        size(site="A", approach="lateral"),
        size(approach="not recorded"),
        size(site="C"),
    ) == (3, 1, 1, 0)


def test_a_value_is_bound_and_never_part_of_the_statement(drawn: Drawn):
    cancelled(drawn, "one", site="x' OR 'a' = 'a")
    cancelled(drawn, "two")
    (result,) = evaluate(drawn.built(), ["cancellation"], as_of=AS_OF, within={"site": "x' OR 'a' = 'a"})

    assert result.denominator == 1


def test_results_stand_in_the_order_asked_for(drawn: Drawn):
    ids = ["tissue_mass_g", "cancellation", "cancer_after_benign", "tissue_obtained", "b_category_accuracy"]

    assert [one.measure for one in evaluate(drawn.built(), ids, as_of=AS_OF)] == ids


@pytest.mark.parametrize(
    ("asked", "complaint"),
    [
        ({"ids": ["repeats"]}, "repeats: there is no such measure"),
        ({"by": "patient"}, "patient: a measure cannot be split by it"),
        ({"within": {"patient": "x"}}, "patient: a measure cannot be split by it"),
        ({"interval": "wald"}, "wald: there is no such interval"),
        ({"confidence": 95}, "does not lie between 0 and 1"),
        ({"start": day(5), "end": day(4)}, "the first day is after the last"),
    ],
)
def test_a_question_that_cannot_be_asked(drawn: Drawn, asked: dict[str, object], complaint: str):
    ids = asked.pop("ids", ["cancellation"])

    with pytest.raises(UsageProblem, match=complaint):
        evaluate(drawn, ids, as_of=AS_OF, **asked)


# --- quantities --------------------------------------------------------------------------


def masses(drawn: Drawn, *values: float) -> None:
    for number, value in enumerate(values):
        drawn.procedure(f"{number}")
        drawn.specimen(f"{number}", mass_g=value)


def test_quantiles_interpolate_between_order_statistics(drawn: Drawn):
    """Of 1 2 3 4 10: the median is 3; the quartiles stand at ranks 2 and 4; 5 % at 1.2, 95 % at 8.8."""
    masses(drawn, 10, 3, 1, 4, 2)
    drawn.procedure("without a specimen")
    cancelled(drawn, "not sampled")
    (result,) = evaluate(drawn.built(), ["tissue_mass_g"], as_of=AS_OF)

    assert (result.n, result.missing, result.median, result.q1, result.q3) == (5, 1, 3.0, 2.0, 4.0)
    assert (result.p5, result.p95) == (pytest.approx(1.2), pytest.approx(8.8))
    assert result.excluded == {"not sampled": 1, "no specimen": 1}
    assert result.unit == "g"
    assert result.patients == 5


def test_the_median_of_five_values_has_no_interval(drawn: Drawn):
    """P(all five on one side) = 2 * (1/2)^5 = 6.25 % is more than the 5 % that 95 % confidence leaves."""
    masses(drawn, 1, 2, 3, 4, 5)
    (result,) = evaluate(drawn.built(), ["tissue_mass_g"], as_of=AS_OF)

    assert (result.lower, result.upper) == (None, None)


def test_the_interval_of_the_median_is_made_of_order_statistics(drawn: Drawn):
    """Ten values: ranks 2 and 9, since P(at most one below the median) = 11/1024 = 1.1 %, and two would be 5.5 %."""
    masses(drawn, *np.arange(10, 0, -1).astype(float))
    (result,) = evaluate(drawn.built(), ["tissue_mass_g"], as_of=AS_OF)

    assert (result.lower, result.upper) == (2.0, 9.0)
    assert result.to_dict()["median"] == 5.5


def test_quantities_are_split_too(drawn: Drawn):
    for site, value in (("A", 1.0), ("A", 3.0), ("B", 7.0)):
        key = drawn.procedure(drawn.key("P"), site=site)
        drawn.specimen(key, mass_g=value)
    results = evaluate(drawn.built(), ["tissue_mass_g"], as_of=AS_OF, by="site")

    assert {one.stratum: (one.n, one.median) for one in results} == {"A": (2, 2.0), "B": (1, 7.0)}


@pytest.mark.parametrize(
    "measure",
    [
        "biopsy_to_report_days",
        "report_to_review_days",
        "tip_clearance_mm",
        "marker_shift_mm",
        "tissue_mass_g",
        "specimen_concentration_ratio",
    ],
)
def test_what_is_left_out_of_a_sampled_procedure_is_missing_under_any_guidance(drawn: Drawn, measure: str):
    for guidance in ("pet_tracer", "ultrasound"):
        drawn.procedure(guidance, guidance=guidance)
    cancelled(drawn, "not sampled")
    (result,) = evaluate(drawn.built(), [measure], as_of=AS_OF)

    assert (result.n, result.missing) == (0, 2)


def test_repeats_are_not_missing(drawn: Drawn):
    drawn.procedure("first")
    drawn.procedure("second", 5, repeat_of="first")
    (result,) = evaluate(drawn.built(), ["finding_to_biopsy_days"], as_of=AS_OF)

    assert (result.n, result.missing, result.excluded) == (1, 0, {"repeat procedure": 1})


def test_a_date_is_no_datetime():
    assert type(AS_OF) is date


@pytest.mark.parametrize("confidence", [0, 1, 95])
def test_a_confidence_at_its_ends_or_in_per_cent_is_refused(drawn: Drawn, confidence: float):
    with pytest.raises(UsageProblem, match="does not lie between 0 and 1. Write 95 % as 0.95"):
        evaluate(drawn.built(), ["cancellation"], as_of=AS_OF, confidence=confidence)


def test_results_stand_in_the_order_asked_for_whatever_their_kind(drawn: Drawn):
    """A quantity before a proportion and the other way round; strata in the order of their names."""
    for site in ("B", "A"):
        drawn.specimen(drawn.procedure(drawn.key("P"), site=site), mass_g=1.0)
    drawn.built()
    for asked in (["tissue_mass_g", "cancellation"], ["cancellation", "tissue_mass_g"]):
        made = evaluate(drawn, asked, as_of=AS_OF, by="site")
        assert [(one.measure, one.stratum) for one in made] == [
            (name, site) for name in asked for site in "AB"
        ]


def test_only_where_nothing_counted_there_is_a_one_sided_bound(drawn: Drawn):
    cancelled(drawn, "one")
    drawn.procedure("two")
    (result,) = evaluate(drawn.built(), ["cancellation"], as_of=AS_OF)

    assert result.upper_bound_no_events is None
