"""Whether the target of a procedure was sampled, and how that holds against invented truth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from registry import sampling
from registry.people import Action

if TYPE_CHECKING:
    from datetime import date


@st.cache_data(show_spinner=False, max_entries=64)
def _estimate(folder: str, revision: int, procedure_id: str, as_of: date) -> sampling.Estimate:
    return sampling.procedure_estimate(session.registry(), procedure_id, as_of)


def estimate(procedure_id: str) -> sampling.Estimate:
    """The probability for one procedure with everything it rests on, as of the day in the sidebar.

    Raises
    ------
    UsageProblem
        There is no such procedure, or it started after that day.
    """
    return _estimate(*session.state(Action.RECORD), procedure_id, session.filters().as_of)


@st.cache_data(show_spinner=False, max_entries=4)
def _calibration(folder: str, revision: int, as_of: date) -> tuple[sampling.CalibrationBin, ...]:
    opened = session.registry()
    return sampling.calibration(opened, opened.folder, as_of)


def calibration() -> tuple[sampling.CalibrationBin, ...]:
    """Predicted against true in bins; empty outside a demonstration."""
    if not (session.is_demo() and visitor.may(Action.PROCEDURES)):
        return ()
    return _calibration(*session.state(Action.PROCEDURES), session.filters().as_of)
