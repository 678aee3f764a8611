"""Page: which fields are filled where they are expected, by site and month."""

from __future__ import annotations

from dashboards.components import cautions
from dashboards.components.completeness import filled_fields
from dashboards.components.quality import lead

lead(
    "Which of the expected fields are filled, by site and month, and whether that is changing. An empty field cannot be looked up later, and leaves its procedure out of the measures that need it."
)
filled_fields()
cautions.caution(cautions.RECORD, cautions.SMALL)
