"""Moments as they are stamped and typed: with the offset of the site, shown as the clock shows them.

A stamp is exact; a typed time is one of the day on which the procedure is done. Both become
text that says its offset, which intake stores (0002).
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

#: 9:05, 09:05, 09:05:30, 0905 or 090530; a dot does for a colon.
_TYPED = re.compile(r"(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?|(\d{2})(\d{2})(\d{2})?")


def stamp(now: datetime, zone: ZoneInfo) -> str:
    """A moment as intake takes it: local time to the second, with its offset."""
    return now.astimezone(zone).isoformat(timespec="seconds")


def clock(cell: str) -> str:
    """What the clock on the wall showed at a moment: ``09:05:30``; nothing where it is none."""
    found = moment(cell)
    return f"{found:%H:%M:%S}" if found else ""


def moment(cell: str, zone: ZoneInfo | None = None) -> datetime | None:
    """A cell as a moment; without an offset it is a time of the zone, if one is given."""
    try:
        found = datetime.fromisoformat(cell)
    except ValueError:
        return None
    return found.replace(tzinfo=zone) if found.tzinfo is None else found


def minutes(begin: datetime, end: datetime) -> float:
    """Minutes that went by, also over a change of clocks."""
    return (end.astimezone(UTC) - begin.astimezone(UTC)).total_seconds() / 60


def typed(text: str, day: date, zone: ZoneInfo) -> str | None:
    """A time of the day as it was typed, as intake takes it; None where it is no time.

    A local time that occurs twice or never carries no offset, so that intake asks for it.
    """
    found = _TYPED.fullmatch(text.strip())
    if found is None:
        return None
    hour, minute, second = (int(one or 0) for one in (found.groups()[:3] if found[1] else found.groups()[3:]))
    try:
        plain = datetime.combine(day, time(hour, minute, second))
    except ValueError:
        return None
    first, second_time = (plain.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() != second_time.utcoffset():
        return plain.isoformat(timespec="seconds")
    return first.isoformat(timespec="seconds")
