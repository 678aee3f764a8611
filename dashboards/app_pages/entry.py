"""Page: rows entered by hand, through the same door as files."""

from __future__ import annotations

from dashboards.components import cautions
from dashboards.components.entry_form import entry_form
from dashboards.components.markup import element, show

show(
    element(
        "p",
        "Patients, findings, procedures, placements, specimens, reports, complications and follow-up, one row at a time. What intake "
        "would say of a row stands beside its fields while you write. Drafts are kept without identifiers and free text.",
        class_="lead",
    )
)
entry_form()
cautions.caution(cautions.RECORD)
