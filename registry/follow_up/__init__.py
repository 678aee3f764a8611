"""The follow-up loop: who is due, what a call came to, what an outside report says, whom to write to."""

from registry.follow_up.due import due_by_patient
from registry.follow_up.entry import CONTACTS, close, record_contact, record_outside
from registry.follow_up.recall import recall, waits_for_report

__all__ = [
    "CONTACTS",
    "close",
    "due_by_patient",
    "recall",
    "record_contact",
    "record_outside",
    "waits_for_report",
]
