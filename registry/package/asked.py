"""What is asked of an export: which rows, in which form, by whom and what for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from registry.cohorts import CohortFile
    from registry.disclosure.profiles import Profile

#: In the order in which they are written.
FORMATS = ("csv", "parquet", "dta", "sav", "xpt", "xlsx")
USUAL = ("csv", "parquet")


@dataclass(frozen=True)
class Asked:
    """One request. ``cohort`` is None for all procedures of a period."""

    as_of: date
    start: date | None
    end: date | None
    author: str
    reason: str
    profile: Profile
    formats: tuple[str, ...]
    project: str | None
    cohort: CohortFile | None
    seed: int | None = None

    @property
    def period(self) -> dict[str, date | None]:
        """Parameters of the cohort's SQL."""
        return {"start": self.start, "end": self.end}

    def check(self) -> None:
        """Refuse an empty reason and a period that ends before it begins."""
        if not self.reason.strip():
            raise UsageProblem(
                "An export needs a reason, which is kept in the trail. Give one with --reason."
            )
        if self.start and self.end and self.start > self.end:
            raise UsageProblem(
                f"The period runs from {self.start} to {self.end}: the first day is after the last. Swap them."
            )

    def stated(self) -> dict[str, Any]:
        """The request as the manifest and the trail state it."""
        return {
            "as_of": self.as_of.isoformat(),
            "from": self.start.isoformat() if self.start else None,
            "to": self.end.isoformat() if self.end else None,
            "reason": self.reason,
            "profile": self.profile.name,
            "project": self.project,
            "cohort": self.cohort.name if self.cohort else None,
            "cohort_version": self.cohort.version if self.cohort else None,
            "cohort_sha256": self.cohort.sha256 if self.cohort else None,
            "formats": list(self.formats),
        }


def formats_of(names: Sequence[str]) -> tuple[str, ...]:
    """Formats in the usual order; CSV and Parquet are always among them.

    Raises
    ------
    UsageProblem
        One is not known.
    """
    wanted = [one.strip().lower() for one in names if one.strip()]
    for one in wanted:
        if one not in FORMATS:
            raise UsageProblem(f"--formats {one}: is not known. Formats are {', '.join(FORMATS)}.")
    return tuple(one for one in FORMATS if one in wanted or one in USUAL)
