"""Parts of the record page: coded rows as words, and the pathologist's own text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dashboards.components.markup import Markup, element, joined, show
from dashboards.components.tables import table
from registry.dictionary import tables
from registry.vocabulary import fields, label

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

Row = dict[str, Any]

#: Names on screen that differ from the field's own.
_NAMES = {"safe_margin_mm": "distance beyond the target"}


def shown(table_name: str, field: str, value: object) -> str:
    """One value as words: a code as its label, a number with its unit, nothing where it is empty."""
    if value is None:
        return ""
    if (table_name, field) in fields():
        return label(table_name, field, str(value))
    declared = {one.name: one for one in tables()[table_name].fields}.get(field)
    text = (
        f"{value:g}"
        if isinstance(value, float)
        else f"{value:%Y-%m-%d %H:%M}"
        if hasattr(value, "hour")
        else str(value)
    )
    unit = declared.unit if declared and declared.unit not in ("", "1") else ""
    return f"{text}\u202f{unit}" if unit else text


def field_name(field: str) -> str:
    """What a field is called on screen: its name without the unit."""
    for ending in ("_mm", "_mbq", "_kg", "_mmol_l", "_n", "_g", "_years"):
        if field.endswith(ending):
            return _NAMES.get(field, field.removesuffix(ending).replace("_", " "))
    return _NAMES.get(field, field.replace("_", " "))


def facts(table_name: str, row: Row, names: Iterable[str]) -> None:
    """Fields of one row as a list of terms; an empty one reads "not recorded"."""
    terms = [_fact(field_name(name), shown(table_name, name, row[name])) for name in names]
    show(element("dl", joined(terms), class_="facts"))


def _fact(name: str, text: str) -> Markup:
    empty = None if text else "empty"
    return element(
        "div", element("dt", name.capitalize()), element("dd", text or "not recorded", class_=empty)
    )


def rows_table(table_name: str, caption: str, rows: Sequence[Row], names: Sequence[str]) -> None:
    """Several rows of one table; columns in which nothing stands are left out."""
    if not rows:
        show(element("p", f"{caption}: nothing recorded.", class_="beside"))
        return
    kept = [name for name in names if any(row[name] is not None for row in rows)]
    kinds = {one.name: one.type for one in tables()[table_name].fields}
    numeric = frozenset(i for i, name in enumerate(kept) if kinds.get(name) in ("decimal", "integer"))
    cells = [[shown(table_name, name, row[name]) for name in kept] for row in rows]
    table(caption, [field_name(name).capitalize() for name in kept], cells, numeric)


def report(row: Row) -> None:
    """One version of a report: the pathologist's own words, and the codes beside them."""
    status = shown("pathology", "status", row["status"])
    counts = "counts" if row["is_current"] else "does not count"
    container = f", specimen {row['specimen_id']}" if row["specimen_id"] else ""
    head = f"Report {row['report_id']}{container}, version {row['version']} ({status.lower()}, {counts}), {row['reported_on']}"
    own_words = row["conclusion"] or "No text was sent with this version."
    names = (
        "diagnosis",
        "b_category",
        "lesion",
        "other_lesions",
        "explains_finding",
        "atypia",
        "grade",
        "er",
        "pr",
        "her2",
        "calcifications",
        "further_work",
        "morphology",
    )
    terms = [
        _fact(field_name(name), shown("pathology", name, row[name]))
        for name in names
        if row[name] is not None
    ]
    quote = element(
        "blockquote",
        *(element("p", part) for part in own_words.splitlines() if part.strip()),
        class_=None if row["conclusion"] else "empty",
    )
    kind = "report" if row["is_current"] else "report old"
    show(
        element(
            "section",
            element("p", head, class_="report-head"),
            element("div", quote, element("dl", joined(terms), class_="facts"), class_="beside-each-other"),
            class_=kind,
        )
    )
