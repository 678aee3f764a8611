"""What a measure can be split by, and which procedures are asked about."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from registry.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

ALL = "all"
NOT_RECORDED = "not recorded"
#: Name -> expression over procedure_facts. The only identifiers that a question can bring
#: into a statement; values are bound.
STRATA: Mapping[str, str] = MappingProxyType(
    {
        **{
            name: name
            for name in (
                "site",
                "operator",
                "guidance",
                "approach",
                "assessment",
                "finding_type",
                "indication",
                "correlate",
                "device",
            )
        },
        "gauge": "CAST(gauge AS VARCHAR)",
        "year": "CAST(year(started_on) AS VARCHAR)",
        "quarter": "CAST(year(started_on) AS VARCHAR) || '-Q' || CAST(quarter(started_on) AS VARCHAR)",
    }
)


@dataclass(frozen=True)
class Question:
    """Which procedures are asked about, at which day, and how they are split.

    ``start`` and ``end`` bound the day of the procedure, both included; ``within`` maps a
    stratum to the one value that is kept; ``among`` are the only procedures asked about,
    None for all.
    """

    as_of: date
    start: date | None = None
    end: date | None = None
    by: str | None = None
    within: Mapping[str, str] = field(default_factory=dict)
    among: Sequence[str] | None = None

    def __post_init__(self) -> None:
        for name in (*([self.by] if self.by else []), *self.within):
            if name not in STRATA:
                raise UsageProblem(f"{name}: a measure cannot be split by it. Known: {', '.join(STRATA)}.")
        if self.start and self.end and self.start > self.end:
            raise UsageProblem(
                f"The period runs from {self.start} to {self.end}: the first day is after the last. Swap them."
            )

    @property
    def stratum(self) -> str:
        """Expression of the stratum over procedure_facts; what is missing is a stratum of its own."""
        return _stratum(self.by) if self.by else f"'{ALL}'"

    @property
    def condition(self) -> str:
        """Condition over procedure_facts; its values are :attr:`parameters`."""
        parts = ["TRUE"]
        if self.start:
            parts.append("started_on >= $start")
        if self.end:
            parts.append("started_on <= $end")
        parts += [f"{_stratum(name)} = $within_{place}" for place, name in enumerate(self.within)]
        if self.among is not None:
            parts.append("procedure_facts.procedure_id IN (SELECT unnest($among))")
        return " AND ".join(parts)

    @property
    def parameters(self) -> dict[str, Any]:
        """Values of the condition, and the as-of date."""
        made: dict[str, Any] = {"as_of": self.as_of}
        if self.start:
            made["start"] = self.start
        if self.end:
            made["end"] = self.end
        if self.among is not None:
            made["among"] = list(self.among)
        made |= {f"within_{place}": kept for place, kept in enumerate(self.within.values())}
        return made

    @property
    def dates(self) -> dict[str, date | None]:
        """The three dates that every result carries."""
        return {"as_of": self.as_of, "start": self.start, "end": self.end}


def _stratum(name: str) -> str:
    return f"coalesce({STRATA[name]}, '{NOT_RECORDED}')"


def in_order(stratum: str) -> tuple[bool, float, str]:
    """Key that sorts strata: numbers by size, then words, what is not recorded last."""
    number = float(stratum) if stratum.isdecimal() else float("inf")
    return stratum == NOT_RECORDED, number, stratum
