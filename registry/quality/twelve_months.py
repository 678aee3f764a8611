"""The twelve months that end on a day."""

from __future__ import annotations

from datetime import date, timedelta


def first_day(last: date) -> date:
    """First day of the twelve months that end on ``last``, both included.

    The day after the same day of the year before; what ends on 29 February begins on 1 March.
    """
    day = 28 if (last.month, last.day) == (2, 29) else last.day
    return date(last.year - 1, last.month, day) + timedelta(days=1)
