"""The data dictionary: every table, field, type, unit, range and code list.

``sql/dictionary.csv`` is the only place where a field is declared. Its ``allowed``
column is prose that a clinician can read; the part of it that a program can check
(ranges, code lists, references, lengths) is read here. What it says in words only
(dates in order, conditional fields) is one file each under ``sql/checks``.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field
from functools import cache

from registry.sqlfiles import read_text

#: Key columns of each table; together they name one row.
KEYS: dict[str, tuple[str, ...]] = {
    "patients": ("patient_id",),
    "findings": ("finding_id",),
    "procedures": ("procedure_id",),
    "targeting": ("procedure_id", "attempt"),
    "specimens": ("specimen_id",),
    "pathology": ("report_id", "procedure_id", "specimen_id", "version"),
    "reviews": ("review_id",),
    "followup": ("event_id",),
    "complications": ("complication_id",),
    "meetings": ("meeting_id",),
    "sources": ("source_id",),
    "constancy": ("check_id",),
    "operators": ("operator",),
}

#: Parents before children: the order in which a batch is checked and written.
TABLE_ORDER: tuple[str, ...] = (
    "operators",
    "sources",
    "meetings",
    "patients",
    "findings",
    "procedures",
    "targeting",
    "specimens",
    "pathology",
    "reviews",
    "followup",
    "complications",
    "constancy",
)

#: Kept in identity.duckdb, apart from the clinical facts.
IDENTIFYING: frozenset[tuple[str, str]] = frozenset(
    {
        ("patients", "patient_id"),
        ("findings", "patient_id"),
        ("patients", "birth_date"),
        ("procedures", "accession"),
    }
)

#: Free text: never exported, never echoed in a message.
FREE_TEXT: frozenset[tuple[str, str]] = frozenset({("pathology", "conclusion"), ("reviews", "note")})

_NUMBER = r"-?[\d,]+(?:\.\d+)?"
_RANGE = re.compile(rf"^({_NUMBER}) to ({_NUMBER})\b")
_AT_MOST = re.compile(r"^at most ([\d,]+) characters")
_REFERENCE = re.compile(r"^references (\w+)")
#: A longer text field is a mistake in the file (a shifted or merged cell).
DEFAULT_TEXT_LENGTH = 64


@dataclass(frozen=True)
class Field:
    """One field of one table.

    ``minimum`` and ``maximum`` are inclusive unless ``above`` is set (minimum
    exclusive). ``codes`` is empty where no code list applies. ``references`` names
    the table whose key the field must hold.
    """

    table: str
    name: str
    type: str
    unit: str
    required: str
    allowed: str
    definition: str
    minimum: float | None = None
    maximum: float | None = None
    above: bool = False
    codes: tuple[str, ...] = ()
    max_length: int = DEFAULT_TEXT_LENGTH
    references: str | None = None

    @property
    def always_required(self) -> bool:
        """Whether every row must carry the field."""
        return self.required == "yes"

    @property
    def sensitive(self) -> bool:
        """Whether a message must not repeat the value."""
        place = (self.table, self.name)
        return place in IDENTIFYING or place in FREE_TEXT


@dataclass(frozen=True)
class Table:
    """One table: its fields in dictionary order and its key."""

    name: str
    fields: tuple[Field, ...]
    key: tuple[str, ...] = field(default=())

    def __getitem__(self, name: str) -> Field:
        """Field by name; KeyError where there is none."""
        for one in self.fields:
            if one.name == name:
                return one
        raise KeyError(name)

    @property
    def names(self) -> tuple[str, ...]:
        """Field names in dictionary order."""
        return tuple(one.name for one in self.fields)


def _number(text: str) -> float:
    return float(text.replace(",", ""))


def _constraints(row: dict[str, str]) -> dict[str, object]:
    """Machine-checkable part of the ``allowed`` column."""
    allowed, kind = row["allowed"], row["type"]
    found: dict[str, object] = {}
    if match := _RANGE.match(allowed):
        found["minimum"], found["maximum"] = _number(match.group(1)), _number(match.group(2))
    elif allowed.startswith("above 0"):
        found["minimum"], found["above"] = 0.0, True
    elif allowed.startswith("0 or more"):
        found["minimum"] = 0.0
    elif allowed.startswith("1 or more"):
        found["minimum"] = 1.0
    if kind == "code" or (kind == "integer" and "|" in allowed):
        found["codes"] = tuple(allowed.split("|"))
    if match := _AT_MOST.match(allowed):
        found["max_length"] = int(match.group(1).replace(",", ""))
    if match := _REFERENCE.match(allowed):
        found["references"] = match.group(1)
    return found


@cache
def tables() -> dict[str, Table]:
    """All tables of the dictionary by name."""
    grouped: dict[str, list[Field]] = {}
    for row in csv.DictReader(io.StringIO(read_text("dictionary.csv"))):
        one = Field(
            table=row["table"],
            name=row["field"],
            type=row["type"],
            unit=row["unit"],
            required=row["required"],
            allowed=row["allowed"],
            definition=row["definition"],
            **_constraints(row),  # type: ignore[arg-type]
        )
        grouped.setdefault(one.table, []).append(one)
    return {name: Table(name, tuple(fields), KEYS[name]) for name, fields in grouped.items()}


def stored_columns(table: Table) -> list[str]:
    """Columns of a clinical table that a row states, in dictionary order, offsets included."""
    columns = []
    for one in table.fields:
        if one.name == "patient_id":
            columns.append("patient")
        elif (table.name, one.name) not in IDENTIFYING:
            columns.append(one.name)
            if one.type == "timestamp":
                columns.append(f"{one.name}_offset_min")
    return columns
