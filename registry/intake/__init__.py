"""Intake: the only writer of the registry."""

from registry.intake.accept import Options, accept
from registry.intake.report import IntakeReport, ReportedProblem, RowCounts

__all__ = ["IntakeReport", "Options", "ReportedProblem", "RowCounts", "accept"]
