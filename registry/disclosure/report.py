"""What was done to the rows before they left, and how far they still point to persons: for the person who signs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from registry.disclosure.anonymity import Anonymity, K, L, anonymity
from registry.disclosure.profiles import Treatment
from registry.numerals import grouped

if TYPE_CHECKING:
    from collections.abc import Mapping

    from registry.disclosure.profiles import Profile
    from registry.disclosure.treatment import Disclosed

#: Columns that can point to a person together, as far as the profile leaves them in.
QUASI = ("age_years", "year", "laterality", "sex", "site", "operator_no")
#: Results that must not be the same for a whole class.
SENSITIVE = ("diagnosis", "latest_determination")
UNIT = "patient_no"
BAND = 10
_MOST_CLASSES = 20
DECISIONS = (
    "Whether the purpose needs every column that is in the package; what it does not need should be taken out.",
    "Whether the receiver can know somebody in it (a small service, a rare result, a relative), whatever the counts say.",
    "Whether the small classes are acceptable for this receiver and under this agreement, or columns are left out or coarsened first.",
    "Which agreement, approval or consent the passing-on rests on. The program knows none of them.",
)


@dataclass(frozen=True)
class PrivacyReport:
    """What was done, and what was counted on the rows as they leave; ``in_tens`` with ages in bands of ten years."""

    profile: Profile
    done: Disclosed
    withheld: Mapping[str, str]
    as_they_leave: Anonymity
    in_tens: Anonymity | None


def privacy_report(done: Disclosed, profile: Profile, withheld: Mapping[str, str]) -> PrivacyReport:
    """Count k and l on the rows as they leave."""
    rows = done.frame
    if "started_on" in rows.columns:
        rows = rows.with_columns(pl.col("started_on").dt.year().alias("year"))
    elif "started_year" in rows.columns:
        rows = rows.rename({"started_year": "year"})
    quasi = [name for name in QUASI if name in rows.columns]
    sensitive = [name for name in SENSITIVE if name in rows.columns]
    counted = anonymity(rows, quasi, sensitive, unit=UNIT)
    in_tens = None
    if "age_years" in quasi:
        banded = rows.with_columns(pl.col("age_years") // BAND * BAND)
        in_tens = anonymity(banded, quasi, sensitive, unit=UNIT)
    return PrivacyReport(profile, done, withheld, counted, in_tens)


# -- for a program -----------------------------------------------------------------


def as_json(report: PrivacyReport) -> dict[str, Any]:
    """The report as JSON holds it."""
    return {
        "profile": report.profile.name,
        "title": report.profile.title,
        "columns": [
            {
                "column": one.column,
                "sensitivity": one.sensitivity,
                "treatment": str(one.treatment),
                "became": one.became or None,
                "why": one.why,
                "cells_changed": one.changed,
            }
            for one in report.done.decisions
        ],
        "withheld": dict(report.withheld),
        "classes": _counted(report.as_they_leave),
        "classes_with_ages_in_tens": _counted(report.in_tens) if report.in_tens else None,
        "decisions_left_to_a_person": list(DECISIONS),
    }


def _counted(one: Anonymity) -> dict[str, Any]:
    return {
        "by": list(one.quasi),
        "records": one.records,
        "classes": one.classes,
        "k": one.k,
        "threshold": one.threshold,
        "unique_records": one.unique,
        "classes_below": one.failing.height,
        "records_in_classes_below": one.failing_records,
        "l": {
            s.column: {
                "l": s.fewest,
                "threshold": L,
                "classes_below": s.failing_classes,
                "records_in_classes_below": s.failing_records,
            }
            for s in one.spreads
        },
        "leave_out_first": [
            {"column": s.column, "records_below_before": s.failing_before, "records_below_after": s.failing}
            for s in one.steps
        ],
    }


# -- to read -----------------------------------------------------------------------


def page(report: PrivacyReport) -> str:
    """The report as a page of Markdown."""
    lines = [
        "# Privacy report",
        "",
        f"Profile **{report.profile.name}**: {report.profile.title}.",
        "",
        "This report counts; it does not say that the rows are anonymous. A person decides and signs.",
        "",
        *(f"- {caution}" for caution in report.profile.cautions),
        "",
        "## How few share what can point to a person",
        "",
        *_in_words(report.as_they_leave, "As the rows leave"),
    ]
    if report.in_tens:
        lines += ["", *_in_words(report.in_tens, "If ages were given in bands of ten years")]
    lines += ["", *_smallest(report.as_they_leave)]
    changed = [one for one in report.done.decisions if one.treatment not in (Treatment.KEEP, Treatment.DROP)]
    dropped = [one for one in report.done.decisions if one.treatment is Treatment.DROP]
    kept = [one for one in report.done.decisions if one.treatment is Treatment.KEEP]
    lines += ["", "## Left out", ""]
    lines += [f"- {one.column} ({one.sensitivity}): {one.why}" for one in dropped] or [
        "- no column that the cohort has"
    ]
    lines += [f"- {source}: {why}" for source, why in report.withheld.items()]
    lines += ["- free text of every table: under no profile"]
    lines += [
        "",
        "## Replaced or coarsened",
        "",
        "| column | became | cells changed | how |",
        "| --- | --- | ---: | --- |",
    ]
    lines += [f"| {one.column} | {one.became} | {grouped(one.changed)} | {one.why} |" for one in changed]
    lines += ["", "## As recorded", "", ", ".join(one.column for one in kept) or "nothing"]
    lines += ["", "## Left to a person", "", *(f"- [ ] {one}" for one in DECISIONS)]
    lines += ["", "Signed: ______________________   Date: ______________", ""]
    return "\n".join(lines)


def _in_words(one: Anonymity, when: str) -> list[str]:
    made = [sentence(one, when), *(f"- {said}" for said in diversity(one))]
    if one.steps:
        made.append("- To leave out or coarsen first, in this order:")
        made += [
            f"  {place}. {step.column}: records in small classes fall from {grouped(step.failing_before)} to {grouped(step.failing)}"
            for place, step in enumerate(one.steps, start=1)
        ]
    return made


def sentence(one: Anonymity, when: str) -> str:
    """What was counted of classes, in two sentences."""
    by = ", ".join(one.quasi) or "nothing"
    return (
        f"{when}, by {by}: {grouped(one.records)} records in {grouped(one.classes)} classes; the smallest class has {grouped(one.k)} "
        f"{'patient' if one.k == 1 else 'patients'} (k = {one.k}). {grouped(one.failing_records)} records are in "
        f"{grouped(one.failing.height)} classes of fewer than {one.threshold} patients; {grouped(one.unique)} records are alone in their class."
    )


def diversity(one: Anonymity) -> list[str]:
    """What was counted of results that a class shares, a sentence each."""
    return [
        f"{s.column}: the fewest different values in a class are {s.fewest} (l = {s.fewest}); {grouped(s.failing_records)} records are in "
        f"{grouped(s.failing_classes)} classes with fewer than {L}, where whoever knows that somebody is in the class knows the result."
        for s in one.spreads
    ]


def _smallest(one: Anonymity) -> list[str]:
    """The classes that fail, the smallest first, as far as a page holds them."""
    if one.failing.is_empty():
        return [f"Every class has {K} patients or more."]
    heads = [*one.quasi, "patients", "records"]
    made = [
        f"Classes of fewer than {one.threshold} patients, the smallest {min(_MOST_CLASSES, one.failing.height)} of {grouped(one.failing.height)}:",
        "",
        f"| {' | '.join(heads)} |",
        f"|{' --- |' * len(heads)}",
    ]
    for row in one.failing.head(_MOST_CLASSES).iter_rows():
        made.append(f"| {' | '.join('not recorded' if cell is None else str(cell) for cell in row)} |")
    return made
