"""Page: was tissue obtained, and does it hold what was aimed at?"""

from __future__ import annotations

from dashboards.components import cautions
from dashboards.components.quality import lead, measures_of

lead(
    "Whether tissue was obtained, how much, what the pathologist found in it, and whether the specimens hold the tracer or the calcifications that were aimed at."
)
measures_of("yield", "pathology", "specimens", key="sampling yield")
cautions.caution(cautions.TRACER, cautions.SMALL, cautions.PHYSICS, cautions.RADIATION)
