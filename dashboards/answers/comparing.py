"""One proportion compared between two periods or between groups."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from registry import monitoring

if TYPE_CHECKING:
    from datetime import date

    from registry.monitoring import Comparison, LaterCancer

_KEPT = 32
Period = tuple["date", "date"]


@st.cache_data(show_spinner="Comparing", max_entries=_KEPT)
def _periods(
    folder: str, revision: int, measure: str, filters: session.Filters, first: Period, second: Period
) -> Comparison:
    return monitoring.compare_periods(
        session.registry(),
        measure,
        first,
        second,
        as_of=filters.as_of,
        interval=filters.interval,
        minimum=session.minimum_n(),
    )


def periods(measure: str, first: Period, second: Period) -> Comparison:
    """A proportion in two periods; the sidebar's own period does not bound them.

    Raises
    ------
    UsageProblem
        The periods overlap.
    """
    return _periods(*session.state(), measure, session.filters(), first, second)


@st.cache_data(show_spinner="Comparing", max_entries=_KEPT)
def _groups(
    folder: str,
    revision: int,
    measure: str,
    filters: session.Filters,
    by: str,
    pair: tuple[str, str] | None,
) -> Comparison:
    return monitoring.compare_groups(
        session.registry(),
        measure,
        by,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        pair=pair,
        interval=filters.interval,
        minimum=session.minimum_n(),
    )


def groups(measure: str, by: str, pair: tuple[str, str] | None = None) -> Comparison:
    """A proportion between the values of a stratum under the sidebar's filters."""
    return _groups(*session.state(), measure, session.filters(), by, pair)


@st.cache_data(show_spinner="Comparing", max_entries=_KEPT)
def _cancer_in_periods(
    folder: str, revision: int, filters: session.Filters, first: Period, second: Period
) -> LaterCancer:
    return monitoring.later_cancer_in_periods(
        session.registry(), first, second, as_of=filters.as_of, minimum=session.minimum_n()
    )


def cancer_in_periods(first: Period, second: Period) -> LaterCancer:
    """Cancer after a benign result of procedures started in two periods."""
    return _cancer_in_periods(*session.state(), session.filters(), first, second)


@st.cache_data(show_spinner="Comparing", max_entries=_KEPT)
def _cancer_by_group(
    folder: str, revision: int, filters: session.Filters, by: str, pair: tuple[str, str] | None
) -> LaterCancer:
    return monitoring.later_cancer_by_group(
        session.registry(),
        by,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        pair=pair,
        minimum=session.minimum_n(),
    )


def cancer_by_group(by: str, pair: tuple[str, str] | None = None) -> LaterCancer:
    """Cancer after a benign result between the values of a stratum under the sidebar's filters."""
    return _cancer_by_group(*session.state(), session.filters(), by, pair)
