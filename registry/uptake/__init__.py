"""Tracer in the specimens: what the counts can tell, by scan, by diagnosis and by visit.

SQL (``sql/uptake``) says which containers lay in one scan, which procedures shared an
injection, and whether a reading was blind to the report. Here the physics of
``registry.tracer`` and the statistics of ``registry.stats`` are put to those rows.
"""

from registry.uptake.constancy import Constancy, Source, constancy, sources
from registry.uptake.decision import DECISIONS, Decision, decide
from registry.uptake.diagnosis import (
    DiagnosisGroup,
    Discrimination,
    by_diagnosis,
    discrimination,
    readings,
)
from registry.uptake.dose import Injection, Visit, VisitDoses, visit_doses, visits
from registry.uptake.readers import benign_with_uptake, blind_readings, judged_against_counts
from registry.uptake.scans import Scan, scan_of, scans
from registry.uptake.summary import summary

__all__ = [
    "DECISIONS",
    "Constancy",
    "Decision",
    "DiagnosisGroup",
    "Discrimination",
    "Injection",
    "Scan",
    "Source",
    "Visit",
    "VisitDoses",
    "benign_with_uptake",
    "blind_readings",
    "by_diagnosis",
    "constancy",
    "decide",
    "discrimination",
    "judged_against_counts",
    "readings",
    "scan_of",
    "scans",
    "sources",
    "summary",
    "visit_doses",
    "visits",
]
