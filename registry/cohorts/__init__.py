"""Cohorts of a study: the file that defines one, and what a registry has of it."""

from registry.cohorts.definition import CohortFile, Step
from registry.cohorts.drawing import Drawn, draw
from registry.cohorts.fields import FilterField, filter_fields
from registry.cohorts.filters import Comparison, Filter, Joined, Negated
from registry.cohorts.flow import FlowStep

__all__ = [
    "CohortFile",
    "Comparison",
    "Drawn",
    "Filter",
    "FilterField",
    "FlowStep",
    "Joined",
    "Negated",
    "Step",
    "draw",
    "filter_fields",
]
