"""Counts, intervals and lists of procedures behind them, under the sidebar's filters."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards import session
from registry import measures
from registry.people import Action
from registry.record import complications_by_grade

if TYPE_CHECKING:
    from collections.abc import Iterable

    import polars as pl

_QUARTERS = 8
_KEPT = 64

Row = dict[str, Any]


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _results(folder: str, revision: int, ids: tuple[str, ...], filters: session.Filters) -> list[Row]:
    found = measures.evaluate(
        session.registry(),
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
    chosen = session.filters()
    return _results(
        *session.state(),
        tuple(ids),
        session.Filters(chosen.as_of, chosen.start, chosen.end, by, chosen.interval),
    )


def quarters(ids: Iterable[str]) -> dict[str, list[tuple[str, Row | None]]]:
    """The last eight quarters of proportions, oldest first, up to the quarter of the as-of date."""
    chosen = session.filters()
    names = _quarters_up_to(chosen.as_of)
    first = date(int(names[0][:4]), 3 * int(names[0][-1]) - 2, 1)
    found = _results(
        *session.state(),
        tuple(ids),
        session.Filters(chosen.as_of, first, chosen.as_of, "quarter", chosen.interval),
    )
    by_place = {(row["measure"], row["stratum"]): row for row in found}
    return {one: [(name, by_place.get((one, name))) for name in names] for one in ids}


def _quarters_up_to(day: date) -> list[str]:
    last = day.year * 4 + (day.month - 1) // 3
    return [f"{number // 4}-Q{number % 4 + 1}" for number in range(last - _QUARTERS + 1, last + 1)]


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _procedures(folder: str, revision: int, measure: str, filters: session.Filters) -> pl.DataFrame:
    return measures.procedures(
        session.registry(), measure, as_of=filters.as_of, start=filters.start, end=filters.end
    )


def procedures(measure: str) -> pl.DataFrame:
    """The procedures behind a measure: kept, counted and left out, with the reason."""
    return _procedures(*session.state(Action.PROCEDURES), measure, session.filters())


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _flow(
    folder: str,
    revision: int,
    measure: str,
    as_of: date,
    start: date | None,
    end: date | None,
    within: tuple[tuple[str, str], ...],
) -> list[tuple[str, int, int]]:
    return list(
        measures.exclusion_flow(
            session.registry(), measure, as_of=as_of, start=start, end=end, within=dict(within)
        )
    )


def exclusion_flow(measure: str) -> list[tuple[str, int, int]]:
    """Reason, number left out and number remaining; the first entry is all procedures of the period."""
    filters = session.filters()
    return _flow(*session.state(), measure, filters.as_of, filters.start, filters.end, ())


def exclusion_flow_of(one: measures.ProportionResult, by: str | None) -> list[tuple[str, int, int]]:
    """The same for one group of a comparison: its own period, and its value of the stratum ``by``."""
    within = () if by is None else ((by, one.stratum),)
    return _flow(*session.state(), one.measure, one.as_of, one.start, one.end, within)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _clustering(
    folder: str, revision: int, ids: tuple[str, ...], filters: session.Filters
) -> dict[tuple[str, str], measures.ClusteringEffect]:
    return measures.clustering_effects(
        session.registry(),
        ids,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        by=filters.by,
    )


def clustering(
    ids: Iterable[str], *, by: str | None = None
) -> dict[tuple[str, str], measures.ClusteringEffect]:
    """How alike several procedures of a patient are, and what that does to the interval.

    Parameters
    ----------
    ids
        Proportions.
    by
        Stratum; None for all procedures together.

    Returns
    -------
    dict
        (measure, stratum) -> effect.
    """
    chosen = session.filters()
    asked = session.Filters(chosen.as_of, chosen.start, chosen.end, by, "wilson")
    return _clustering(*session.state(), tuple(ids), asked)


@st.cache_data(show_spinner=False, max_entries=8)
def _b_categories(folder: str, revision: int, filters: session.Filters) -> measures.CategoryTable:
    return measures.b_category_table(
        session.registry(),
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        interval=filters.interval,
    )


def b_categories() -> measures.CategoryTable:
    """The B-category table with its ratios."""
    return _b_categories(*session.state(), session.filters())


@st.cache_data(show_spinner=False, max_entries=8)
def _curve(folder: str, revision: int, filters: session.Filters) -> measures.Curve:
    return measures.curve(session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end)


def curve() -> measures.Curve:
    """Cancer after a benign result: two estimates with numbers at risk."""
    return _curve(*session.state(), session.filters())


@st.cache_data(show_spinner=False, max_entries=8)
def _grades(folder: str, revision: int, filters: session.Filters) -> pl.DataFrame:
    return complications_by_grade(
        session.registry(), as_of=filters.as_of, start=filters.start, end=filters.end
    )


def grades() -> pl.DataFrame:
    """Complications by kind, scale and grade."""
    return _grades(*session.state(), session.filters())
