"""Who is due: the list, one line per patient, and what a call, a report or the end of the chase comes to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards import session, visitor
from dashboards.answers import follow_up_due as answers
from dashboards.components import words
from dashboards.components.confirm import confirmed
from dashboards.components.markup import element, show
from dashboards.components.procedure_list import RECORD_PAGE
from dashboards.components.tables import SHOWN_ROWS, csv_bytes, download, table
from registry.errors import RegistryError
from registry.follow_up import CONTACTS, waits_for_report
from registry.people import Action
from registry.vocabulary import label, labels

if TYPE_CHECKING:
    from collections.abc import Callable

    import polars as pl
    from streamlit.delta_generator import DeltaGenerator

CLASSES = {
    "non_specific": "benign, non-specific",
    "tracer_only": "benign, tracer alone",
    "specific": "benign, specific",
    "high_risk": "high risk, surveillance",
    "not_seen": "not sampled, nothing seen",
    "declined": "discordant, tissue declined",
}
_CHOSEN = "patient to call"
_SHORTCUTS = dict(zip(CONTACTS, "123456", strict=True))
_HEADS = ("Procedure", "Why here", "Result", "Due", "Calls", "Next call")


def how_many(rows: pl.DataFrame) -> None:
    """How many are due, and why."""
    counts = ", ".join(f"{words.count(number)} {reason}" for reason, number in _places(rows) if number)
    show(element("p", f"{words.plural(rows.height, 'patient')}: {counts}.", class_="result"))


def the_due(rows: pl.DataFrame) -> None:
    """The list as a table and as a file."""
    st.header("The list", anchor=False)
    more = f"; the first {SHOWN_ROWS}" if rows.height > SHOWN_ROWS else ""
    table(
        f"Follow-up due, one line per patient{more}",
        _HEADS,
        [_cells(row) for row in rows.head(SHOWN_ROWS).to_dicts()],
        frozenset((4,)),
    )
    download("Download the list as CSV", rows, "follow-up due.csv", key="csv due")


def _places(rows: pl.DataFrame) -> list[tuple[str, int]]:
    place = rows["place"]
    return [
        ("with growth or a new finding", int((place == 1).sum())),
        ("overdue beyond the grace", int((place == 2).sum())),
        ("due", int((place == 3).sum())),
        ("closed as lost", int((place == 4).sum())),
    ]


def _cells(row: dict[str, Any]) -> tuple[object, ...]:
    also = [f"also due: {row['also']}"] if row["also"] else []
    beside = "; ".join([*remarks(row), *also])
    return (
        row["procedure_id"],
        element("span", row["reason"], element("small", beside, class_="flowing") if beside else None),
        CLASSES[row["result_class"]],
        row["next_due_on"] or "",
        row["contact_attempts"],
        row["next_call_on"] or "",
    )


def remarks(row: dict[str, Any]) -> list[str]:
    """What the coordinator must know of a line beside its date."""
    said = []
    if row["escalate"]:
        attempts = int(session.registry().site.numbers["attempts_max"])
        said.append(f"not reached in {attempts} or more attempts: to the physician in charge")
    if row["outside_owed"]:
        said.append("outside report owed")
    if row["not_cleared_because"]:
        said.append(_blind(row["not_cleared_because"]))
    return said


def _blind(text: str) -> str:
    modality, _, rest = text.partition(" ")
    return f"{label('followup', 'modality', modality).lower()} {rest}"


def choose(rows: pl.DataFrame) -> dict[str, Any] | None:
    """One line of the list; the next one by the key N."""
    keys = rows["procedure_id"].to_list()
    state = st.session_state
    if state.get(_CHOSEN) not in keys:
        state[_CHOSEN] = keys[0] if keys else None
    now = state[_CHOSEN]
    place = keys.index(now) if now in keys else 0
    following = keys[place + 1] if place + 1 < len(keys) else None

    def go_on() -> None:
        state[_CHOSEN] = following

    left, right = st.columns([4, 1], vertical_alignment="bottom")
    right.button("Next", shortcut="N", disabled=following is None, on_click=go_on, width="stretch")
    chosen = left.selectbox("Line to work on", keys, key=_CHOSEN)
    return rows.row(keys.index(chosen), named=True) if chosen else None


def work_on(row: dict[str, Any]) -> None:
    """Enter what came of it: a call by one key, a report from elsewhere, or the end of the chase."""
    key = row["procedure_id"]
    parts = [f"{CLASSES[row['result_class']]}; {row['reason']}", *remarks(row)]
    show(element("p", f"{key}: {'; '.join(parts)}.", class_="result"))
    st.page_link(
        RECORD_PAGE,
        label="Open its record",
        icon=":material/arrow_forward:",
        query_params={session.PROCEDURE: key},
    )
    if not visitor.may(Action.ENTER):
        return
    st.subheader("What the call came to", anchor=False)
    columns = st.columns(3)
    for place, result in enumerate(CONTACTS):
        if columns[place % 3].button(
            label("followup", "contact_result", result),
            shortcut=_SHORTCUTS[result],
            width="stretch",
            key=f"call {result} {key}",
        ):
            _saved(lambda result=result: answers.record_contact(key, result))  # type: ignore[misc]
    with st.expander("An outside report has come"):
        _outside_report(key)
    with st.expander("End the chase"):
        _end(key)


def _outside_report(key: str) -> None:
    form = f"outside {key}"
    with st.form(_fresh(form), border=False):
        first, second, third = st.columns(3)
        on = first.date_input("Day of the examination", None, format="YYYY-MM-DD")
        modality = _code(second, "Modality", "modality")
        outcome = _code(third, "It shows", "imaging_outcome")
        sent = st.form_submit_button("Record the report")
    if not sent:
        return
    if on is None or modality is None or outcome is None:
        missing = {"the day of the examination": on, "the modality": modality, "what it shows": outcome}
        st.error(f"Not saved: {_said_missing([name for name, given in missing.items() if given is None])}")
        return
    _saved(lambda: answers.record_outside(key, on, modality, outcome), form)


def _end(key: str) -> None:
    form = f"close {key}"
    with st.form(_fresh(form), border=False):
        reason = _code(st, "Reason", "closure_reason")
        sent = st.form_submit_button("End it for this reason")
    if not sent:
        return
    if reason is None:
        st.error(f"Not saved: {_said_missing(['the reason'])}")
        return
    _saved(lambda: answers.close(key, reason), form)


def _code(place: DeltaGenerator, text: str, field: str) -> str | None:
    """A code of the follow-up table; none is chosen beforehand."""
    codes = labels("followup", field)
    chosen: str | None = place.selectbox(
        text, list(codes), index=None, placeholder="Choose", format_func=codes.__getitem__
    )
    return chosen


def _said_missing(names: list[str]) -> str:
    """Which of the fields are empty, and what to do."""
    if len(names) == 1:
        return f"{names[0]} is missing. Fill it in."
    return f"{', '.join(names[:-1])} and {names[-1]} are missing. Fill them in."


def _fresh(form: str) -> str:
    """Key of a form that is empty once it is saved; after a refusal what was filled in is still there."""
    return f"{form} {st.session_state.get(f'saved {form}', 0)}"


def _saved(save: Callable[[], None], form: str = "") -> None:
    try:
        save()
    except RegistryError as problem:
        st.error(str(problem))
        return
    if form:
        st.session_state[f"saved {form}"] = st.session_state.get(f"saved {form}", 0) + 1
    st.rerun()


def letters(rows: pl.DataFrame) -> None:
    """The file for a letter merge: for whoever may see identifiers, with its purpose."""
    if not (visitor.may(Action.IDENTIFIERS) and rows.height):
        return
    st.header("Letters", anchor=False)
    show(
        element(
            "p",
            "A file with the hospital's own identifiers and dates of birth, for a letter merge. What it is for is written to the trail.",
            class_="beside",
        )
    )
    owed = rows.filter(waits_for_report())["procedure_id"].to_list()
    if owed:
        show(
            element(
                "p",
                f"No letter for {', '.join(owed)}: seen elsewhere, and the report is owed. Ask the other service for it.",
                class_="beside attention",
            )
        )
    purpose = st.text_input("What the file is for", max_chars=200)
    if not purpose or not confirmed("take identifiers away"):
        return
    if st.button("Make the file"):
        try:
            made = answers.recall(purpose)
        except RegistryError as problem:
            st.error(str(problem))
            return
        st.download_button("Download the file", csv_bytes(made), "recall identified.csv", "text/csv")
