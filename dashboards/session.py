"""The pages' one way to the registry: opened once, answers kept by revision, state named here.

The page server owns the registry folder for as long as it runs. Every answer is kept under
the revision of the registry, which each write raises, so that a change shows at once.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import streamlit as st

from dashboards.launch import DEMO, FOLDER
from registry import measures, worklists
from registry.errors import RegistryError
from registry.intake import quarantine
from registry.record import (
    ProcedureRecord,
    complications_by_grade,
    latest_day,
    newest_procedures,
    procedure_record,
)
from registry.record.offsets import Offsets, offsets
from registry.store import Registry

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import polars as pl

#: Names of the session state; nothing else in the pages spells one.
FILTERS = "filters"
PROCEDURE = "procedure"
MEASURE = "measure"

#: Keys offered in the select box of the record page; any other key can be typed.
LISTED_PROCEDURES = 2000
QUARTERS = 8
_KEPT = 64

Row = dict[str, Any]


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


# -- answers, kept by revision -----------------------------------------------------------


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _results(folder: str, revision: int, ids: tuple[str, ...], filters: Filters) -> list[Row]:
    found = measures.evaluate(
        registry(),
        ids,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        by=filters.by,
        interval=filters.interval,
    )
    return [one.to_dict() for one in found]


def results(ids: Iterable[str], *, by: str | None = None) -> list[Row]:
    """Results of measures under the sidebar's filters, as the contract names their fields.

    Parameters
    ----------
    ids
        Proportions or quantities.
    by
        Stratum; None for all procedures together.

    Returns
    -------
    list
        One row per measure and stratum, strata in the order of their codes.
    """
    chosen = filters()
    return _results(
        *_state(), tuple(ids), Filters(chosen.as_of, chosen.start, chosen.end, by, chosen.interval)
    )


def quarters(ids: Iterable[str]) -> dict[str, list[tuple[str, Row | None]]]:
    """The last eight quarters of proportions, oldest first, up to the quarter of the as-of date."""
    chosen = filters()
    names = _quarters_up_to(chosen.as_of)
    first = date(int(names[0][:4]), 3 * int(names[0][-1]) - 2, 1)
    found = _results(
        *_state(), tuple(ids), Filters(chosen.as_of, first, chosen.as_of, "quarter", chosen.interval)
    )
    by_place = {(row["measure"], row["stratum"]): row for row in found}
    return {one: [(name, by_place.get((one, name))) for name in names] for one in ids}


def _quarters_up_to(day: date) -> list[str]:
    last = day.year * 4 + (day.month - 1) // 3
    return [f"{number // 4}-Q{number % 4 + 1}" for number in range(last - QUARTERS + 1, last + 1)]


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _procedures(folder: str, revision: int, measure: str, filters: Filters) -> pl.DataFrame:
    return measures.procedures(registry(), measure, as_of=filters.as_of, start=filters.start, end=filters.end)


def procedures(measure: str) -> pl.DataFrame:
    """The procedures behind a measure: kept, counted and left out, with the reason."""
    return _procedures(*_state(), measure, filters())


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _flow(folder: str, revision: int, measure: str, filters: Filters) -> list[tuple[str, int, int]]:
    return list(
        measures.exclusion_flow(
            registry(), measure, as_of=filters.as_of, start=filters.start, end=filters.end
        )
    )


def exclusion_flow(measure: str) -> list[tuple[str, int, int]]:
    """Reason, number left out and number remaining; the first entry is all procedures of the period."""
    return _flow(*_state(), measure, filters())


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _clustering(folder: str, revision: int, measure: str, filters: Filters) -> float | None:
    return measures.clustering(
        registry(), measure, as_of=filters.as_of, start=filters.start, end=filters.end
    ).ratio


def clustering(measure: str) -> float | None:
    """Width of the interval that allows for several procedures of a patient, over that of the plain one."""
    return _clustering(*_state(), measure, filters())


@st.cache_data(show_spinner=False, max_entries=8)
def _b_categories(folder: str, revision: int, filters: Filters) -> measures.CategoryTable:
    # The table has no interval by patient.
    interval = "wilson" if filters.interval == "clustered" else filters.interval
    return measures.b_category_table(
        registry(), as_of=filters.as_of, start=filters.start, end=filters.end, interval=interval
    )


def b_categories() -> measures.CategoryTable:
    """The B-category table with its ratios."""
    return _b_categories(*_state(), filters())


@st.cache_data(show_spinner=False, max_entries=8)
def _curve(folder: str, revision: int, filters: Filters) -> measures.Curve:
    return measures.curve(registry(), as_of=filters.as_of, start=filters.start, end=filters.end)


def curve() -> measures.Curve:
    """Cancer after a benign result: two estimates with numbers at risk."""
    return _curve(*_state(), filters())


@st.cache_data(show_spinner=False, max_entries=8)
def _grades(folder: str, revision: int, filters: Filters) -> pl.DataFrame:
    return complications_by_grade(registry(), as_of=filters.as_of, start=filters.start, end=filters.end)


def grades() -> pl.DataFrame:
    """Complications by kind, scale and grade."""
    return _grades(*_state(), filters())


@st.cache_data(show_spinner=False, max_entries=16)
def _worklist(folder: str, revision: int, name: str, as_of: date) -> pl.DataFrame:
    return worklists.rows(registry(), name, as_of=as_of)


def worklist(name: str) -> pl.DataFrame:
    """Rows of a worklist as of the day in the sidebar."""
    return _worklist(*_state(), name, filters().as_of)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _offsets(folder: str, revision: int, ids: tuple[str, ...]) -> Offsets:
    return offsets(registry(), ids)


def target_offsets(ids: Sequence[str]) -> Offsets:
    """Way from target to aperture of the named procedures."""
    return _offsets(*_state(), tuple(ids))


def record(procedure_id: str) -> ProcedureRecord:
    """One procedure with everything that hangs on it.

    Raises
    ------
    UsageProblem
        There is no such procedure.
    """
    return procedure_record(registry(), procedure_id)


@st.cache_data(show_spinner=False, max_entries=4)
def _newest(folder: str, revision: int) -> pl.DataFrame:
    return newest_procedures(registry(), LISTED_PROCEDURES)


def listed_procedures() -> pl.DataFrame:
    """Procedures offered by the record page, latest start first."""
    return _newest(*_state())


def held_rows() -> pl.DataFrame:
    """Problems of the rows that are held, with their place in the source."""
    return quarantine.open_rows(registry())


def _state() -> tuple[str, int]:
    opened = registry()
    return str(opened.folder), opened.revision()


def months_before(day: date, months: int) -> date:
    """The day after the same day of the month, so many months earlier; the first day of such a period."""
    count = day.year * 12 + day.month - 1 - months
    year, month = divmod(count, 12)
    first_of_next = date(year + month // 11, (month + 1) % 12 + 1, 1)
    last = (first_of_next - timedelta(days=1)).day
    return date(year, month + 1, min(day.day, last)) + timedelta(days=1)
