"""Page: what an accrediting body asks for once a year, for any twelve months."""

from __future__ import annotations

from dashboards.components import cautions
from dashboards.components.markup import element, show
from dashboards.components.yearly import yearly_table

show(
    element(
        "p",
        "Procedures, cancers, benign results, repeat biopsies by reason and complications that needed treatment, for any twelve months, in counts.",
        class_="lead",
    )
)
yearly_table()
cautions.caution(cautions.BENIGN, cautions.GRADES)
