"""Page: do those who decide agree, and did they decide before flags were shown?"""

from __future__ import annotations

from dashboards.components import cautions
from dashboards.components.agreement import audit
from dashboards.components.quality import lead

lead(
    "An audit of the meeting itself: provisional against joint decisions, two readings or more of one procedure by different radiologists, "
    "flags against decisions, and how often the decision came before flags were shown."
)
audit()
cautions.caution(cautions.DISCORDANCE, cautions.SMALL)
