"""One filter of a cohort as rows to fill in: field, operator, value, joined by all or any."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards.answers import cohorts as answers
from dashboards.components.markup import element, show
from dashboards.components.record_parts import field_name
from dashboards.components.tables import capital
from registry.cohorts import filter_fields, filter_words, operator_words
from registry.cohorts.filters import parse
from registry.errors import RegistryError
from registry.vocabulary import labels

if TYPE_CHECKING:
    from registry.cohorts import FilterField

Json = dict[str, Any]
_JOINS = {"and": "all of these hold", "or": "one of these holds"}
_FIRST = {"field": "is_sampled", "operator": "eq", "value": True}


def filter_rows(tree: Json | None, key: str, *, optional: bool = False) -> Json | None:
    """Draw a filter and return what it says now.

    Parameters
    ----------
    tree
        As a cohort file holds it; None for none.
    key
        Beginning of the names of its inputs.
    optional
        Whether it may have no row at all.

    Returns
    -------
    dict
        A filter, whole or with a value still missing; None where it has no row.
    """
    flat = _flat(tree)
    if flat is None:
        return _nested(tree, key)
    join, rows = flat
    left, right = st.columns([1, 3], vertical_alignment="bottom")
    least = 0 if optional else 1
    count = left.number_input(
        "Conditions",
        least,
        12,
        max(len(rows), least),
        key=f"{key} count",
        help="How many rows the filter has.",
    )
    if count > 1:
        join = right.selectbox(
            "joined so that",
            list(_JOINS),
            list(_JOINS).index(join),
            format_func=_JOINS.__getitem__,
            key=f"{key} join",
        )
    made = [_row(rows[place] if place < len(rows) else _FIRST, f"{key} {place}") for place in range(count)]
    if not made:
        return None
    return made[0] if len(made) == 1 else {join: made}


def _flat(tree: Json | None) -> tuple[str, list[Json]] | None:
    """Join and comparisons; None where the filter is nested deeper."""
    if tree is None:
        return "and", []
    for join in _JOINS:
        if join in tree:
            parts = tree[join]
            return (join, parts) if all("field" in one for one in parts) else None
    return ("and", [tree]) if "field" in tree else None


def _nested(tree: Json | None, key: str) -> Json | None:
    """A filter too deep for rows is shown in words, and kept as it stands."""
    try:
        said = filter_words(parse(tree, "The filter", answers.added_codes()))
    except RegistryError as problem:
        said = str(problem)
    show(element("p", said, class_="result"))
    show(element("p", "Nested: change it in the file, and load the file again.", class_="beside"))
    if st.checkbox("Write it anew in rows", key=f"{key} anew"):
        return filter_rows(None, f"{key} anew rows")
    return tree


def _row(given: Json, key: str) -> Json:
    fields = filter_fields()
    names = list(fields)
    name_box, operator_box, value_box = st.columns([3, 2, 4], vertical_alignment="bottom")
    name = name_box.selectbox(
        "Field",
        names,
        names.index(given["field"]) if given["field"] in fields else 0,
        format_func=lambda one: capital(field_name(one)),
        key=f"{key} field",
    )
    field = fields[name]
    same = given["field"] == name
    operators = list(field.operators)
    operator = operator_box.selectbox(
        "Operator",
        operators,
        operators.index(given["operator"]) if same and given["operator"] in operators else 0,
        format_func=operator_words,
        key=f"{key} {name} operator",
    )
    made: Json = {"field": name, "operator": operator}
    if operator in ("is_missing", "is_present"):
        return made
    before = given.get("value") if same and given.get("operator") == operator else None
    with value_box:
        value = _value(field, operator, before, f"{key} {name} {operator}")
    return made if value is None else {**made, "value": value}


def _value(field: FilterField, operator: str, before: Any, key: str) -> Any:
    """The value of a row; None while it is not given."""
    if operator == "between":
        boxes = st.columns(2)
        given = before if isinstance(before, list) and len(before) == 2 else [None, None]
        ends = []
        for place, label in enumerate(("From", "to")):
            with boxes[place]:
                ends.append(_one(field, label, given[place], f"{key} {place}"))
        return None if None in ends else ends
    if operator in ("in", "not_in"):
        given = before if isinstance(before, list) else []
        if field.kind == "code":
            codes = list(field.allowed(answers.added_codes()))
            chosen = st.multiselect(
                "Values", codes, [one for one in given if one in codes], format_func=_labelled(field), key=key
            )
            return chosen or None
        text = st.text_input("Values, parted by commas", ", ".join(map(str, given)), key=key)
        return [_typed(field, one.strip()) for one in text.split(",") if one.strip()] or None
    return _one(field, "Value", before, key)


def _one(field: FilterField, label: str, before: Any, key: str) -> Any:
    if field.kind == "flag":
        return st.selectbox(
            label,
            [True, False],
            1 if before is False else 0,
            format_func=lambda one: "yes" if one else "no",
            key=key,
        )
    if field.kind == "code":
        codes = list(field.allowed(answers.added_codes()))
        place = codes.index(before) if before in codes else 0
        return st.selectbox(label, codes, place, format_func=_labelled(field), key=key)
    if field.kind == "number":
        known = float(before) if isinstance(before, int | float) else None
        return st.number_input(label, value=known, step=1.0, format="%g", key=key)
    if field.kind == "date":
        day = st.date_input(
            label, date.fromisoformat(before) if before else None, format="YYYY-MM-DD", key=key
        )
        return day.isoformat() if isinstance(day, date) else None
    return st.text_input(label, before or "", max_chars=64, key=key) or None


def _typed(field: FilterField, text: str) -> str | float:
    """A number where the field is one; what cannot be read is left for the file's own reading to name."""
    if field.kind == "number":
        try:
            return float(text)
        except ValueError:
            return text
    return text


def _labelled(field: FilterField) -> Any:
    table, _, name = field.coded_as.partition(".")
    known = labels(table, name)
    return lambda code: known.get(code, code)
