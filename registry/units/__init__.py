"""Operators and sites beside one another, and what experience does to a proportion; nobody is ranked."""

from registry.units.funnel import FEWEST_OTHERS, OPERATOR, SITE, WAYS, Funnel, Unit, funnel, without_names
from registry.units.learning import Learning, LearningPoint, learning
from registry.units.pool import Pool, pool
from registry.units.rows import Background

__all__ = [
    "FEWEST_OTHERS",
    "OPERATOR",
    "SITE",
    "WAYS",
    "Background",
    "Funnel",
    "Learning",
    "LearningPoint",
    "Pool",
    "Unit",
    "funnel",
    "learning",
    "pool",
    "without_names",
]
