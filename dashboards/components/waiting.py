"""What is waiting for somebody, in words, each with the way to its place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from dashboards.answers import records
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.procedure_list import choose_procedure
from dashboards.components.tables import SHOWN_ROWS, cell, download, heading, table
from registry.people import Action
from registry.worklists import load_worklists

if TYPE_CHECKING:
    import polars as pl

INTAKE_PAGE = "app_pages/intake.py"


def waiting() -> None:
    """One line per worklist, opened into its rows, and one for the rows that are held."""
    known = load_worklists()
    for name in (*_SENTENCES, *(name for name in known if name not in _SENTENCES)):
        one = known[name]
        rows = records.worklist(name)
        if not rows.height:
            st.markdown(_sentence(name, 0))
            continue
        fold = st.expander(_sentence(name, rows.height), key=f"waiting {name}", on_change="rerun")
        if fold.open:
            with fold:
                show(element("p", f"{one.question} {one.note}", class_="beside"))
                _rows(name, one.title, rows)
    held = records.held_rows().get_column("quarantine_id").n_unique()
    left, right = st.columns([3, 2], vertical_alignment="center")
    left.markdown(
        f"{words.plural(held, 'received row')} held until corrected" if held else "No received row is held"
    )
    if held and visitor.may(Action.ENTER):
        right.page_link(INTAKE_PAGE, label="Open intake", icon=":material/arrow_forward:")


def _sentence(name: str, number: int) -> str:
    numbers = session.registry().site.numbers
    after, instead = _SENTENCES.get(name, (load_worklists()[name].title.lower(), "Nothing waits here"))
    if not number:
        return instead
    counted = "finding" if name in _OF_FINDINGS else "procedure"
    return f"{words.plural(number, counted)} {after.format(**{key: f'{value:g}' for key, value in numbers.items()})}"


#: Worklist -> what follows the number, and what is said where nothing waits; in this order.
_SENTENCES = {
    "pathology_pending": (
        "without a report for more than {report_due_days} days",
        "No procedure waits for its report",
    ),
    "concordance_review": ("without a joint review that decides", "No procedure waits for a joint review"),
    "actions_open": ("with a recommended step not booked or not done", "No recommended step is open"),
    "follow_up_due": ("with a benign result due for follow-up", "No follow-up is due"),
    "cancelled_unresolved": (
        "not sampled, and not resolved",
        "No target that was not sampled is left unresolved",
    ),
    "discordant_unbooked": (
        "with a discordant decision and nothing booked",
        "No discordant decision is without a booking",
    ),
    "informed_pending": (
        "whose patient is not recorded as told",
        "No patient waits to be told, as far as is recorded",
    ),
    "report_amended": (
        "with a report amended after the decision",
        "No report was amended after a decision",
    ),
    "not_biopsied": (
        "of category 4 or 5 without a biopsy procedure",
        "No finding of category 4 or 5 waits for a biopsy",
    ),
}
#: Worklists whose rows are findings: there is no procedure yet that a record could be opened for.
_OF_FINDINGS = frozenset({"not_biopsied"})


def _rows(name: str, title: str, rows: pl.DataFrame) -> None:
    key = "finding_id" if name in _OF_FINDINGS else "procedure_id"
    if key == "procedure_id":
        choose_procedure(rows.get_column(key).to_list(), key=name)
    # The key names the row; the place is the order in which the rows stand anyway.
    names = [key, *(one for one in rows.columns if one not in (key, "place"))]
    heads = [heading(name) for name in names]
    cells = [[cell(name, row[name]) for name in names] for row in rows.head(SHOWN_ROWS).to_dicts()]
    more = f"; the first {SHOWN_ROWS} of {rows.height}" if rows.height > SHOWN_ROWS else ""
    table(f"{title}{more}", heads, cells)
    download("Download the list as CSV", rows, f"{name}.csv", key=f"csv {name}")
