"""The codebook of a package: what each column holds, in which unit, with which codes.

Units, ranges, codes and definitions are never typed again: they come from the data
dictionary, the vocabulary and the comments of the schema.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from registry import vocabulary
from registry.codebook import CAUTIONS
from registry.dictionary import tables
from registry.disclosure.profiles import WORDS, Treatment
from registry.package.canonical import kind_of
from registry.package.naming import aliases

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from registry.codebook import Column
    from registry.disclosure.treatment import Decision, Disclosed

#: Longest label that Stata takes.
LABEL_LENGTH = 80
_LOCAL = "(code of this service)"


@dataclass(frozen=True)
class Entry:
    """One exported column. ``codes`` maps a code to its label, in order; ``unit`` is UCUM."""

    name: str
    alias: str
    label: str
    type: str
    unit: str
    codes: Mapping[str, str]
    allowed: str
    definition: str
    missing_means: str
    derivation: str
    source: str
    sensitivity: str
    missing: int
    distinct: int
    least: str
    greatest: str

    @property
    def is_coded(self) -> bool:
        """Whether the cells are codes of a list, kept as text."""
        return bool(self.codes) and self.type == "text"


def entries(
    made: Disclosed, comments: Mapping[str, str], added_codes: Mapping[str, Sequence[str]]
) -> list[Entry]:
    """One entry per exported column, in order.

    Parameters
    ----------
    comments
        Column of procedure_facts -> its comment in the schema.
    added_codes
        ``table.field`` -> codes that the service added to the list.
    """
    short = aliases(made.frame.columns)
    became = {one.became: one for one in made.decisions if one.became}
    return [
        _entry(
            column, made.frame[column.name], became[column.name], short[column.name], comments, added_codes
        )
        for column in made.columns
    ]


def _entry(
    column: Column,
    cells: pl.Series,
    decision: Decision,
    alias: str,
    comments: Mapping[str, str],
    added_codes: Mapping[str, Sequence[str]],
) -> Entry:
    unit, allowed, definition = _described(column, comments)
    if decision.treatment is Treatment.STUDY_KEY and column.source != "export":
        unit, allowed, definition = "", "", f"{_sentence(definition)} In its place a number drawn at random."
    kind = kind_of(cells.dtype)
    is_ordered = kind in ("integer", "decimal", "date") and column.sensitivity not in ("key", "staff")
    codes = (
        _codes(column.coded_as, added_codes.get(column.coded_as, ()))
        if decision.became == column.name
        else {}
    )
    known = cells.drop_nulls()
    if kind == "text" and codes:
        codes |= {one: _LOCAL for one in known.unique().sort().to_list() if one not in codes}
    return Entry(
        column.name,
        alias,
        _label(column.name, definition),
        kind,
        unit,
        codes,
        "" if codes else allowed,
        definition,
        _missing_means(column),
        _derivation(column, decision),
        column.source,
        column.sensitivity,
        cells.null_count(),
        known.n_unique(),
        str(known.min()) if is_ordered and known.len() else "",
        str(known.max()) if is_ordered and known.len() else "",
    )


def frame(book: Sequence[Entry], rows: int) -> pl.DataFrame:
    """The codebook as a table, one row per column; counts are numbers, the rest text."""
    return pl.DataFrame(
        [
            {
                "column": one.name,
                "alias": one.alias,
                "label": one.label,
                "type": one.type,
                "unit": one.unit or None,
                "allowed": listed(one.codes) or one.allowed or None,
                "definition": one.definition,
                "missing_means": one.missing_means,
                "derivation": one.derivation,
                "source": one.source,
                "sensitivity": one.sensitivity,
                "rows": rows,
                "missing": one.missing,
                "distinct": one.distinct,
                "least": one.least or None,
                "greatest": one.greatest or None,
            }
            for one in book
        ],
        infer_schema_length=None,
    )


def listed(codes: Mapping[str, str]) -> str:
    """Codes with their labels on one line."""
    return "; ".join(f"{code} = {label}" for code, label in codes.items())


def _described(column: Column, comments: Mapping[str, str]) -> tuple[str, str, str]:
    """Unit, range and definition of a column, from where it is declared."""
    table, _, name = column.source.partition(".")
    definition = column.definition
    if table in tables() and not definition:
        field = tables()[table][name]
        unit = "" if field.unit == "1" else field.unit
        return unit, field.allowed, field.definition or name.replace("_", " ").capitalize()
    definition = definition or comments.get(name, "")
    if match := re.search(r" ?\[([^\]]+)\]$", definition):
        return match.group(1), "", definition[: match.start()]
    return "", "", definition


def _codes(source: str, added: Sequence[str]) -> dict[str, str]:
    """Codes of a field with their labels; empty where it has no list."""
    table, _, name = source.partition(".")
    if (table, name) not in vocabulary.fields():
        return {}
    return {**vocabulary.labels(table, name), **dict.fromkeys(added, _LOCAL)}


def _label(name: str, definition: str) -> str:
    """The first sentence of the definition, as far as it fits; the name where there is none."""
    first = (
        re.split(r"[.;] ", definition, maxsplit=1)[0].strip().rstrip(".")
        or name.replace("_", " ").capitalize()
    )
    if len(first) <= LABEL_LENGTH:
        return first
    return first[: LABEL_LENGTH - 3].rsplit(" ", 1)[0] + "..."


def _sentence(text: str) -> str:
    return text if not text or text.endswith(".") else f"{text}."


def _missing_means(column: Column) -> str:
    """Why a cell may be empty; never zero, never no."""
    if column.sensitivity in ("date", "horizon", "interval"):
        return "did not happen up to the as-of day, is not yet due, or is not recorded"
    if column.source.startswith("procedure_facts."):
        return "cannot be derived: not yet due, does not apply, or what it rests on is not recorded"
    if column.name in ("repeat_of", "repeat_reason", "supervisor_no", "status_reason"):
        return "does not apply, or is not recorded"
    return "not recorded"


def _derivation(column: Column, decision: Decision) -> str:
    origin = (
        "made for the export"
        if column.source == "export"
        else f"derived from the record in sql/facts ({column.source})"
        if column.source.startswith("procedure_facts.")
        else "as recorded"
    )
    if decision.treatment is Treatment.KEEP:
        return origin
    return f"{origin}; {WORDS[decision.treatment]}"


def page(book: pl.DataFrame, title: str, about: str, cautions: Sequence[str]) -> str:
    """The codebook as a page of text, with the cautions."""
    lines = [f"# Codebook: {title}", "", about, ""]
    lines += [f"- {caution}" for caution in (*CAUTIONS, *cautions)]
    heads = [name for name in book.columns if name != "allowed"]
    lines += ["", f"| {' | '.join([*heads, 'allowed'])} |", f"|{' --- |' * (len(heads) + 1)}"]
    for row in book.iter_rows(named=True):
        lines.append(f"| {' | '.join(_cell(row[name]) for name in [*heads, 'allowed'])} |")
    return "\n".join([*lines, ""])


def _cell(value: object) -> str:
    return "" if value is None else str(value).replace("|", ", ")
