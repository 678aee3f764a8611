"""What a pack is about, and what one part of it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from datetime import date

    from registry.disclosure.cells import Rule
    from registry.measures.counting import Reader
    from registry.reports.document import Section
    from registry.reports.pack.told import Told

COMMITTEE = (
    "sampling_confirmed",
    "insufficient_sample",
    "cancer_at_biopsy",
    "discordance",
    "repeat_biopsy",
    "complication",
    "follow_up_complete",
)
"""Proportions that are watched, compared and set beside one another by operator and site (project default)."""

Key = tuple[str, ...]
AMONG, COUNTED, BEFORE, QUARTERS = "among", "counted", "before", "quarters"
CELLS, TOTALS, AT_RISK, YEARLY = "cells", "totals", "at risk", "yearly"
"""First word of a key: counts that are shown together or not at all, a measure or a cell of the yearly table each; units stand under operator and site."""

Rows = dict[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class Asked:
    """What the pack is about: the registry, the period, the day, and which cells are hidden."""

    registry: Reader
    as_of: date
    start: date
    end: date
    rule: Rule
    told: Told

    @property
    def minimum(self) -> int:
        """Smallest denominator for which a percentage is shown."""
        return self.registry.site.minimum_n

    @property
    def period(self) -> dict[str, date]:
        """Arguments that every service takes."""
        return {"as_of": self.as_of, "start": self.start, "end": self.end}


@dataclass(frozen=True)
class Part:
    """A section, and the rows of its tables by the name of their file."""

    section: Section
    rows: Rows
