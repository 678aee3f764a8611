"""What the quality committee opens beside the measures, under the sidebar's filters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from registry import quality
from registry.people import Action

if TYPE_CHECKING:
    from datetime import date

    import polars as pl

    from registry.quality import Denominator, FieldFilled, Yearly


@st.cache_data(show_spinner=False, max_entries=8)
def _discordant(folder: str, revision: int, filters: session.Filters) -> pl.DataFrame:
    return quality.discordant(session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end)


def discordant() -> pl.DataFrame:
    """Every procedure with a discordant joint review, and how it ended."""
    return _discordant(*session.state(Action.PROCEDURES), session.filters())


@st.cache_data(show_spinner=False, max_entries=8)
def _denominators(folder: str, revision: int, filters: session.Filters) -> tuple[Denominator, ...]:
    return quality.denominators(
        session.registry(),
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        interval=filters.interval,
    )


def denominators() -> tuple[Denominator, ...]:
    """Discordance over its three denominators, each with what was not decided."""
    return _denominators(*session.state(), session.filters())


@st.cache_data(show_spinner=False, max_entries=8)
def _b_category_review(folder: str, revision: int, filters: session.Filters) -> pl.DataFrame:
    return quality.b_category_review(
        session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end
    )


def b_category_review() -> pl.DataFrame:
    """Malignant biopsies with an excision without cancer, and B1 or B2 followed by cancer."""
    return _b_category_review(*session.state(Action.PROCEDURES), session.filters())


@st.cache_data(show_spinner=False, max_entries=16)
def _yearly(folder: str, revision: int, until: date, as_of: date, by: str) -> Yearly:
    return quality.yearly(session.registry(), until=until, as_of=as_of, by=by)


def yearly(until: date, by: str) -> Yearly:
    """The yearly table for the twelve months that end on a day."""
    return _yearly(*session.state(), until, session.filters().as_of, by)


@st.cache_data(show_spinner=False, max_entries=8)
def _yearly_rows(folder: str, revision: int, until: date, as_of: date) -> pl.DataFrame:
    return quality.yearly_rows(session.registry(), until=until, as_of=as_of)


def behind(until: date, table: str, row: str, column: str, by: str) -> pl.DataFrame:
    """The procedures behind one cell of the yearly table."""
    rows = _yearly_rows(*session.state(Action.PROCEDURES), until, session.filters().as_of)
    return quality.behind(rows, table, row, column, by=by)


@st.cache_data(show_spinner=False, max_entries=8)
def _completeness(folder: str, revision: int, filters: session.Filters) -> pl.DataFrame:
    return quality.completeness(session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end)


def completeness() -> pl.DataFrame:
    """Expected and filled fields by site and month."""
    return _completeness(*session.state(), session.filters())


def by_field(site: str | None) -> tuple[FieldFilled, ...]:
    """Each field over all months of the period, and the last twelve months against those before."""
    return quality.by_field(
        completeness(), as_of=session.filters().as_of, site=site, minimum=session.minimum_n()
    )
