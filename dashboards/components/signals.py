"""The signals of a chart: the procedures behind each, what was said to it, and a form to answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import visitor
from dashboards.answers import monitoring as answers
from dashboards.components.markup import element, show
from dashboards.components.procedure_list import choose_procedure
from dashboards.components.tables import SHOWN_ROWS, heading, table
from registry.errors import RegistryError
from registry.monitoring import ANSWERS
from registry.monitoring import words as said
from registry.people import Action

if TYPE_CHECKING:
    from registry.measures import Measure
    from registry.monitoring import Note, Signal, Watched


def signals(
    measure: Measure, watched: Watched, found: tuple[Signal, ...], *, chart: str, design: str
) -> None:
    """Draw the signals of one chart.

    Parameters
    ----------
    chart
        Kind of chart, under which notes are kept: cusum, risk_adjusted or ewma.
    design
        Accepted figure, change looked for and limit, in words.
    """
    if not found:
        show(element("p", "No signal.", class_="result"))
        return
    numbers = list(range(len(found), 0, -1))
    chosen = st.selectbox(
        "Signal to open",
        numbers,
        format_func=lambda number: said.signal(found[number - 1], number),
        # Another chart is another choice: a number kept from the one before would part from what is seen.
        key=f"signal {chart} {design} of {len(found)}",
    )
    one = found[chosen - 1]
    held = watched.during.filter(watched.during.get_column("procedure_id").is_in(one.procedures))
    marked = (held.filter(held.get_column("procedure_id").is_in(one.events)) if one.events else held).drop(
        "event", strict=False
    )
    table(
        f"Procedures behind signal {chosen}" + (", those with the event" if one.events else ""),
        [heading(name) for name in marked.columns],
        [[str(cell) for cell in row] for row in marked.head(SHOWN_ROWS).rows()],
        caption_seen=True,
    )
    choose_procedure(
        [*one.events, *(key for key in one.procedures if key not in one.events)],
        key=f"signal {chart} {one.procedure_id}",
    )
    kept = [
        note
        for note in answers.notes(measure.id)
        if (note.procedure_id, note.chart) == (one.procedure_id, chart)
    ]
    _notes(kept)
    if visitor.may(Action.OPERATORS):
        # A new, empty form once an answer is kept; the same one after a refusal.
        with st.form(f"answer {chart} {one.procedure_id} {len(kept)}", border=False):
            _form(measure, watched, one, chart, design)


def _notes(kept: list[Note]) -> None:
    if not kept:
        show(element("p", "Not answered yet.", class_="beside attention"))
        return
    rows = [
        [f"{one.recorded_at:%Y-%m-%d %H:%M}", one.author, ANSWERS[one.answer], one.note, one.design]
        for one in kept
    ]
    table("Answers to this signal", ["Time (UTC)", "Who", "Answer", "Note", "Chart"], rows, caption_seen=True)


def _form(measure: Measure, watched: Watched, one: Signal, chart: str, design: str) -> None:
    answer = st.selectbox("Answer", list(ANSWERS), index=None, format_func=ANSWERS.__getitem__)
    note = st.text_area("Note (name no patient)", max_chars=1000, height=90)
    if not st.form_submit_button("Keep this answer"):
        return
    try:
        answers.answer(
            measure.id,
            one,
            chart=chart,
            stratum=watched.stratum,
            design=design,
            answer=answer or "",
            note=note,
        )
    except RegistryError as problem:
        st.error(str(problem))
        return
    st.rerun()
