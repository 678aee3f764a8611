"""The imaging and targeting chain: leak tests, phantom errors, clocks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from registry import uptake
from registry.uptake import words

if TYPE_CHECKING:
    from datetime import date

_KEPT = 4


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _leak_tests(folder: str, revision: int, on: date) -> list[uptake.LeakTest]:
    return uptake.leak_tests(session.registry(), on=on)


def leak_tests() -> list[uptake.LeakTest]:
    """Leak tests on the as-of day, those due first."""
    return _leak_tests(*session.state(), session.filters().as_of)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _phantom(folder: str, revision: int, as_of: date) -> list[uptake.PhantomCheck]:
    return uptake.phantom_checks(session.registry(), as_of=as_of)


def phantom_checks() -> list[uptake.PhantomCheck]:
    """Errors on the phantom."""
    return _phantom(*session.state(), session.filters().as_of)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _clocks(folder: str, revision: int, as_of: date) -> list[uptake.ClockCheck]:
    return uptake.clock_checks(session.registry(), as_of=as_of)


def clock_checks() -> list[uptake.ClockCheck]:
    """Scanner clocks against the reference clock."""
    return _clocks(*session.state(), session.filters().as_of)


def tolerance(name: str) -> float | None:
    """A local tolerance; None where the service states none."""
    return uptake.tolerance(session.registry(), name)


def tolerances() -> str:
    """The local tolerances in a sentence."""
    return words.tolerances(session.registry())
