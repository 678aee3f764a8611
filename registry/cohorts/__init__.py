"""Cohorts of a study: the file that defines one, what a registry has of it, and what it says."""

from registry.cohorts.definition import (
    INDEX_DATES,
    REFERENCE_STANDARDS,
    UNITS,
    CohortFile,
    Step,
)
from registry.cohorts.drawing import Drawn, draw
from registry.cohorts.fields import FilterField, filter_fields
from registry.cohorts.figure import flow_figure, flow_words
from registry.cohorts.filters import Comparison, Filter, Joined, Negated
from registry.cohorts.flow import FlowStep
from registry.cohorts.freezing import freeze, frozen, frozen_file
from registry.cohorts.models import Coefficient, Model, covariates_known, model
from registry.cohorts.outcomes import MISSED, UPGRADE, Outcome, cohort_measures, outcomes
from registry.cohorts.table_one import Group, TableOne, groupings, table_one
from registry.cohorts.words import filter_words, operator_words

__all__ = [
    "INDEX_DATES",
    "MISSED",
    "REFERENCE_STANDARDS",
    "UNITS",
    "UPGRADE",
    "Coefficient",
    "CohortFile",
    "Comparison",
    "Drawn",
    "Filter",
    "FilterField",
    "FlowStep",
    "Group",
    "Joined",
    "Model",
    "Negated",
    "Outcome",
    "Step",
    "TableOne",
    "cohort_measures",
    "covariates_known",
    "draw",
    "filter_fields",
    "filter_words",
    "flow_figure",
    "flow_words",
    "freeze",
    "frozen",
    "frozen_file",
    "groupings",
    "model",
    "operator_words",
    "outcomes",
    "table_one",
]
