"""Minutes of a meeting: a draft read from the record, and what was signed, which stays as it was."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from registry import signed_minutes
from registry.errors import UsageProblem
from registry.intake import enter
from registry.meetings.entries import entry_of
from registry.meetings.lists import agenda, decisions, meeting, open_actions, roles
from registry.people import Action, require

if TYPE_CHECKING:
    from datetime import date

    from registry.signed_minutes import Kept
    from registry.store import Registry

Json = dict[str, Any]
DECIDED, UNDECIDED, OPEN = "decided", "undecided", "open"


@dataclass(frozen=True)
class Minutes:
    """Minutes as they are printed.

    ``opening`` holds meeting_id, held_on, site, chair, attendees and stamp; ``decided`` and
    ``undecided`` are procedures of the list, ``actions`` what earlier meetings left open, all
    as JSON values. ``erased`` counts entries that an erasure emptied. ``kept`` is None for a draft.
    """

    opening: Json
    decided: tuple[Json, ...]
    undecided: tuple[Json, ...]
    actions: tuple[Json, ...]
    erased: int = 0
    kept: Kept | None = None

    @property
    def is_draft(self) -> bool:
        """Whether nobody has signed them."""
        return self.kept is None

    @property
    def not_told(self) -> tuple[Json, ...]:
        """Decided procedures whose patient is not recorded as told."""
        return tuple(one for one in self.decided if one["decision"]["informed_on"] is None)


def draft(registry: Registry, meeting_id: str) -> Minutes:
    """Minutes as the record gives them now, with the lists as of the day of the meeting.

    Raises
    ------
    UsageProblem
        There is no such meeting.
    """
    require(Action.RECORD, registry, kind="meeting", key=meeting_id)
    one = meeting(registry, meeting_id)
    reviewed = decisions(registry, meeting_id)
    settled = {row["procedure_id"] for row in reviewed}
    waiting = agenda(registry, meeting_id).iter_rows(named=True)
    opening = {
        "meeting_id": meeting_id,
        "held_on": one["held_on"].isoformat(),
        "site": one["site"],
        "chair": one["chair"],
        "attendees": attendees(one["attendees"]),
        "stamp": registry.stamp(),
    }
    return Minutes(
        opening,
        tuple(entry_of(registry, row["procedure_id"], row["review_id"]) for row in reviewed),
        tuple(
            {**entry_of(registry, row["procedure_id"]), "waiting": row["reason"]}
            for row in waiting
            if row["procedure_id"] not in settled
        ),
        tuple(_plain(row) for row in open_actions(registry, meeting_id).iter_rows(named=True)),
    )


def attendees(text: str | None) -> list[str]:
    """Labels of the roles that attended; a code that only this service uses stands as it is."""
    return [roles().get(one.strip(), one.strip()) for one in (text or "").split(";") if one.strip()]


def _plain(row: Json) -> Json:
    return {name: value.isoformat() if hasattr(value, "isoformat") else value for name, value in row.items()}


def signed(registry: Registry, meeting_id: str) -> tuple[Minutes, ...]:
    """Signed minutes of a meeting and their amendments as they were signed, the first one first."""
    require(Action.RECORD, registry, kind="meeting", key=meeting_id)
    return tuple(_of(one) for one in signed_minutes.all_of(registry, meeting_id))


def _of(kept: Kept) -> Minutes:
    parts: dict[str, list[Json]] = {DECIDED: [], UNDECIDED: [], OPEN: []}
    erased = 0
    for one in kept.entries:
        said = signed_minutes.content(one)
        if said is None:
            erased += 1
        else:
            parts[one.part].append(said)
    return Minutes(
        json.loads(kept.opening),
        tuple(parts[DECIDED]),
        tuple(parts[UNDECIDED]),
        tuple(parts[OPEN]),
        erased,
        kept,
    )


def latest(registry: Registry, meeting_id: str) -> Minutes:
    """The minutes signed last, or the draft where nobody has signed."""
    require(Action.RECORD, registry, kind="meeting", key=meeting_id)
    there = signed(registry, meeting_id)
    return there[-1] if there else draft(registry, meeting_id)


def changed_since(now: Minutes, then: Minutes) -> tuple[str, ...]:
    """Procedures of which the record now says otherwise than the signed minutes, or which only one has.

    What an erasure emptied is no change.
    """
    assert then.kept is not None
    gone = {one.procedure_id for one in then.kept.entries if signed_minutes.content(one) is None}
    before, after = ({_key(one): one for one in side.decided} for side in (then, now))
    keys = sorted({*before, *after})
    differing = [key for key in keys if before.get(key) != after.get(key) and key[0] not in gone]
    return tuple(dict.fromkeys(procedure for procedure, _ in differing))


def _key(one: Json) -> tuple[str, str]:
    return one["procedure_id"], one["decision"]["review_id"]


def sign(registry: Registry, meeting_id: str, *, author: str, today: date) -> Minutes:
    """Sign the minutes: the meeting is closed, and what is printed is kept under its digest.

    Parameters
    ----------
    registry
        Open for writing.
    meeting_id
        A meeting that has been held.
    author, today
        Who signs, where a program does it for somebody, and the day at the site.

    Raises
    ------
    Refused
        The actor may not sign, or the password was given too long ago.
    UsageProblem
        Signed already, still to be held, nobody is named as present, or nothing was decided.
    """
    who = require(Action.SIGN, registry, kind="meeting", key=meeting_id, confirmed=True).author(author)
    one = meeting(registry, meeting_id)
    if signed_minutes.all_of(registry, meeting_id):
        raise UsageProblem(f"The minutes of {meeting_id} are signed already. A later change is an amendment.")
    if one["held_on"] > today:
        raise UsageProblem(
            f"{meeting_id} is to be held on {one['held_on']}. Minutes are signed once it was held."
        )
    if not one["chair"] or not one["attendees"]:
        raise UsageProblem("Minutes name a chair and who was there, by role. Enter both, then sign.")
    made = draft(registry, meeting_id)
    if not made.decided:
        raise UsageProblem(
            "No joint review names this meeting, so that there is nothing to sign. Record decisions first."
        )
    if one["closed_at"] is None:
        _close(registry, one, who, today)
        made = draft(registry, meeting_id)
    return _keep(registry, meeting_id, made, who, reason=None, amends=None)


def amend(registry: Registry, meeting_id: str, *, reason: str, author: str) -> Minutes:
    """Sign the minutes as the record gives them now, beside those that they amend.

    Parameters
    ----------
    reason
        Why; printed, and it names no person.

    Raises
    ------
    Refused
        As :func:`sign`.
    UsageProblem
        Nothing was signed yet, no reason is given, or nothing has changed.
    """
    who = require(Action.SIGN, registry, kind="meeting", key=meeting_id, confirmed=True).author(author)
    there = signed(registry, meeting_id)
    if not there:
        raise UsageProblem(f"The minutes of {meeting_id} were never signed. Sign them first.")
    if not reason.strip():
        raise UsageProblem("An amendment says why. Give a reason; it names no person.")
    now = draft(registry, meeting_id)
    if not changed_since(now, there[-1]):
        raise UsageProblem(
            "Nothing that was decided has changed since the minutes were signed. Nothing was written."
        )
    last = there[-1].kept
    assert last is not None
    return _keep(registry, meeting_id, now, who, reason=reason.strip(), amends=last.number)


def _close(registry: Registry, one: Json, author: str, today: date) -> None:
    at = registry.clock().astimezone(ZoneInfo(registry.site.time_zone))
    row = {
        "meeting_id": one["meeting_id"],
        "held_on": one["held_on"].isoformat(),
        "site": one["site"],
        "closed_at": at.isoformat(timespec="seconds"),
    }
    enter(registry, "meetings", row, author=author, today=today, reason="minutes signed")


def _keep(
    registry: Registry, meeting_id: str, made: Minutes, author: str, *, reason: str | None, amends: int | None
) -> Minutes:
    entries = tuple(
        signed_minutes.entry(part, one["procedure_id"], one)
        for part, listed in ((DECIDED, made.decided), (UNDECIDED, made.undecided), (OPEN, made.actions))
        for one in listed
    )
    kept = signed_minutes.keep(
        registry,
        meeting_id,
        author=author,
        opening=made.opening,
        entries=entries,
        reason=reason,
        amends=amends,
    )
    return _of(kept)
