"""The profiles under which rows may leave: what becomes of each sensitivity of column.

A profile is an allow-list. A sensitivity without a treatment stops the export, so a column
of a new kind stays inside until somebody has decided. Free text is declared nowhere
(:mod:`registry.codebook`) and leaves under no profile.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

from registry.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Dates are moved by 1 to so many days, earlier or later.
SHIFT_DAYS = 182
#: Ages from here on are one group: ages over 89 (Safe Harbor, 45 CFR 164.514(b)(2)(i)(C)).
OLDEST = 90
#: Intervals up to here keep their days; longer ones are rounded down to steps, up to the longest.
EXACT_DAYS, STEP_DAYS, LONGEST_DAYS = 365, 91, 1820
#: Body weight is rounded to so many kg.
WEIGHT_STEP = 5


class Treatment(StrEnum):
    """What is done with a column."""

    KEEP = "keep"
    STUDY_KEY = "study key"
    POOL_AGE = "pool ages"
    SHIFT = "shift"
    INTERVAL = "interval"
    COARSE = "coarse interval"
    LIMIT = "limit interval"
    WHOLE_MM = "whole mm"
    STEP_WEIGHT = "steps of weight"
    DROP = "drop"


_T = Treatment
#: Treatment -> what the report and the codebook say of it.
WORDS: Mapping[Treatment, str] = MappingProxyType(
    {
        _T.KEEP: "as recorded",
        _T.STUDY_KEY: "replaced by a number drawn at random for the project, or for this export where none is named",
        _T.POOL_AGE: f"ages {OLDEST} and over are all written {OLDEST}",
        _T.SHIFT: f"moved by the same 1 to {SHIFT_DAYS} days as all dates of the patient, so that intervals are kept",
        _T.INTERVAL: f"days from started_on in place of the date; over {EXACT_DAYS} days rounded down to steps of "
        f"{STEP_DAYS}, at most {LONGEST_DAYS}; at most {EXACT_DAYS} where the patient would be {OLDEST} by then",
        _T.COARSE: f"days from started_on in steps of {STEP_DAYS}, rounded down, at most {LONGEST_DAYS}: many share the "
        "day, and exact days would give started_on back",
        _T.LIMIT: f"over {EXACT_DAYS} days rounded down to steps of {STEP_DAYS}, at most {LONGEST_DAYS}",
        _T.WHOLE_MM: "rounded to 1 mm",
        _T.STEP_WEIGHT: f"rounded to {WEIGHT_STEP} kg",
        _T.DROP: "left out",
    }
)


@dataclass(frozen=True)
class Profile:
    """One profile: ``rules`` by sensitivity."""

    name: str
    title: str
    rules: Mapping[str, Treatment]
    cautions: tuple[str, ...]

    def treatment(self, column: str, sensitivity: str) -> Treatment:
        """What is done with a column.

        Raises
        ------
        UsageProblem
            The profile does not know the sensitivity.
        """
        if sensitivity not in self.rules:
            raise UsageProblem(
                f"Profile {self.name} says nothing of the sensitivity '{sensitivity}' of column {column}. Nothing was "
                "exported: a column leaves only when it is classified. Give it a treatment in registry/disclosure/profiles.py."
            )
        return self.rules[sensitivity]


INTERNAL = Profile(
    "internal",
    "Direct identifiers dropped, random keys, true dates",
    {
        **dict.fromkeys(
            (
                "person",
                "age",
                "body",
                "date",
                "horizon",
                "interval",
                "place",
                "position",
                "label",
                "clinical",
            ),
            _T.KEEP,
        ),
        "key": _T.STUDY_KEY,
        "staff": _T.STUDY_KEY,
    },
    (
        "Pseudonymous, with true dates and ages: still personal data. Few columns together can be enough to know a person again.",
    ),
)
SHIFTED = Profile(
    "shifted",
    "Dates of each patient moved together, ages 90 and over pooled",
    {
        **INTERNAL.rules,
        "age": _T.POOL_AGE,
        "date": _T.SHIFT,
        "horizon": _T.SHIFT,
        "label": _T.DROP,
    },
    (
        f"Dates are not true: those of a patient are moved together by 1 to {SHIFT_DAYS} days. Intervals within a patient "
        "are true; seasons, weekdays and order between patients are not.",
        "Moved dates keep their days. By most rules that is not anonymous: it needs an agreement or an expert's opinion.",
    ),
)
RESTRICTED = Profile(
    "restricted",
    "Year only, intervals in place of dates, no operator, no site",
    {
        "key": _T.STUDY_KEY,
        "person": _T.KEEP,
        "age": _T.POOL_AGE,
        "body": _T.STEP_WEIGHT,
        "date": _T.INTERVAL,
        "horizon": _T.COARSE,
        "interval": _T.LIMIT,
        "place": _T.DROP,
        "staff": _T.DROP,
        "position": _T.WHOLE_MM,
        "label": _T.DROP,
        "clinical": _T.KEEP,
    },
    (
        "Dates are replaced by the year of the procedure and by days from it, which are rounded where they are long.",
        "Few columns together can still be enough to know a person again: read PRIVACY.md before it is passed on.",
    ),
)
PROFILES: Mapping[str, Profile] = MappingProxyType({one.name: one for one in (INTERNAL, SHIFTED, RESTRICTED)})


def profile_of(name: str) -> Profile:
    """A profile by name.

    Raises
    ------
    UsageProblem
        There is none of that name.
    """
    if name not in PROFILES:
        raise UsageProblem(f"--profile {name}: is not known. Profiles are {', '.join(PROFILES)}.")
    return PROFILES[name]
