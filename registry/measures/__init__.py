"""Measures: each one a SQL file that classifies procedures; here they are counted and shown.

SQL says of every procedure why it is left out, whether it counts, or what was measured.
Python counts, and adds the interval.
"""

from registry.measures.b_category import b_category_table
from registry.measures.curve import curve
from registry.measures.definition import Exclusion, Measure, load_measures
from registry.measures.evaluation import clustering, evaluate
from registry.measures.listing import exclusion_flow, procedures
from registry.measures.results import (
    CategoryRatio,
    CategoryTable,
    ClusteringEffect,
    Curve,
    CurveEstimate,
    ProportionResult,
    QuantityResult,
)
from registry.measures.strata import NOT_RECORDED, STRATA

__all__ = [
    "NOT_RECORDED",
    "STRATA",
    "CategoryRatio",
    "CategoryTable",
    "ClusteringEffect",
    "Curve",
    "CurveEstimate",
    "Exclusion",
    "Measure",
    "ProportionResult",
    "QuantityResult",
    "b_category_table",
    "clustering",
    "curve",
    "evaluate",
    "exclusion_flow",
    "load_measures",
    "procedures",
]
