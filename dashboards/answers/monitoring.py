"""Charts that watch one measure over time, and the notes on their signals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from registry import monitoring
from registry.people import Action

if TYPE_CHECKING:
    from datetime import date

    from registry.monitoring import Adjusted, Cumulative, Note, Signal, Weighted

_KEPT = 32
Within = tuple[tuple[str, str], ...]


@st.cache_data(show_spinner="Running the sum", max_entries=_KEPT)
def _cumulative(
    folder: str,
    revision: int,
    measure: str,
    filters: session.Filters,
    watched_from: date,
    within: Within,
    accepted: float | None,
    factor: float,
    years: float,
) -> Cumulative:
    return monitoring.cumulative(
        session.registry(),
        measure,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        watched_from=watched_from,
        within=dict(within),
        accepted=accepted,
        factor=factor,
        years=years,
        minimum=session.minimum_n(),
    )


def cumulative(
    measure: str,
    watched_from: date,
    within: Within,
    *,
    accepted: float | None,
    factor: float,
    years: float,
) -> Cumulative:
    """The running sum of a proportion under the sidebar's filters.

    Raises
    ------
    UsageProblem
        There is nothing to watch, or no rate to accept.
    """
    return _cumulative(
        *session.state(Action.PROCEDURES),
        measure,
        session.filters(),
        watched_from,
        within,
        accepted,
        factor,
        years,
    )


@st.cache_data(show_spinner="Fitting the model", max_entries=_KEPT)
def _adjusted(
    folder: str,
    revision: int,
    measure: str,
    filters: session.Filters,
    watched_from: date,
    within: Within,
    odds_ratio: float,
    years: float,
) -> Adjusted:
    return monitoring.adjusted(
        session.registry(),
        measure,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        watched_from=watched_from,
        within=dict(within),
        odds_ratio=odds_ratio,
        years=years,
        minimum=session.minimum_n(),
    )


def adjusted(
    measure: str, watched_from: date, within: Within, *, odds_ratio: float, years: float
) -> Adjusted:
    """The running sum adjusted for what was known before each biopsy.

    Raises
    ------
    UsageProblem
        There are too few events for a model, or nothing to watch.
    """
    return _adjusted(
        *session.state(Action.PROCEDURES),
        measure,
        session.filters(),
        watched_from,
        within,
        odds_ratio,
        years,
    )


@st.cache_data(show_spinner="Running the mean", max_entries=_KEPT)
def _weighted(
    folder: str, revision: int, measure: str, filters: session.Filters, watched_from: date, within: Within
) -> Weighted:
    return monitoring.weighted(
        session.registry(),
        measure,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        watched_from=watched_from,
        within=dict(within),
        minimum=session.minimum_n(),
    )


def weighted(measure: str, watched_from: date, within: Within) -> Weighted:
    """The weighted mean of a quantity.

    Raises
    ------
    UsageProblem
        There are too few values, or nothing to watch.
    """
    return _weighted(*session.state(Action.PROCEDURES), measure, session.filters(), watched_from, within)


def notes(measure: str) -> tuple[Note, ...]:
    """Notes on the signals of a measure, the newest first."""
    return monitoring.notes(session.registry(), measure)


def answer(
    measure: str, signal: Signal, *, chart: str, stratum: str, design: str, answer: str, note: str
) -> None:
    """Keep a note on a signal.

    Raises
    ------
    RegistryError
        It cannot be kept, with the reason.
    """
    monitoring.answer(
        session.registry(),
        measure,
        signal.procedure_id,
        chart=chart,
        stratum=stratum,
        design=design,
        answer=answer,
        note=note,
        author=visitor.name(),
    )
