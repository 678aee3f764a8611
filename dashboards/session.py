"""The pages' one way to the registry: opened once, and the state of a visit, named here.

The page server owns the registry folder for as long as it runs. What the pages ask it is
in ``dashboards.answers``, kept under the revision of the registry, which each write
raises, so that a change shows at once.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import streamlit as st

from dashboards import owned, visitor
from dashboards.launch import DEMO, FOLDER
from registry.errors import RegistryError
from registry.people import Action, require
from registry.record import latest_day
from registry.store import Registry

#: Names of the session state; nothing else in the pages spells one.
FILTERS = "filters"
PROCEDURE = "procedure"
MEASURE = "measure"
MEETING = "meeting"


@dataclass(frozen=True)
class Filters:
    """What the sidebar says: which procedures, known until when, split by what.

    ``start`` and ``end`` bound the start of the procedure, both days included; None is
    open. ``by`` is one of the strata, or None. ``interval`` names the method.
    """

    as_of: date
    start: date | None = None
    end: date | None = None
    by: str | None = None
    interval: str = "wilson"

    def words(self) -> str:
        """Period and as-of date in one phrase."""
        if self.start and self.end:
            period = f"Procedures from {self.start} to {self.end}"
        elif self.start:
            period = f"Procedures from {self.start} on"
        elif self.end:
            period = f"Procedures up to {self.end}"
        else:
            period = "All procedures"
        return f"{period}, as of {self.as_of}"


# -- the registry ----------------------------------------------------------------------


@st.cache_resource(show_spinner="Opening the registry")
def _opened(folder: str) -> Registry:
    return Registry.open(Path(folder), write=True)


def registry() -> Registry:
    """The registry of this process.

    Raises
    ------
    RegistryError
        No folder was named, or it cannot be opened.
    """
    folder = os.environ.get(FOLDER)
    if not folder:
        raise RegistryError(
            "No registry folder was named. Start the pages with: biopsy-outcomes dashboard FOLDER"
        )
    if owned.registry is not None and owned.registry.folder == Path(folder).resolve():
        return owned.registry
    return _opened(folder)


def is_demo() -> bool:
    """Whether the registry holds invented data."""
    return os.environ.get(DEMO) == "1" or (registry().folder / "DEMO").exists()


def today() -> date:
    """The calendar day at the site."""
    return datetime.now(ZoneInfo(registry().site.time_zone)).date()


def usual_as_of() -> date:
    """Today; in the demo the last day on which anything happened."""
    return (latest_day(registry()) if is_demo() else None) or today()


def minimum_n() -> int:
    """Smallest denominator for which a percentage is shown."""
    return registry().site.minimum_n


def targets_on() -> tuple[str, ...]:
    """Ids of the targets that the service has switched on."""
    return registry().site.targets_on


# -- state -----------------------------------------------------------------------------


def set_filters(chosen: Filters) -> None:
    """Keep what the sidebar says for the page that runs next."""
    st.session_state[FILTERS] = chosen


def filters() -> Filters:
    """What the sidebar says."""
    kept = st.session_state.get(FILTERS)
    return kept if isinstance(kept, Filters) else Filters(as_of=usual_as_of())


def linked(name: str) -> str | None:
    """Value of a deep link, such as ``?procedure=...``; None where the address has none."""
    return st.query_params.get(name)


def set_link(name: str, value: str) -> None:
    """Write a deep link into the address, so that it can be kept and sent on."""
    if st.query_params.get(name) != value:
        st.query_params[name] = value


def state(action: Action = Action.FIGURES) -> tuple[str, int]:
    """What an answer is kept under, first arguments of each kept function: whose it is, and the revision.

    Asked outside what is kept, so that nobody is handed an answer that was made for another.

    Raises
    ------
    Refused
        Whoever looks may not do this.
    """
    opened = registry()
    require(action, opened)
    return f"{opened.folder} {visitor.scope()}", opened.revision()


def months_before(day: date, months: int) -> date:
    """The day after the same day of the month, so many months earlier; the first day of such a period."""
    count = day.year * 12 + day.month - 1 - months
    year, month = divmod(count, 12)
    first_of_next = date(year + month // 11, (month + 1) % 12 + 1, 1)
    last = (first_of_next - timedelta(days=1)).day
    return date(year, month + 1, min(day.day, last)) + timedelta(days=1)
