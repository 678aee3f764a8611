"""The list of the meeting, what changed since it was printed, and the choice of one procedure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session
from dashboards.answers import concordance as answers
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.tables import SHOWN_ROWS, cell, download, table

if TYPE_CHECKING:
    import polars as pl

_CHOSEN = "procedure under review"
_COLUMNS = (
    "procedure_id",
    "reason",
    "days_overdue",
    "flags",
    "assessment",
    "finding_type",
    "diagnosis",
    "started_on",
)
_HEADS = ("Procedure", "Why here", "Overdue, d", "Flags", "Category", "Finding", "Diagnosis", "Biopsy")


def the_list(rows: pl.DataFrame) -> None:
    """The list as a table, with its file, and what changed since the last printing."""
    _since_printed()
    more = f", the first {SHOWN_ROWS}" if rows.height > SHOWN_ROWS else ""
    with st.expander(f"The list: {words.plural(rows.height, 'procedure')}", expanded=False):
        cells = [[cell(name, row[name]) for name in _COLUMNS] for row in rows.head(SHOWN_ROWS).to_dicts()]
        table(f"Waiting for the meeting, most urgent first{more}", _HEADS, cells, frozenset((2, 3)))
        show(
            element(
                "p",
                "First what changed after it was decided or signed, then by what is at stake, then by the days beyond the local limit. "
                "Flags are counted here and told only after an own determination.",
                class_="beside",
            )
        )
        left, right = st.columns(2)
        with left:
            download("Download the list as CSV", rows, "concordance review.csv", key="csv review list")
        if right.button("Note this list as printed", help="Afterwards the page says what changed since."):
            answers.print_list()
            st.rerun()


def _since_printed() -> None:
    printed = answers.since_printed()
    if printed is None:
        return
    when = f"{printed.recorded_at:%Y-%m-%d %H:%M} UTC by {printed.author}"
    if not printed.changes:
        show(element("p", f"List printed {when}: nothing has changed since.", class_="beside"))
        return
    said = "; ".join(f"{key}: {what}" for key, what in printed.changes[:12])
    more = f"; and {len(printed.changes) - 12} more" if len(printed.changes) > 12 else ""
    show(element("p", f"List printed {when}. Since then: {said}{more}.", class_="change"))


def choose(keys: list[str]) -> str | None:
    """One procedure of the list, kept in the address; the next one by the key N."""
    state = st.session_state
    if state.get(_CHOSEN) is None:
        state[_CHOSEN] = session.linked(session.PROCEDURE) or (keys[0] if keys else None)
    now = state[_CHOSEN]
    # What was decided leaves the list, and stays in view until another is chosen.
    options = keys if now is None or now in keys else [now, *keys]
    place = options.index(now) if now in options else 0
    following = options[place + 1] if place + 1 < len(options) else None

    def go_on() -> None:
        state[_CHOSEN] = following

    left, right = st.columns([4, 1], vertical_alignment="bottom")
    right.button("Next", shortcut="N", disabled=following is None, on_click=go_on, width="stretch")
    chosen = left.selectbox(
        "Procedure under review",
        options,
        accept_new_options=True,
        placeholder="Nothing waits: type the key of a procedure",
        key=_CHOSEN,
    )
    if chosen:
        session.set_link(session.PROCEDURE, chosen)
    return chosen
