"""When and where the invented service works, and where its chance comes from."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from synthetic_data import parameters
from synthetic_data.columns import NO_DAY

EPOCH = datetime.date(1970, 1, 1)
#: Weekday of the meeting of each site, Monday = 0.
MEETING_WEEKDAY = np.array([2, 3, 1])
_CLOSED = frozenset({(12, 24), (12, 25), (12, 26), (1, 1)})
_MARGIN_DAYS = 800


def day_of(date: datetime.date) -> int:
    """Days since 1970-01-01."""
    return (date - EPOCH).days


def years_before(date: datetime.date, years: int) -> datetime.date:
    """The same day some years earlier; 29 February becomes 28 February."""
    day = 28 if (date.month, date.day) == (2, 29) else date.day
    return datetime.date(date.year - years, date.month, day)


def weekday(days: np.ndarray) -> np.ndarray:
    """Weekday of days since 1970-01-01, Monday = 0 (1970-01-01 was a Thursday)."""
    return (days + 3) % 7


def _is_open(day: int) -> bool:
    date = EPOCH + datetime.timedelta(days=day)
    return date.weekday() < 5 and (date.month, date.day) not in _CLOSED


@dataclass(frozen=True)
class Setting:
    """Span, seed and parameters of one generated registry.

    ``start`` and ``until`` are days since 1970-01-01, both included.
    """

    seed: int
    start: int
    until: int
    tree: dict[str, Any]
    next_open: np.ndarray = field(repr=False)
    previous_open: np.ndarray = field(repr=False)

    def __call__(self, *path: str) -> Any:
        """Value of one parameter, or a table of values, by its path."""
        node: Any = self.tree
        for name in path:
            node = node[name]
        return parameters.values(node)

    def stream(self, name: str) -> np.random.Generator:
        """A stream of chance of its own, so that a change in one stage leaves the others alone."""
        return np.random.Generator(np.random.PCG64(np.random.SeedSequence([self.seed, *name.encode()])))

    def open_from(self, days: np.ndarray) -> np.ndarray:
        """The first working day on or after each day."""
        return self.next_open[np.clip(days - self.start + _MARGIN_DAYS, 0, self.next_open.size - 1)]

    def open_until(self, days: np.ndarray) -> np.ndarray:
        """The last working day on or before each day."""
        return self.previous_open[np.clip(days - self.start + _MARGIN_DAYS, 0, self.previous_open.size - 1)]

    def known(self, days: np.ndarray) -> np.ndarray:
        """Days later than the end of the registry have not happened: they become missing."""
        return np.where(days > self.until, NO_DAY, days)

    @property
    def sites(self) -> tuple[str, ...]:
        """Site codes in the order of their numbers."""
        return tuple(self("service", "sites"))

    @property
    def operators(self) -> tuple[str, ...]:
        """Operator codes in the order of their numbers."""
        named = [
            code for table in ("site_a", "site_b", "site_c") for code in self("operators", table, "shares")
        ]
        return (*named, self("operators", "special", "single_procedure"))

    @property
    def doubled(self) -> tuple[int, int, float]:
        """Operator number whose discordance rises, the day from which it does, and the factor."""
        end = EPOCH + datetime.timedelta(days=self.until)
        since = years_before(end, self("operators", "special", "doubled_years_before_end"))
        operator = self.operators.index(self("operators", "special", "doubled"))
        return operator, day_of(since), float(self("operators", "special", "doubled_factor"))


def make(seed: int, until: datetime.date, years: int) -> Setting:
    """The setting of a registry that ends on ``until`` and spans ``years`` years."""
    start, end = day_of(years_before(until, years)) + 1, day_of(until)
    span = np.arange(start - _MARGIN_DAYS, end + 2 * _MARGIN_DAYS)
    is_open = np.array([_is_open(int(day)) for day in span])
    following = np.minimum.accumulate(np.where(is_open, span, span[-1])[::-1])[::-1]
    preceding = np.maximum.accumulate(np.where(is_open, span, span[0]))
    return Setting(seed, start, end, parameters.tree(), following, preceding)
