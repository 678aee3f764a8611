"""The yearly table: counts of twelve months, and the list behind each cell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session, visitor
from dashboards.answers import quality
from dashboards.components import words
from dashboards.components.markup import element, show
from dashboards.components.procedure_list import record_link
from dashboards.components.tables import SHOWN_ROWS, cell, download, table, two_lines
from registry.people import Action
from registry.vocabulary import label

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from registry.quality import Table, Yearly

_SPLITS = {"device": "Kind of device", "guidance": "Guidance", "site": "Site"}


def yearly_table() -> None:
    """Choose the last day and the split; draw the three parts, what was checked, and one list."""
    left, right = st.columns(2)
    as_of = session.filters().as_of
    until = left.date_input("Twelve months up to", as_of, max_value=as_of, format="YYYY-MM-DD", key="until")
    by = right.selectbox("Split by", list(_SPLITS), format_func=_SPLITS.__getitem__, key="yearly by")
    found = quality.yearly(until, by)
    show(
        element(
            "p", f"Procedures from {found.start} to {found.until}, as of {found.as_of}.", class_="provenance"
        )
    )
    if not found.procedures.count("all"):
        show(element("p", "No procedures.", class_="result"))
        return
    for one in found.tables:
        for caption, places in one.parts():
            _part(one, places, caption)
    show(element("p", waiting(found), class_="beside"))
    _checked(found)
    show(element("p", found.note, class_="beside"))
    download("Download the table as CSV", flat(found), f"yearly until {until}.csv", key="csv yearly")
    show(element("p", f"As of {found.as_of}; {found.registry}.", class_="provenance"))
    if visitor.may(Action.PROCEDURES):
        st.header("The list behind a cell", anchor=False)
        _list(found, until, by)


def _part(one: Table, places: Sequence[int], caption: str) -> None:
    table(
        caption,
        [_HEADS[one.name], *one.heads(places)],
        [
            [_unbroken(text), *(words.count(counts[place]) for place in places)]
            for (_, text), counts in zip(one.rows, one.counts, strict=True)
        ],
        frozenset(range(1, len(places) + 1)),
        caption_seen=True,
    )


_HEADS = {"procedures": "Procedures", "repeats": "Reason", "complications": "Kind"}


def _unbroken(text: str) -> str:
    """A short label on one line; the dash of a long one stays with its word."""
    return text.replace(" ", "\u00a0") if len(text) < 30 else text.replace("– ", "–\u00a0")


def waiting(found: Yearly) -> str:
    """For how many it is too early to say."""
    return (
        f"Still open: {words.plural(found.waiting_report, 'report')} of procedures of the last 30 days; complications of "
        f"{words.plural(found.waiting_complication, 'procedure')} of the last 30 days; a repeat or an excision may still follow "
        f"{words.plural(found.waiting_repeat, 'procedure')} of the last 365 days."
    )


def _checked(found: Yearly) -> None:
    held = [text for text, holds in found.identities if holds]
    broken = [text for text, holds in found.identities if not holds]
    show(element("p", f"Checked: {'; '.join(held)}.", class_="beside"))
    if broken:
        show(element("p", f"Does not hold: {'; '.join(broken)}.", class_="change"))


def flat(found: Yearly) -> pl.DataFrame:
    """The table as rows: part, row, column, procedures."""
    return pl.DataFrame(
        [
            {"part": one.title, "row": row.removeprefix("– "), "column": column, "procedures": number}
            for one in found.tables
            for (_, row), counts in zip(one.rows, one.counts, strict=True)
            for (_, column), number in zip(one.columns, counts, strict=True)
        ]
    )


def _list(found: Yearly, until: date, by: str) -> None:
    part, row, column = st.columns(3)
    titles = {one.name: one.title for one in found.tables}
    name = part.selectbox("Part", list(titles), format_func=titles.__getitem__, key="yearly part")
    chosen = next(one for one in found.tables if one.name == name)
    rows, columns = dict(chosen.rows), dict(chosen.columns)
    of_row = row.selectbox(
        "Row", list(rows), format_func=lambda one: rows[one].removeprefix("– "), key=f"yearly row {name}"
    )
    of_column = column.selectbox(
        "Column", list(columns), format_func=columns.__getitem__, key=f"yearly column {name}"
    )
    behind = quality.behind(until, name, of_row, of_column, by)
    if not behind.height:
        show(element("p", "No procedures.", class_="beside"))
        return
    more = f"; the first {SHOWN_ROWS}" if behind.height > SHOWN_ROWS else ""
    table(
        f"{words.plural(behind.height, 'procedure')}{more}",
        [
            "Procedure",
            "Day",
            "Device",
            "Result",
            "Repeat",
            "Found then",
            "Treated for",
        ],
        [_listed(one) for one in behind.head(SHOWN_ROWS).to_dicts()],
        caption_seen=True,
    )
    kinds = pl.col("treated_complications").list.join("; ")
    file = f"yearly {name} {of_row} {of_column}.csv"
    download("Download this list as CSV", behind.with_columns(kinds), file, key="csv yearly list")


def _listed(row: dict[str, object]) -> list[object]:
    kinds = row["treated_complications"] or []
    assert isinstance(kinds, list)
    return [
        two_lines(record_link(str(row["procedure_id"])), str(row["site"])),
        row["started_on"],
        _label("procedures", "device", row["device"]),
        cell("diagnosis", row["diagnosis"]),
        two_lines(_label("procedures", "repeat_reason", row["repeat_reason"]), _repeated(row["repeated_by"])),
        cell("diagnosis", row["later_diagnosis"]),
        "; ".join(label("complications", "kind", str(one)) for one in kinds),
    ]


def _repeated(by: object) -> str:
    return _REPEATED.get(str(by), _label("procedures", "device", by))


_REPEATED = {"excision": "Excision", "not done": "Advised, not done", "needle not recorded": "Not recorded"}


def _label(of: str, field: str, code: object) -> str:
    return label(of, field, str(code)) if code else ""
