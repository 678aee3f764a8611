"""Rows that are held: why, and the file in which they can be corrected."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboards import session, visitor
from dashboards.answers import records
from dashboards.components.intake_door import correctable_files, dismiss
from dashboards.components.markup import element, show
from dashboards.components.tables import SHOWN_ROWS, table
from dashboards.components.words import plural
from registry.errors import RegistryError
from registry.intake import quarantine
from registry.people import Action

if TYPE_CHECKING:
    from pathlib import Path


def held_rows() -> None:
    """List the held rows, offer their files, and let one be dismissed with a reason."""
    found = records.held_rows()
    keys = found.get_column("quarantine_id").unique(maintain_order=True).to_list()
    if not keys:
        show(element("p", "No row is held.", class_="beside"))
        return
    rows = [
        (
            row["quarantine_id"],
            row["file"],
            row["line"],
            row["column_name"],
            f"{row['message']} {row['hint'] or ''}".strip(),
        )
        for row in found.head(SHOWN_ROWS).to_dicts()
    ]
    more = f"; the first {SHOWN_ROWS} of {found.height} problems" if found.height > SHOWN_ROWS else ""
    table(
        f"{plural(len(keys), 'held row')}{more}",
        ["Row", "File", "Line", "Column", "What is wrong and what to do"],
        rows,
        frozenset({2}),
    )
    if visitor.may(Action.IDENTIFIERS):
        for path in correctable_files():
            _file(path)
    else:
        text = "The files in which they can be corrected hold identifiers, which your roles do not open."
        show(element("p", text, class_="beside"))
    show(
        element(
            "p",
            "Correct the rows in these files and upload them above: the same door, and the held rows close when they are answered.",
            class_="beside",
        )
    )
    if visitor.may(Action.WITHDRAW):
        with st.expander("Dismiss a held row"):
            _dismiss(keys)


def _file(path: Path) -> None:
    st.download_button(
        f"Download {path.parent.name}, {path.name}",
        quarantine.held_file(session.registry(), path),
        path.name,
        "text/csv",
        key=f"held {path.parent.name} {path.name}",
        type="tertiary",
        icon=":material/download:",
        help="Holds the rows as they were received, identifiers included: keep it where such files may be kept.",
    )


def _dismiss(keys: list[str]) -> None:
    with st.form("dismiss", border=False):
        chosen = st.selectbox("Held row", keys)
        reason = st.text_input("Why it will never be corrected")
        if st.form_submit_button("Dismiss this row"):
            try:
                dismiss(chosen, reason)
            except RegistryError as problem:
                st.error(str(problem))
            else:
                st.rerun()
