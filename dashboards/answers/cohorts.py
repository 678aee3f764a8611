"""Cohorts of a study as the page asks for them, kept by revision and by the content of the file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from registry import cohorts
from registry.people import Action

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from registry.cohorts import CohortFile, Drawn, TableOne
    from registry.frozen_cohorts import Frozen


@st.cache_data(show_spinner="Drawing the cohort", max_entries=8)
def _drawn(folder: str, revision: int, content: bytes) -> Drawn:
    return cohorts.draw(session.registry(), parsed(content))


def drawn(file: CohortFile) -> Drawn:
    """The cohort of a file, drawn from the registry as it is now."""
    return _drawn(*session.state(Action.COHORTS), file.canonical())


@st.cache_data(show_spinner=False, max_entries=16)
def _table_one(folder: str, revision: int, content: bytes, by: str | None, minimum: int) -> TableOne:
    return cohorts.table_one(drawn(parsed(content)), by=by, minimum=minimum)


def table_one(file: CohortFile, by: str | None) -> TableOne:
    """The first table of a cohort; groups below the site's minimum are counted only."""
    return _table_one(*session.state(Action.COHORTS), file.canonical(), by, session.minimum_n())


def parsed(content: bytes, where: str = "Cohort file") -> CohortFile:
    """A cohort file as this service reads it."""
    return cohorts.CohortFile.parse(content, where, added_codes())


def added_codes() -> Mapping[str, Sequence[str]]:
    """``table.field`` -> codes that the service added."""
    return session.registry().site.added_codes


def frozen() -> tuple[Frozen, ...]:
    """Every frozen cohort file."""
    return cohorts.frozen(session.registry())


def freeze(file: CohortFile) -> Frozen:
    """Keep a file in the registry as it is."""
    return cohorts.freeze(session.registry(), file, author=visitor.name())
