"""Tracer in the specimens: scans, ratios by diagnosis, readings, doses, sources."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards import session
from registry import uptake
from registry.people import Action

if TYPE_CHECKING:
    import polars as pl

_KEPT = 16

Period = tuple[date, date | None, date | None]


def _period() -> Period:
    filters = session.filters()
    return filters.as_of, filters.start, filters.end


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _counted_scans(
    folder: str, revision: int, period: Period
) -> tuple[dict[tuple[str | None, str], int], int]:
    # What is kept is read back at each run of the page: the counts, and not every scan.
    as_of, start, end = period
    found = uptake.scans(session.registry(), as_of=as_of, start=start, end=end)
    return uptake.judged_against_counts(found), sum(one.high_background for one in found)


def judged_against_counts() -> dict[tuple[str | None, str], int]:
    """Scans by the reader's judgement and by what the counts show."""
    return _counted_scans(*session.state(), _period())[0]


def high_backgrounds() -> int:
    """Scans whose background counted more than the specimens, beyond chance."""
    return _counted_scans(*session.state(), _period())[1]


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _scans_of(folder: str, revision: int, procedure_id: str) -> list[uptake.Scan]:
    return uptake.scans(session.registry(), as_of=date.max, procedure_id=procedure_id)


def scans_of(procedure_id: str) -> list[uptake.Scan]:
    """Scans of the specimens of one procedure, as recorded now."""
    return _scans_of(*session.state(Action.RECORD), procedure_id)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _readings(folder: str, revision: int, period: Period) -> pl.DataFrame:
    as_of, start, end = period
    return uptake.readings(session.registry(), as_of=as_of, start=start, end=end)


def readings() -> pl.DataFrame:
    """Sampled procedures whose specimens were read or have a concentration ratio."""
    return _readings(*session.state(), _period())


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _discrimination(folder: str, revision: int, period: Period) -> uptake.Discrimination:
    return uptake.discrimination(_readings(folder, revision, period))


def discrimination() -> uptake.Discrimination:
    """Area, interval and threshold of the concentration ratio; resampling is done once per period."""
    return _discrimination(*session.state(), _period())


def against_diagnosis() -> uptake.AgainstDiagnosis:
    """Uptake read in the specimens against the diagnosis at biopsy."""
    return uptake.against_diagnosis(readings())


def missed_cancer() -> uptake.MissedCancer:
    """An empty scan after a benign result, as a warning of a missed cancer."""
    return uptake.missed_cancer(readings())


def beside_the_lesion() -> uptake.TwoMarkers:
    """The concentration in the specimens beside the lesion's own uptake."""
    return uptake.beside_the_lesion(readings())


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _lesion_ratios(folder: str, revision: int, period: Period) -> pl.DataFrame:
    as_of, start, end = period
    return uptake.lesion_ratios(session.registry(), as_of=as_of, start=start, end=end)


def lesion_pairs() -> pl.DataFrame:
    """Uptake ratios of the same lesion at planning and on the day."""
    return uptake.pairs(_lesion_ratios(*session.state(), _period()))


def same_lesion() -> uptake.SameLesion:
    """Their bias and limits of agreement."""
    return uptake.same_lesion(_lesion_ratios(*session.state(), _period()))


def by_diagnosis() -> list[uptake.DiagnosisGroup]:
    """Concentration ratios by worst diagnosis."""
    return uptake.by_diagnosis(readings())


def benign_with_uptake() -> pl.DataFrame:
    """Procedures read as uptake whose diagnosis is benign or normal."""
    return uptake.benign_with_uptake(readings())


def blind_readings() -> list[dict[str, Any]]:
    """The measure specimen_uptake by whether the reader could know the report, as results."""
    filters = session.filters()
    # The strata have no interval by patient.
    interval = "wilson" if filters.interval == "clustered" else filters.interval
    found = uptake.blind_readings(
        readings(),
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        interval=interval,
        stamp=session.registry().stamp(),
    )
    return [one.to_dict() for one in found]


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _visits(folder: str, revision: int, period: Period) -> list[uptake.Visit]:
    as_of, start, end = period
    return uptake.visits(session.registry(), as_of=as_of, start=start, end=end)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _visit_doses(folder: str, revision: int, period: Period) -> list[uptake.VisitDoses]:
    as_of, start, end = period
    return uptake.visit_doses(uptake.visits(session.registry(), as_of=as_of, start=start, end=end))


def visit_doses() -> list[uptake.VisitDoses]:
    """Dose and uptake time of the visits, by tracer."""
    return _visit_doses(*session.state(), _period())


def visit_of(procedure_id: str, day: date) -> uptake.Visit | None:
    """The visit in which a procedure was done; None without a tracer."""
    found = _visits(*session.state(), (date.max, day, day))
    return next((one for one in found if procedure_id in one.procedures), None)


@st.cache_data(show_spinner=False, max_entries=4)
def _sources(folder: str, revision: int, on: date) -> list[uptake.Source]:
    return uptake.sources(session.registry(), on=on)


def sources() -> list[uptake.Source]:
    """Radioactive sources with their activity on the as-of day."""
    return _sources(*session.state(), session.filters().as_of)


@st.cache_data(show_spinner=False, max_entries=4)
def _constancy(folder: str, revision: int, as_of: date) -> list[uptake.Constancy]:
    return uptake.constancy(session.registry(), as_of=as_of)


def constancy() -> list[uptake.Constancy]:
    """Count rates of the sources over time."""
    return _constancy(*session.state(), session.filters().as_of)
