"""The concordance meeting: the list, own views, flags, decisions and signatures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from registry import concordance
from registry.concordance.accession import accession as accession_of
from registry.people import Action

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    import polars as pl


@st.cache_data(show_spinner=False, max_entries=16)
def _listed(folder: str, revision: int, as_of: date) -> pl.DataFrame:
    return concordance.listed(session.registry(), as_of=as_of)


def listed() -> pl.DataFrame:
    """What waits for the meeting as of the day in the sidebar, most urgent first."""
    return _listed(*session.state(Action.WORKLISTS), session.filters().as_of)


def since_printed() -> concordance.Printed | None:
    """What changed since the list was printed last."""
    return concordance.since_printed(session.registry(), as_of=session.filters().as_of)


def print_list() -> int:
    """Keep the list as it is printed."""
    return concordance.print_list(session.registry(), as_of=session.filters().as_of)


def own_view(procedure_id: str) -> concordance.OwnView | None:
    """The own view of whoever looks, on the record as it stands."""
    return concordance.own_view(session.registry(), procedure_id)


def record_own_view(procedure_id: str, determination: str | None) -> None:
    """Keep the own view of whoever looks."""
    concordance.record_own_view(session.registry(), procedure_id, determination)


def flags(procedure_id: str) -> tuple[concordance.Flag, ...]:
    """Flags of one procedure; only after an own view."""
    return concordance.flags(session.registry(), procedure_id, as_of=session.filters().as_of)


def decide(decision: concordance.Decision) -> str:
    """Record a decision of whoever looks."""
    return concordance.decide(session.registry(), decision, today=session.today())


def standing(review_ids: Sequence[str]) -> dict[str, concordance.Standing]:
    """Where the signatures of some reviews stand."""
    return concordance.standing(session.registry(), review_ids)


def sign(review_id: str, role: str, person: str) -> None:
    """Sign as whoever looks; in invented data as the invented reviewer."""
    concordance.sign(session.registry(), review_id, role, person=person)


def accession(procedure_id: str) -> str | None:
    """The accession number; that it is seen is written down."""
    return accession_of(session.registry(), procedure_id)


@st.cache_data(show_spinner=False, max_entries=4)
def _reviewers(folder: str, revision: int) -> tuple[list[str], list[str]]:
    return concordance.reviewers(session.registry())


def reviewers() -> tuple[list[str], list[str]]:
    """Codes of radiologists and of pathologists in the reviews so far; whoever looks stands first."""
    radiologists, pathologists = _reviewers(*session.state(Action.RECORD))
    who = visitor.actor()
    if who is None:
        return radiologists, pathologists
    return (
        _first(who.name, radiologists, "radiologist" in who.roles and visitor.signs_in()),
        _first(who.name, pathologists, "pathologist" in who.roles and visitor.signs_in()),
    )


def _first(name: str, codes: list[str], leads: bool) -> list[str]:
    return [name, *(one for one in codes if one != name)] if leads else codes
