"""Page: whose follow-up is due, and what became of it."""

from __future__ import annotations

from dashboards.answers import follow_up_due as answers
from dashboards.components import cautions
from dashboards.components.calls import choose, how_many, letters, the_due, work_on
from dashboards.components.markup import element, show
from dashboards.components.quality import lead

lead(
    "Whose follow-up is due, one line per patient. A line leaves the list when an examination that can show the target, tissue, "
    "a linkage or a death is recorded, wherever it comes from."
)
rows = answers.due()
if not rows.height:
    show(element("p", "Nobody is due.", class_="lead"))
else:
    how_many(rows)
    chosen = choose(rows)
    if chosen:
        work_on(chosen)
    the_due(rows)
    letters(rows)
cautions.caution(cautions.BENIGN, cautions.TRACER)
