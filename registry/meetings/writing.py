"""A meeting opened and changed: one row of ``meetings``, through the same intake as a file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry import concordance
from registry.concordance.decision import JOINT
from registry.errors import UsageProblem
from registry.intake import enter
from registry.meetings.lists import meeting, roles
from registry.people import Action, require
from registry.sqlfiles import queries

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from registry.store import Registry


def open_meeting(
    registry: Registry,
    *,
    held_on: date,
    site: str,
    chair: str,
    attendees: Iterable[str],
    author: str,
    today: date,
) -> str:
    """Open a meeting of a site on a day; its key is made of both.

    Parameters
    ----------
    registry
        Open for writing.
    held_on, site
        Day and site code.
    chair
        Role or person code, no name; may be empty until the minutes are signed.
    attendees
        Codes of ``roles()``.
    author, today
        For the row and the trail, and the day at the site.

    Returns
    -------
    str
        The key of the meeting.

    Raises
    ------
    UsageProblem
        The site has no procedure or holds a meeting on that day, or a role is not known.
    """
    require(Action.ENTER, registry, kind="meeting")
    known = [str(one) for (one,) in registry.rows(queries("meetings")["sites"].sql)]
    if site not in known:
        raise UsageProblem(
            f"{site}: no procedure was done at such a site. Sites: {', '.join(known) or 'none'}."
        )
    meeting_id = f"{site}-{held_on}"
    if registry.rows("SELECT 1 FROM main.meetings WHERE site = ? AND held_on = ?", [site, held_on]):
        raise UsageProblem(f"{site} has a meeting on {held_on} already. Choose it from the list.")
    row = {
        "meeting_id": meeting_id,
        "held_on": held_on.isoformat(),
        "site": site,
        "chair": chair.strip() or None,
        "attendees": _attendees(attendees),
    }
    enter(registry, "meetings", row, author=author, today=today, reason="meeting opened")
    return meeting_id


def set_attendance(
    registry: Registry, meeting_id: str, *, chair: str, attendees: Iterable[str], author: str, today: date
) -> None:
    """Say who chairs and who is there, until the minutes are signed; errors as :func:`open_meeting`."""
    require(Action.ENTER, registry, kind="meeting", key=meeting_id)
    one = meeting(registry, meeting_id)
    if one["closed_at"] is not None:
        raise UsageProblem(f"The minutes of {meeting_id} are signed. Attendance can no longer be changed.")
    present = _attendees(attendees)
    if present is None:
        raise UsageProblem("Tick at least one role that was there.")
    row = {
        "meeting_id": meeting_id,
        "held_on": one["held_on"].isoformat(),
        "site": one["site"],
        "chair": chair.strip() or None,
        "attendees": present,
    }
    enter(registry, "meetings", row, author=author, today=today, reason="attendance")


def _attendees(given: Iterable[str]) -> str | None:
    chosen = list(given)
    if wrong := sorted(set(chosen) - roles().keys()):
        raise UsageProblem(f"{', '.join(wrong)}: no such role. Roles: {', '.join(roles())}.")
    return ";".join(one for one in roles() if one in chosen) or None


@dataclass(frozen=True)
class Spoken:
    """A joint decision as it is spoken at a meeting: codes of the data dictionary, reviewers by code."""

    radiologist: str
    pathologist: str
    determination: str
    management: str
    reason: str | None = None
    responsible: str | None = None
    due_on: date | None = None
    note: str | None = None


def decide(
    registry: Registry, meeting_id: str, procedure_id: str, said: Spoken, *, author: str, today: date
) -> str:
    """Record what a meeting decided on one procedure: a review that names the meeting.

    Decided again at the same meeting, it is a new version of the same review.

    Parameters
    ----------
    registry
        Open for writing.
    said
        The decision.
    author, today
        For the row and the trail, and the day at the site.

    Returns
    -------
    str
        The key of the review.

    Raises
    ------
    UsageProblem
        The meeting is still to be held.
    BatchRefused
        A rule of intake refuses the row.
    """
    require(Action.DECIDE, registry, kind="procedure", key=procedure_id)
    one = meeting(registry, meeting_id)
    if one["held_on"] > today:
        raise UsageProblem(f"{meeting_id} is to be held on {one['held_on']}. Decide once it is held.")
    made = concordance.Decision(
        procedure_id=procedure_id,
        reviewed_on=one["held_on"],
        stage=JOINT,
        radiologist=said.radiologist,
        pathologist=said.pathologist,
        determination=said.determination,
        management=said.management,
        reason=said.reason or "",
        meeting_id=meeting_id,
        responsible=said.responsible or "",
        due_on=said.due_on,
        note=said.note or "",
        review_id=f"{meeting_id}-{procedure_id}",
    )
    return concordance.decide(registry, made, today=today, author=author)
