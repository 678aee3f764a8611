"""How many procedures a question about a measure needs, under the sidebar's filters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from registry import planning

if TYPE_CHECKING:
    from registry.planning import Plan

_KEPT = 64


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _plan(
    folder: str,
    revision: int,
    measure: str,
    filters: session.Filters,
    half_width: float,
    factor: float,
    power: float,
    rate: float | None,
) -> Plan:
    return planning.plan(
        session.registry(),
        measure,
        as_of=filters.as_of,
        start=filters.start,
        end=filters.end,
        half_width=half_width,
        factor=factor,
        power=power,
        rate=rate,
        minimum=session.minimum_n(),
    )


def plan(measure: str, *, half_width: float, factor: float, power: float, rate: float | None = None) -> Plan:
    """Procedures and months until a rate is known, or a rise is seen.

    Parameters
    ----------
    measure
        A proportion.
    half_width, power, rate
        Proportions; without a rate the observed one under the sidebar's filters.
    factor
        Rise of the rate, above 1.

    Raises
    ------
    UsageProblem
        There is no rate to plan for.
    """
    return _plan(*session.state(), measure, session.filters(), half_width, factor, power, rate)
