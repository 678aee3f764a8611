"""The list of a meeting, walked from the most urgent procedure to the last."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards import visitor
from dashboards.answers import records
from dashboards.components.line import line
from dashboards.components.markup import element, joined, show
from dashboards.components.meeting_decision import decision_form
from dashboards.components.procedure_list import RECORD_PAGE, record_link
from dashboards.components.tables import capital, cell, table
from dashboards.session import PROCEDURE
from registry.meetings.entries import earlier, facts
from registry.people import Action

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

_HEADS = (
    "Procedure",
    "Why it is on the list",
    "Finding",
    "Category",
    "Result",
    "Waiting, days",
)
_COLUMNS = ("finding_type", "assessment", "diagnosis", "days_waiting")


def the_list(agenda: pl.DataFrame, decided: Sequence[str]) -> None:
    """Everything that stands to be decided, in its order, and what was decided already."""
    done = ", ".join(decided)
    if done:
        show(element("p", f"Decided at this meeting: {done}.", class_="result"))
    if not agenda.height:
        show(element("p", "Nothing is left to be decided.", class_="result"))
        return
    rows = [
        [record_link(row["procedure_id"]), _why(row), *(_cell(name, row[name]) for name in _COLUMNS)]
        for row in agenda.iter_rows(named=True)
    ]
    table("On the list, the most urgent first", _HEADS, rows, frozenset({5}))


def _why(row: dict[str, Any]) -> str:
    """Why a procedure is on the list, and what changed where that is the reason."""
    return f"{row['reason']}: {row['changed']}" if row["changed"] else str(row["reason"])


def _cell(name: str, value: object) -> str:
    # The category as it is spoken; its words would fill a column.
    return str(value) if name == "assessment" else cell(name, value)


def walk(agenda: pl.DataFrame, decided: Sequence[str], key: str) -> None:
    """One procedure of the list on one screen, with the way to the one before and the one after."""
    order = _order(agenda.get_column("procedure_id").to_list(), decided, key)
    if not order:
        return
    name = f"walked at {key}"
    if st.session_state.get(name) not in order:
        st.session_state[name] = order[0]
    place = order.index(st.session_state[name])
    back, on, chosen = st.columns([1, 1, 3], vertical_alignment="bottom")
    back.button("Previous", disabled=place == 0, on_click=_go, args=(name, order, place - 1), width="stretch")
    on.button(
        "Next",
        disabled=place == len(order) - 1,
        on_click=_go,
        args=(name, order, place + 1),
        width="stretch",
        type="primary",
    )
    chosen.selectbox(
        "Procedure", order, key=name, format_func=lambda one: f"{order.index(one) + 1} of {len(order)}: {one}"
    )
    procedure_id = st.session_state[name]
    found = records.record(procedure_id)
    row = next((one for one in agenda.iter_rows(named=True) if one["procedure_id"] == procedure_id), None)
    show(element("p", capital(row["reason"]) if row else "Decided at this meeting", class_="result"))
    line(found.line)
    said: list[tuple[str, str]] = [*facts(found), *(("Review", earlier(one)) for one in found.reviews)]
    show(_facts(said))
    show(element("p", found.missing_sentence(), class_="beside"))
    if visitor.may(Action.DECIDE):
        decision_form(key, procedure_id, len(found.reviews))
    st.page_link(
        RECORD_PAGE,
        label="Open its record",
        icon=":material/arrow_forward:",
        query_params={PROCEDURE: procedure_id},
    )


def _order(waiting: Sequence[str], decided: Sequence[str], key: str) -> list[str]:
    """The list, in which what was decided here keeps its place, so that Next goes on from there."""
    name = f"order at {key}"
    order = list(waiting)
    for place, one in enumerate(st.session_state.get(name, ())):
        if one in decided and one not in order:
            order.insert(place, one)
    order += [one for one in decided if one not in order]
    st.session_state[name] = order
    return order


def _go(name: str, order: Sequence[str], place: int) -> None:
    st.session_state[name] = order[max(0, min(place, len(order) - 1))]


def _facts(pairs: Sequence[tuple[str, str]]) -> Any:
    parts = (joined((element("dt", head), element("dd", words))) for head, words in pairs if words)
    return element("dl", *parts, class_="meeting-facts")


def _both(row: dict[str, Any], *names: str) -> str:
    return ", ".join(filter(None, (cell(name, row[name]) for name in names)))


def left_open(actions: pl.DataFrame) -> None:
    """Steps of earlier meetings that are neither booked nor done."""
    if not actions.height:
        show(element("p", "Earlier meetings left nothing open.", class_="result"))
        return
    heads = ("Procedure", "What is open", "Decision", "Step", "Who acts, by when")
    rows = [
        [
            record_link(row["procedure_id"]),
            cell("reason", row["reason"]),
            _both(row, "determination", "reviewed_on"),
            cell("management", row["management"]),
            _both(row, "responsible", "due_on"),
        ]
        for row in actions.iter_rows(named=True)
    ]
    table("Left open by earlier meetings", heads, rows)
