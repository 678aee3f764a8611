"""A decision of the meeting: one row of ``reviews``, through intake like any other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.concordance.own_view import own_view
from registry.errors import UsageProblem
from registry.intake import enter
from registry.people import Action, require

if TYPE_CHECKING:
    from datetime import date

    from registry.store import Registry

PROVISIONAL, JOINT = "provisional", "joint"


@dataclass(frozen=True)
class Decision:
    """What a reviewer enters; fields as in table ``reviews`` of the data dictionary.

    ``review_id`` is the key of the review, one that is there to correct it; empty makes a new
    one. ``note`` holds the discussion, dissent included.
    """

    procedure_id: str
    reviewed_on: date
    stage: str
    radiologist: str
    pathologist: str
    determination: str
    management: str
    reason: str = ""
    meeting_id: str = ""
    responsible: str = ""
    due_on: date | None = None
    booked_for: date | None = None
    declined_on: date | None = None
    informed_on: date | None = None
    note: str = ""
    review_id: str = ""


def decide(registry: Registry, decision: Decision, *, today: date, author: str = "") -> str:
    """Record a decision; whether the own view came first is taken from what was recorded, not from the form.

    Parameters
    ----------
    registry
        Open for writing.
    decision
        What was decided.
    today, author
        The day at the site; who decides, where a program on the machine enters it for somebody.

    Returns
    -------
    str
        Key of the review.

    Raises
    ------
    Refused
        The actor may not record a review.
    BatchRefused
        A rule of the data dictionary is broken; the sentences say which.
    """
    require(Action.DECIDE, registry, kind="procedure", key=decision.procedure_id)
    view = own_view(registry, decision.procedure_id)
    review_id = decision.review_id or _next_key(registry, decision)
    row = {
        "review_id": review_id,
        "procedure_id": decision.procedure_id,
        "meeting_id": decision.meeting_id,
        "reviewed_on": decision.reviewed_on.isoformat(),
        "stage": decision.stage,
        "radiologist": decision.radiologist,
        "pathologist": decision.pathologist,
        "determination": decision.determination,
        "reason": decision.reason,
        "management": decision.management,
        "responsible": decision.responsible,
        "note": decision.note,
    }
    if not _is_there(registry, review_id):
        row["own_view_first"] = "yes" if view is None or view.first else "no"
    for name in ("due_on", "booked_for", "declined_on", "informed_on"):
        day = getattr(decision, name)
        row[name] = day.isoformat() if day else ""
    enter(
        registry,
        "reviews",
        row,
        today=today,
        reason="review corrected" if decision.review_id else "review",
        author=author,
    )
    return review_id


def _is_there(registry: Registry, review_id: str) -> bool:
    return bool(registry.rows("SELECT 1 FROM main.reviews WHERE review_id = ?", [review_id]))


def _next_key(registry: Registry, decision: Decision) -> str:
    """A key that no review has: procedure, stage and a running number."""
    if not decision.procedure_id:
        raise UsageProblem("A review needs the procedure that it is about. Choose one from the list.")
    mark = f"{decision.procedure_id}-{decision.stage[:1].upper()}"
    taken = {
        key
        for (key,) in registry.rows(
            "SELECT review_id FROM main.reviews WHERE procedure_id = ? "
            "UNION SELECT review_id FROM history.reviews WHERE procedure_id = ?",
            [decision.procedure_id, decision.procedure_id],
        )
    }
    number = 1
    while f"{mark}{number}" in taken:
        number += 1
    return f"{mark}{number}"


def reviewers(registry: Registry) -> tuple[list[str], list[str]]:
    """Codes of radiologists and of pathologists that stand in the reviews so far, in alphabetical order."""
    require(Action.RECORD, registry)
    return (
        [
            code
            for (code,) in registry.rows(
                "SELECT DISTINCT radiologist FROM main.reviews WHERE radiologist IS NOT NULL ORDER BY 1"
            )
        ],
        [
            code
            for (code,) in registry.rows(
                "SELECT DISTINCT pathologist FROM main.reviews WHERE pathologist IS NOT NULL ORDER BY 1"
            )
        ],
    )
