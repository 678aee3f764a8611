"""Rows entered by hand: what a form asks, what is stored already, drafts, and saving without overwriting."""

from registry.entry.drafts import Draft, discard, draft, drafts, keep
from registry.entry.forms import FORMS, FormField, form_fields
from registry.entry.saving import Changed, Opened, check, opened, save

__all__ = [
    "FORMS",
    "Changed",
    "Draft",
    "FormField",
    "Opened",
    "check",
    "discard",
    "draft",
    "drafts",
    "form_fields",
    "keep",
    "opened",
    "save",
]
