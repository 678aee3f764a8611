"""Rows entered by hand: what a form asks, what is stored already, drafts, and saving without overwriting."""

from registry.entry.about import About, about
from registry.entry.drafts import Draft, discard, draft, drafts, keep
from registry.entry.forms import FORMS, FormField, form_fields
from registry.entry.room import (
    INJECTED,
    begun,
    check_together,
    findings_without_procedure,
    habits,
    save_together,
)
from registry.entry.saving import Changed, Opened, check, opened, save
from registry.entry.uptake_time import Uptake, uptake_time

__all__ = [
    "FORMS",
    "INJECTED",
    "About",
    "Changed",
    "Draft",
    "FormField",
    "Opened",
    "Uptake",
    "about",
    "begun",
    "check",
    "check_together",
    "discard",
    "draft",
    "drafts",
    "findings_without_procedure",
    "form_fields",
    "habits",
    "keep",
    "opened",
    "save",
    "save_together",
    "uptake_time",
]
