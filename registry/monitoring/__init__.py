"""Watching a measure over time, answering what it signals, and comparing periods or groups."""

from registry.monitoring.adjusted import Adjusted, adjusted
from registry.monitoring.comparison import Comparison, Pair, compare_groups, compare_periods
from registry.monitoring.cumulative import Accepted, Cumulative, Signal, accepted_rate, cumulative
from registry.monitoring.later_cancer import (
    LaterCancer,
    later_cancer_by_group,
    later_cancer_in_periods,
)
from registry.monitoring.notes import ANSWERS, Note, answer, answered, notes
from registry.monitoring.periods import (
    Point,
    Volume,
    about_the_median,
    last_quarters,
    point,
    points,
    volumes,
)
from registry.monitoring.watched import Watched, watch, watched_title
from registry.monitoring.weighted import Weighted, weighted

__all__ = [
    "ANSWERS",
    "Accepted",
    "Adjusted",
    "Comparison",
    "Cumulative",
    "LaterCancer",
    "Note",
    "Pair",
    "Point",
    "Signal",
    "Volume",
    "Watched",
    "Weighted",
    "about_the_median",
    "accepted_rate",
    "adjusted",
    "answer",
    "answered",
    "compare_groups",
    "compare_periods",
    "cumulative",
    "last_quarters",
    "later_cancer_by_group",
    "later_cancer_in_periods",
    "notes",
    "point",
    "points",
    "volumes",
    "watch",
    "watched_title",
    "weighted",
]
