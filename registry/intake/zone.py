"""Local time of the site: offsets from UTC, and hours that occur twice or never."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

TWICE = "twice"
NEVER = "never"


def _offset(moment: datetime, zone: ZoneInfo) -> int:
    shift = zone.utcoffset(moment) or timedelta()
    return round(shift.total_seconds() / 60)


@lru_cache(maxsize=256)
def day_offsets(zone_name: str, year: int) -> tuple[tuple[date, int | None], ...]:
    """Each day of a year with its offset in minutes; None where clocks change that day."""
    zone = ZoneInfo(zone_name)
    day, found = datetime(year, 1, 1), []
    before = _offset(day, zone)
    while day.year == year:
        following = day + timedelta(days=1)
        after = _offset(following, zone)
        found.append((day.date(), before if before == after else None))
        day, before = following, after
    return tuple(found)


def moment_offset(zone_name: str, moment: datetime) -> tuple[int | None, str | None]:
    """Offset of a local time in minutes, or why it has none (``twice`` or ``never``)."""
    zone = ZoneInfo(zone_name)
    first = moment.replace(tzinfo=zone, fold=0)
    second = moment.replace(tzinfo=zone, fold=1)
    if first.utcoffset() == second.utcoffset():
        return _offset(moment, zone), None
    back = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
    return None, (TWICE if back == moment else NEVER)
