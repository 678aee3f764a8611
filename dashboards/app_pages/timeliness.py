"""Page: how long the steps take from finding to action, against the local limits."""

from __future__ import annotations

from dashboards.components import cautions
from dashboards.components.quality import lead
from dashboards.components.steps import steps

lead(
    "How many days lie between finding, advice, biopsy, report, joint review, telling the patient and what was decided. "
    "Waiting is part of the outcome for whoever waits."
)
steps()
cautions.caution(cautions.SMALL, cautions.COMPARE)
