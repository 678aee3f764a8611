"""Tracer in the specimens: what the counts can tell, by scan, by diagnosis and by visit.

SQL (``sql/uptake``) says which containers lay in one scan, which procedures shared an
injection, and whether a reading was blind to the report. Here the physics of
``registry.tracer`` and the statistics of ``registry.stats`` are put to those rows.
"""

from registry.uptake.chain import (
    TOLERANCES,
    ClockCheck,
    LeakTest,
    PhantomCheck,
    PhantomTrend,
    clock_checks,
    leak_tests,
    phantom_checks,
    phantom_trends,
    tolerance,
)
from registry.uptake.constancy import BASELINE, Constancy, Source, constancy, sources
from registry.uptake.decision import DECISIONS, Decision, decide
from registry.uptake.diagnosis import (
    DiagnosisGroup,
    Discrimination,
    by_diagnosis,
    discrimination,
    readings,
)
from registry.uptake.dose import Injection, Visit, VisitDoses, visit_doses, visits
from registry.uptake.planning_and_day import SameLesion, lesion_ratios, pairs, same_lesion
from registry.uptake.readers import benign_with_uptake, blind_readings, judged_against_counts
from registry.uptake.scans import Scan, scan_of, scans
from registry.uptake.summary import summary
from registry.uptake.warning import (
    AgainstDiagnosis,
    MissedCancer,
    TwoMarkers,
    against_diagnosis,
    beside_the_lesion,
    missed_cancer,
)
from registry.uptake.warning_rows import Figure

__all__ = [
    "BASELINE",
    "DECISIONS",
    "TOLERANCES",
    "AgainstDiagnosis",
    "ClockCheck",
    "Constancy",
    "Decision",
    "DiagnosisGroup",
    "Discrimination",
    "Figure",
    "Injection",
    "LeakTest",
    "MissedCancer",
    "PhantomCheck",
    "PhantomTrend",
    "SameLesion",
    "Scan",
    "Source",
    "TwoMarkers",
    "Visit",
    "VisitDoses",
    "against_diagnosis",
    "benign_with_uptake",
    "beside_the_lesion",
    "blind_readings",
    "by_diagnosis",
    "clock_checks",
    "constancy",
    "decide",
    "discrimination",
    "judged_against_counts",
    "leak_tests",
    "lesion_ratios",
    "missed_cancer",
    "pairs",
    "phantom_checks",
    "phantom_trends",
    "readings",
    "same_lesion",
    "scan_of",
    "scans",
    "sources",
    "summary",
    "tolerance",
    "visit_doses",
    "visits",
]
