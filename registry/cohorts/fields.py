"""What a filter may ask about: the columns that an export may hold, less keys and staff.

Types and codes are never typed again. A column of the data dictionary has its type there, a
derived one in the schema, and a code list comes from the vocabulary and from ``site.toml``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from registry.codebook import load_cohort
from registry.dictionary import FREE_TEXT, IDENTIFYING, tables
from registry.sqlfiles import folder

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from registry.codebook import Column

#: A filter may not name these: a key names a record, and a number of an operator is drawn anew each time.
CLOSED = ("key", "staff")
CODE, TEXT, NUMBER, DATE, FLAG = "code", "text", "number", "date", "flag"
EQUAL, LISTED, ORDERED, KNOWN = (
    ("eq", "ne"),
    ("in", "not_in"),
    ("lt", "le", "gt", "ge", "between"),
    (
        "is_missing",
        "is_present",
    ),
)
#: Kind of a field -> operators that it takes.
OPERATORS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        CODE: (*EQUAL, *LISTED, *KNOWN),
        TEXT: (*EQUAL, *LISTED, *KNOWN),
        NUMBER: (*EQUAL, *LISTED, *ORDERED, *KNOWN),
        DATE: (*EQUAL, *LISTED, *ORDERED, *KNOWN),
        FLAG: (*EQUAL, *KNOWN),
    }
)
_OF_DICTIONARY = {"code": CODE, "text": TEXT, "integer": NUMBER, "decimal": NUMBER, "date": DATE}
_OF_SCHEMA = {"VARCHAR": TEXT, "BOOLEAN": FLAG, "DATE": DATE}
_COLUMN = re.compile(r"^\s+(\w+) ([A-Z]+)")
_TABLE = re.compile(r"CREATE TABLE procedure_facts \((.*?)\n\);", re.DOTALL)
_ADDED = re.compile(r"ALTER TABLE procedure_facts ADD COLUMN (\w+) ([A-Z]+)")


@dataclass(frozen=True)
class FilterField:
    """A column that a filter may name.

    ``kind`` is code, text, number, date or flag; ``codes`` are those of the program,
    ``coded_as`` is the ``table.field`` to which a service may have added its own.
    """

    name: str
    kind: str
    codes: tuple[str, ...]
    coded_as: str

    def allowed(self, added: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
        """Codes of the program and of the service; empty where there is no list."""
        return (*self.codes, *added.get(self.coded_as, ())) if self.codes else ()

    @property
    def operators(self) -> tuple[str, ...]:
        """Operators that the field takes."""
        return OPERATORS[self.kind]


@cache
def filter_fields() -> Mapping[str, FilterField]:
    """Name -> field, in the order of the export; never a key, staff, an identifier or free text."""
    found = {}
    for column in load_cohort().columns:
        place = tuple(column.source.split("."))
        if column.sensitivity in CLOSED or place in IDENTIFYING | FREE_TEXT:
            continue
        kind, codes = _kind(column)
        found[column.name] = FilterField(column.name, kind, codes, column.coded_as)
    return MappingProxyType(found)


def _kind(column: Column) -> tuple[str, tuple[str, ...]]:
    table, _, name = column.coded_as.partition(".")
    if table in tables():
        field = tables()[table][name]
        return _OF_DICTIONARY[field.type], field.codes
    if column.source == "export":
        return NUMBER, ()  # What is made for the export alone is a count or a length of time.
    return _OF_SCHEMA.get(_schema()[name], NUMBER), ()


@cache
def _schema() -> Mapping[str, str]:
    """Column of procedure_facts -> type, from the migrations that made it."""
    found: dict[str, str] = {}
    for entry in sorted(folder("migrations").iterdir(), key=lambda place: place.name):
        text = entry.read_text(encoding="utf-8") if entry.name.endswith(".sql") else ""
        for body in _TABLE.findall(text):
            found.update(match.groups() for line in body.splitlines() if (match := _COLUMN.match(line)))  # type: ignore[misc]
        found.update(_ADDED.findall(text))
    return MappingProxyType(found)
