"""Parts of the record page: coded rows as words, and the pathologist's own text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards.components.markup import Markup, element, joined, show
from dashboards.components.record_fields import REPORT, REVIEW, TARGETING
from dashboards.components.tables import capital, table
from registry.dictionary import tables
from registry.numerals import MINUS, NARROW
from registry.vocabulary import fields, label

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

Row = dict[str, Any]

#: Names on screen that differ from the field's own.
_NAMES = {
    "safe_margin_mm": "distance beyond the target",
    "post_mammogram": "post-procedure mammogram",
    "suv_max": "SUV max",
    "er": "ER",
    "pr": "PR",
    "her2": "HER2",
    "b_category": "B category",
    "guidance": "guided by",
    "residual": "target after sampling",
    "other_cancer": "cancer known elsewhere",
}


def shown(table_name: str, field: str, value: object) -> str:
    """One value as words: a code as its label, a number with its unit, nothing where it is empty."""
    if value is None:
        return ""
    if (table_name, field) in fields():
        return label(table_name, field, str(value))
    if (table_name, field) == ("pathology", "other_lesions"):
        return ", ".join(label("pathology", "lesion", code.strip()) for code in str(value).split(";"))
    declared = {one.name: one for one in tables()[table_name].fields}.get(field)
    text = (
        _plain(value)
        if isinstance(value, float)
        else f"{value:%Y-%m-%d %H:%M}"
        if hasattr(value, "hour")
        else str(value)
    )
    unit = declared.unit if declared and declared.unit not in ("", "1") else ""
    return f"{text}{NARROW}{unit}" if unit else text


def _plain(value: float) -> str:
    return f"{value:g}".replace("-", MINUS)


def field_name(field: str) -> str:
    """What a field is called on screen: its name without the unit."""
    for ending in ("_mm", "_mbq", "_kg", "_mmol_l", "_n", "_g", "_years"):
        if field.endswith(ending):
            return _NAMES.get(field, field.removesuffix(ending).replace("_", " "))
    return _NAMES.get(field, field.replace("_", " "))


def facts(table_name: str, row: Row, names: Iterable[str]) -> None:
    """Fields of one row as a list of terms; empty ones are left to the sentence on missing fields."""
    terms = [
        _fact(field_name(name), shown(table_name, name, row[name])) for name in names if row[name] is not None
    ]
    show(element("dl", joined(terms), class_="facts"))


def _fact(name: str, text: str) -> Markup:
    return element("div", element("dt", capital(name)), element("dd", text))


def rows_table(table_name: str, caption: str, rows: Sequence[Row], names: Sequence[str]) -> None:
    """Several rows of one table; columns in which nothing stands are left out."""
    if not rows:
        _nothing(caption)
        return
    kept = [name for name in names if any(row[name] is not None for row in rows)]
    kinds = {one.name: one.type for one in tables()[table_name].fields}
    numeric = frozenset(i for i, name in enumerate(kept) if kinds.get(name) in ("decimal", "integer"))
    cells = [[shown(table_name, name, row[name]) for name in kept] for row in rows]
    table(caption, [capital(field_name(name)) for name in kept], cells, numeric, caption_seen=True)


def placements(rows: Sequence[Row]) -> None:
    """Needle placements side by side, one column each: they have many fields and are seldom more than two."""
    caption = "Needle placements"
    if not rows:
        _nothing(caption)
        return
    lines = []
    for name in TARGETING:
        point = name.removesuffix("_x_mm")
        if point != name:
            lines.append((point, [_position(row, point) for row in rows]))
        elif not name.endswith(("_y_mm", "_z_mm")):
            lines.append((field_name(name), [shown("targeting", name, row[name]) for row in rows]))
    table(
        caption,
        ["Attempt", *(str(row["attempt"]) for row in rows)],
        [[capital(name), *texts] for name, texts in lines if any(texts)],
        caption_seen=True,
    )


def _position(row: Row, point: str) -> str:
    """A point with the axes that are recorded, in millimetres of its frame."""
    found = [(axis, row[f"{point}_{axis}_mm"]) for axis in "xyz"]
    known = ", ".join(f"{axis}{NARROW}{_plain(value)}" for axis, value in found if value is not None)
    return f"{known}{NARROW}mm" if known else ""


def _nothing(caption: str) -> None:
    show(element("p", f"{caption}: nothing recorded.", class_="beside"))


def reports(rows: Sequence[Row], *, own_words: bool = True) -> None:
    """The versions that count, then the earlier and retracted ones folded away.

    Without ``own_words`` the codes alone are shown: free text may name a person.
    """
    if not rows:
        show(element("p", "No report is recorded.", class_="beside"))
    for row in rows:
        if row["is_current"]:
            _report(row, own_words)
    old = [row for row in rows if not row["is_current"]]
    if old:
        with st.expander(f"Versions that do not count ({len(old)})"):
            for row in old:
                _report(row, own_words)


def _report(row: Row, own_words: bool) -> None:
    """One version: the pathologist's own words, and the codes beside them."""
    status = shown("pathology", "status", row["status"]).lower()
    container = f", specimen {row['specimen_id']}" if row["specimen_id"] else ""
    head = f"Report {row['report_id']}{container}, version {row['version']}, {status}, {row['reported_on']}"
    said = row["conclusion"] if own_words else None
    words = said or (
        "No text was sent with this version."
        if own_words
        else "The pathologist's words are left out of this view."
    )
    quote = element(
        "blockquote",
        *(element("p", part) for part in words.splitlines() if part.strip()),
        class_=None if said else "empty",
    )
    terms = joined(
        _fact(field_name(name), shown("pathology", name, row[name]))
        for name in REPORT
        if row[name] is not None
    )
    body = element("div", quote, element("dl", terms, class_="facts"), class_="beside-each-other")
    show(element("section", element("p", head, class_="report-head"), body, class_="report", aria_label=head))


def reviews(rows: Sequence[Row], *, own_words: bool = True) -> None:
    """Each review under its determination, with the note of the discussion as it was written.

    Without ``own_words`` the note is left out: free text may name a person.
    """
    if not rows:
        show(element("p", "No review is recorded.", class_="beside"))
    for row in rows:
        stage = shown("reviews", "stage", row["stage"])
        head = f"{row['reviewed_on']}: {shown('reviews', 'determination', row['determination']).lower()}. {stage}"
        show(element("section", element("p", head, class_="report-head"), class_="report", aria_label=head))
        facts("reviews", row, REVIEW)
        if own_words and row["note"]:
            show(element("p", element("strong", "Note: "), row["note"], class_="beside"))
