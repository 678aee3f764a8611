"""What a result writes out: the names of the contract, dates in ISO form, nothing that JSON cannot hold."""

from __future__ import annotations

import json
from datetime import date

import pytest

from registry.measures.results import (
    Bounds,
    CategoryRatio,
    CategoryTable,
    Curve,
    CurveEstimate,
    ProportionResult,
    QuantityResult,
)

ASKED = {"as_of": date(2026, 6, 30), "start": date(2025, 1, 1), "end": None, "registry": "stamp"}
WRITTEN = {"as_of": "2026-06-30", "from": "2025-01-01", "to": None, "registry": "stamp"}


def proportion(**cells: object) -> ProportionResult:
    return ProportionResult(
        measure="false_omission",
        stratum="A",
        numerator=1,
        denominator=4,
        excluded={"not resolved": 2},
        proportion=0.25,
        lower=0.05,
        upper=0.7,
        confidence=0.9,
        interval="exact",
        method="Clopper-Pearson",
        patients=3,
        **ASKED,
        **cells,
    )


def test_a_proportion_with_bounds():
    made = proportion(bounds=Bounds(0.2, 0.5, 2, 0.1, 0.8), design_effect=1.5).to_dict()

    assert made == {
        "measure": "false_omission",
        "stratum": "A",
        "numerator": 1,
        "denominator": 4,
        "excluded": {"not resolved": 2},
        "proportion": 0.25,
        "lower": 0.05,
        "upper": 0.7,
        "confidence": 0.9,
        "interval": "exact",
        "method": "Clopper-Pearson",
        "patients": 3,
        "upper_bound_no_events": None,
        "design_effect": 1.5,
        "bounds": {"lower": 0.2, "upper": 0.5, "unknown": 2, "interval_lower": 0.1, "interval_upper": 0.8},
        **WRITTEN,
    }
    assert json.loads(json.dumps(made)) == made


def test_bounds_without_chance_have_no_interval():
    made = proportion(bounds=Bounds(0.2, 0.5, 2)).to_dict()

    assert (made["bounds"]["interval_lower"], made["bounds"]["interval_upper"]) == (None, None)


def test_a_proportion_without_bounds():
    assert proportion().to_dict()["bounds"] is None


def test_a_quantity():
    made = QuantityResult(
        measure="tissue_mass_g",
        stratum="all",
        n=9,
        missing=1,
        median=3.0,
        q1=2.0,
        q3=4.0,
        p5=1.2,
        p95=8.8,
        lower=1.0,
        upper=5.0,
        unit="g",
        confidence=0.95,
        excluded={"no specimen": 1},
        patients=8,
        **ASKED,
    ).to_dict()

    assert made == {
        "measure": "tissue_mass_g",
        "stratum": "all",
        "n": 9,
        "missing": 1,
        "median": 3.0,
        "q1": 2.0,
        "q3": 4.0,
        "p5": 1.2,
        "p95": 8.8,
        "lower": 1.0,
        "upper": 5.0,
        "unit": "g",
        "confidence": 0.95,
        "patients": 8,
        "excluded": {"no specimen": 1},
        **WRITTEN,
    }
    assert json.loads(json.dumps(made)) == made


def test_a_table_of_categories():
    ratio = CategoryRatio("npv_b2", 5, 6, 5 / 6, 0.4, 1.0, 2, "wilson", 1.25)
    made = CategoryTable(
        measure="b_category_accuracy",
        stratum="all",
        cells={"m": (0, 1, 0, 0, 2), "b": (0, 0, 1, 0, 0), "n": (0, 5, 0, 0, 3)},
        unresolved=(0, 2, 0, 0, 1),
        cancers=6,
        benign=1,
        total=12,
        ratios=(ratio,),
        identities={"columns sum to T": True},
        excluded={"no b category": 4},
        patients=11,
        confidence=0.95,
        interval="wilson",
        **ASKED,
    ).to_dict()

    assert made == {
        "measure": "b_category_accuracy",
        "stratum": "all",
        "cancers": 6,
        "benign": 1,
        "total": 12,
        "patients": 11,
        "confidence": 0.95,
        "interval": "wilson",
        "cells": {"m": [0, 1, 0, 0, 2], "b": [0, 0, 1, 0, 0], "n": [0, 5, 0, 0, 3]},
        "unresolved": [0, 2, 0, 0, 1],
        "identities": {"columns sum to T": True},
        "excluded": {"no b category": 4},
        "rows": [
            {
                "name": "npv_b2",
                "x": 5,
                "n": 6,
                "proportion": 5 / 6,
                "lower": 0.4,
                "upper": 1.0,
                "unresolved": 2,
                "interval": "wilson",
                "clustering": 1.25,
            }
        ],
        **WRITTEN,
    }
    assert json.loads(json.dumps(made)) == made


def estimate(name: str, share: float) -> CurveEstimate:
    return CurveEstimate(
        name=name,
        at=(365, 730),
        incidence=(share, None),
        lower=(share / 2, None),
        upper=(share * 2, None),
        at_risk=(7, 0),
        step_days=(0, 90),
        steps=(0.0, share),
        step_lower=(None, share / 2),
        step_upper=(None, share * 2),
        step_at_risk=(9, 8),
        events=1,
        deaths=2,
    )


def test_a_curve_has_a_row_for_each_estimate_and_day():
    made = Curve(
        measure="cancer_after_benign",
        stratum="all",
        n=9,
        estimates={"lost": estimate("lost", 0.25), "free": estimate("free", 0.125)},
        excluded={"not sampled": 3},
        patients=9,
        confidence=0.95,
        interval="log(-log)",
        **ASKED,
    ).to_dict()
    beyond = {"days": 730, "incidence": None, "lower": None, "upper": None, "at_risk": 0}

    assert made == {
        "measure": "cancer_after_benign",
        "stratum": "all",
        "n": 9,
        "patients": 9,
        "confidence": 0.95,
        "interval": "log(-log)",
        "excluded": {"not sampled": 3},
        "rows": [
            {"estimate": "lost", "days": 365, "incidence": 0.25, "lower": 0.125, "upper": 0.5, "at_risk": 7},
            {"estimate": "lost", **beyond},
            {
                "estimate": "free",
                "days": 365,
                "incidence": 0.125,
                "lower": 0.0625,
                "upper": 0.25,
                "at_risk": 7,
            },
            {"estimate": "free", **beyond},
        ],
        "steps": {
            "lost": {"days": [0, 90], "incidence": [0.0, 0.25], "at_risk": [9, 8]},
            "free": {"days": [0, 90], "incidence": [0.0, 0.125], "at_risk": [9, 8]},
        },
        **WRITTEN,
    }
    assert json.loads(json.dumps(made)) == made


#: Names of the ratios of the contract, as a reader of the trade's own tables knows them.
PRINTED = {
    "absolute_sensitivity": "Absolute sensitivity",
    "complete_sensitivity": "Complete sensitivity",
    "miss_rate": "Miss rate",
    "false_negative_b2": "False negatives of B2",
    "false_positive": "False positives",
    "suspicious_rate": "Suspicious rate",
    "b1_rate": "B1 rate",
    "ppv_b5": "Predictive value of B5",
    "ppv_b4": "Predictive value of B4",
    "ppv_b3": "Predictive value of B3",
    "npv_b2": "Negative predictive value of B2",
    "specificity_biopsied": "Specificity, excised only",
    "specificity_full": "Specificity, all",
}


@pytest.mark.parametrize("name", PRINTED)
def test_a_ratio_is_printed_in_words(name: str):
    assert CategoryRatio(name, 0, 0, None, None, None).words == PRINTED[name]
