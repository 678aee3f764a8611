"""Intake: the only writer of the registry."""

from registry.intake.accept import Options, accept
from registry.intake.inbox import InboxReport, Reading, take_inbox
from registry.intake.one_row import enter, enter_together
from registry.intake.report import IntakeReport, ReportedProblem, RowCounts
from registry.intake.withdrawal import Withdrawal, withdraw

__all__ = [
    "InboxReport",
    "IntakeReport",
    "Options",
    "Reading",
    "ReportedProblem",
    "RowCounts",
    "Withdrawal",
    "accept",
    "enter",
    "enter_together",
    "take_inbox",
    "withdraw",
]
