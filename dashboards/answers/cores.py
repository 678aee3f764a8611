"""Yield against the amount of tissue, under the sidebar's filters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session
from registry import cores
from registry.people import Action

if TYPE_CHECKING:
    from registry.cores import FirstPositive, Unusable


@st.cache_data(show_spinner=False, max_entries=8)
def _first_positive(folder: str, revision: int, filters: session.Filters) -> FirstPositive:
    return cores.first_positive(
        session.registry(),
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        minimum=session.minimum_n(),
    )


def first_positive() -> FirstPositive:
    """Yield by cores and by mass, with what is left out of each."""
    return _first_positive(*session.state(), session.filters())


@st.cache_data(show_spinner=False, max_entries=8)
def _tissue_rows(folder: str, revision: int, filters: session.Filters) -> pl.DataFrame:
    found = cores.tissue_rows(session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end)
    # A list is no cell of a file; the number of the patient means nothing outside.
    return found.drop("patient_no").with_columns(
        pl.col("container_cores", "container_positive")
        .list.eval(pl.element().cast(pl.String))
        .list.join("; ")
    )


def tissue_rows() -> pl.DataFrame:
    """One row per procedure: why it is left out, its cores, its mass, and whether it was positive."""
    return _tissue_rows(*session.state(Action.PROCEDURES), session.filters())


@st.cache_data(show_spinner="Comparing", max_entries=8)
def _unusable(folder: str, revision: int, filters: session.Filters) -> Unusable:
    return cores.no_usable_sample(
        session.registry(),
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        minimum=session.minimum_n(),
    )


def no_usable_sample() -> Unusable:
    """Attempts without a usable sample, by size, gauge, approach and guidance."""
    return _unusable(*session.state(), session.filters())
