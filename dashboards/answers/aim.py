"""Targeting errors as vectors, and what they have in common, under the sidebar's filters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from registry import aim
from registry.people import operators

if TYPE_CHECKING:
    import polars as pl

_KEPT = 32


@st.cache_data(show_spinner=False, max_entries=8)
def _vectors(folder: str, revision: int, filters: session.Filters) -> pl.DataFrame:
    return aim.vectors(session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end)


def vectors() -> pl.DataFrame:
    """Vectors of all procedures, those left out included."""
    chosen = session.filters()
    # What it is split by changes no vector.
    return _vectors(*session.state(), session.Filters(chosen.as_of, chosen.start, chosen.end))


def bases() -> list[tuple[aim.Basis, int]]:
    """Directions in which errors can be counted, with the number of errors."""
    return aim.bases(vectors(), session.registry().site.frames)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _summary(folder: str, revision: int, filters: session.Filters, basis: aim.Basis | None) -> aim.Summary:
    return aim.summary(vectors(), session.registry().site.frames, basis)


def summary(basis: aim.Basis | None) -> aim.Summary:
    """All procedures together."""
    return _summary(*session.state(), session.filters(), basis)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _by_stratum(
    folder: str, revision: int, filters: session.Filters, by: str, basis: aim.Basis | None
) -> list[tuple[str, aim.Summary]]:
    found = vectors()
    if (
        by == "operator"
        and (actor := visitor.actor()) is not None
        and (whose := operators(actor)) is not None
    ):
        found = found.filter(pl.col("operator") == whose)
    return aim.by_stratum(found, by, session.registry().site.frames, basis)


def by_stratum(by: str, basis: aim.Basis | None) -> list[tuple[str, aim.Summary]]:
    """One summary per stratum, in the order of the codes."""
    return _by_stratum(*session.state(), session.filters(), by, basis)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _drawn(
    folder: str, revision: int, filters: session.Filters, basis: aim.Basis
) -> tuple[pl.DataFrame, tuple[aim.Plane, aim.Plane, aim.Plane]]:
    found = aim.points(vectors(), basis)
    return found, aim.planes(found)


def drawn(basis: aim.Basis) -> tuple[pl.DataFrame, tuple[aim.Plane, aim.Plane, aim.Plane]]:
    """Errors in the directions of a basis, and both ellipses of each of its planes."""
    return _drawn(*session.state(), session.filters(), basis)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _within(folder: str, revision: int, filters: session.Filters, basis: aim.Basis) -> tuple[aim.Within, ...]:
    return aim.within(aim.points(vectors(), basis))


def within(basis: aim.Basis) -> tuple[aim.Within, ...]:
    """Chance that an error is small, by the directions of a basis."""
    return _within(*session.state(), session.filters(), basis)


def pairs() -> pl.DataFrame:
    """Errors at the first and the last attempt of those whose needle was moved."""
    return aim.moved(vectors()).select("procedure_id", "first_error_mm", "error_mm")
