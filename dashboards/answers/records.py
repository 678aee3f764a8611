"""Worklists, single records and the rows that are held."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from registry import worklists
from registry.intake import quarantine
from registry.people import Action
from registry.record import ProcedureRecord, newest_procedures, procedure_record
from registry.record.offsets import Offsets, offsets

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    import polars as pl

#: Keys offered in the select box of the record page; any other key can be typed.
LISTED_PROCEDURES = 2000
_KEPT = 64


@st.cache_data(show_spinner=False, max_entries=16)
def _worklist(folder: str, revision: int, name: str, as_of: date) -> pl.DataFrame:
    return worklists.rows(session.registry(), name, as_of=as_of)


def worklist(name: str) -> pl.DataFrame:
    """Rows of a worklist as of the day in the sidebar."""
    return _worklist(*session.state(Action.WORKLISTS), name, session.filters().as_of)


@st.cache_data(show_spinner=False, max_entries=_KEPT)
def _offsets(folder: str, revision: int, ids: tuple[str, ...]) -> Offsets:
    return offsets(session.registry(), ids)


def target_offsets(ids: Sequence[str]) -> Offsets:
    """Way from target to aperture of the named procedures."""
    return _offsets(*session.state(Action.RECORD), tuple(ids))


def record(procedure_id: str) -> ProcedureRecord:
    """One procedure with everything that hangs on it.

    Raises
    ------
    UsageProblem
        There is no such procedure.
    """
    return procedure_record(session.registry(), procedure_id)


@st.cache_data(show_spinner=False, max_entries=4)
def _newest(folder: str, revision: int) -> pl.DataFrame:
    return newest_procedures(session.registry(), LISTED_PROCEDURES)


def listed_procedures() -> pl.DataFrame:
    """Procedures offered by the record page, latest start first."""
    return _newest(*session.state(Action.RECORD))


def held_rows() -> pl.DataFrame:
    """Problems of the rows that are held, with their place in the source."""
    return quarantine.open_rows(session.registry())
