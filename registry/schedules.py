"""Settings of site.toml in days and months: when a follow-up is due, and how long a step may take."""

from __future__ import annotations

from typing import Any

from registry.errors import SiteProblem

#: Kinds of result with a schedule of their own; the first three without one keep benign_months.
RESULT_CLASSES = ("non_specific", "tracer_only", "specific", "high_risk", "not_seen", "declined")
#: Intervals for which a site may state a limit, in days; none is shipped.
STEPS = (
    "finding_to_advice",
    "advice_to_biopsy",
    "biopsy_to_report",
    "report_to_review",
    "report_to_told",
    "review_to_action",
)


def _fail(where: str, what: str, hint: str) -> SiteProblem:
    return SiteProblem(f"site.toml, {where}: {what} {hint}")


def limits_of_time(section: dict[str, Any]) -> dict[str, float]:
    """``[timeliness]``: interval -> days.

    Raises
    ------
    SiteProblem
        No such interval, or no number of days.
    """
    for name, days in section.items():
        where = f"[timeliness] {name}"
        if name not in STEPS:
            raise _fail(where, "is no interval.", f"Known: {', '.join(STEPS)}.")
        if isinstance(days, bool) or not isinstance(days, int | float) or not 0 <= days <= 730:
            raise _fail(where, f"{days!r} is not a number of days from 0 to 730.", "Correct it.")
    return {name: float(days) for name, days in section.items()}


def months(where: str, given: Any) -> tuple[int, ...]:
    """A list of months after the procedure.

    Raises
    ------
    SiteProblem
        It is none.
    """
    if not isinstance(given, list) or not given or not all(type(m) is int and 0 < m <= 120 for m in given):
        raise _fail(where, f"{given!r} is not a list of months.", "Write it as [6, 12, 24].")
    return tuple(given)


def schedule(given: Any) -> dict[str, tuple[int, ...]]:
    """``[follow_up.schedule]``: kind of result -> months.

    Raises
    ------
    SiteProblem
        No such kind of result, or no months.
    """
    if not isinstance(given, dict):
        raise _fail("[follow_up.schedule]", "is not a section.", "Write it as [follow_up.schedule].")
    for name in given:
        if name not in RESULT_CLASSES:
            raise _fail(
                f"[follow_up.schedule] {name}",
                "is no kind of result.",
                f"Known: {', '.join(RESULT_CLASSES)}.",
            )
    return {name: months(f"[follow_up.schedule] {name}", listed) for name, listed in given.items()}
