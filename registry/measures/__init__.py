"""Measures: each one a SQL file that classifies procedures; here they are counted and shown.

SQL says of every procedure why it is left out, whether it counts, or what was measured.
Python counts, and adds the interval.
"""

from registry.measures.b_category import b_category_table
from registry.measures.clusters import WORTH_SAYING
from registry.measures.curve import curve, drawn_steps
from registry.measures.definition import Exclusion, Measure, load_measures
from registry.measures.effects import clustering, clustering_effects, patients
from registry.measures.evaluation import evaluate
from registry.measures.listing import exclusion_flow, procedures
from registry.measures.looks import LooksCurve, looks, looks_curve
from registry.measures.results import (
    CategoryRatio,
    CategoryTable,
    ClusteringEffect,
    Curve,
    CurveEstimate,
    ProportionResult,
    QuantityResult,
)
from registry.measures.standing import Maturity, maturity, reason_in_words, standing_of
from registry.measures.strata import NOT_RECORDED, STRATA

__all__ = [
    "NOT_RECORDED",
    "STRATA",
    "WORTH_SAYING",
    "CategoryRatio",
    "CategoryTable",
    "ClusteringEffect",
    "Curve",
    "CurveEstimate",
    "Exclusion",
    "LooksCurve",
    "Maturity",
    "Measure",
    "ProportionResult",
    "QuantityResult",
    "b_category_table",
    "clustering",
    "clustering_effects",
    "curve",
    "drawn_steps",
    "evaluate",
    "exclusion_flow",
    "load_measures",
    "looks",
    "looks_curve",
    "maturity",
    "patients",
    "procedures",
    "reason_in_words",
    "standing_of",
]
