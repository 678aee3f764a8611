"""What an export may hold: its columns as the cohort's SQL declares them.

The header of ``sql/cohorts/procedures.sql`` names each column with its source and how
sensitive it is, and each field that is kept back with the reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry import sqlfiles
from registry.dictionary import FREE_TEXT, IDENTIFYING

if TYPE_CHECKING:
    from collections.abc import Mapping

COHORT = "procedures"
#: key: names a record, not a person; person, age, body, date, horizon (a day up to which
#: something is known, the same for many), interval (days between two dates), place, staff:
#: together they can point to somebody; position: where, in mm; label: short words of the
#: service; clinical: what was found and done.
SENSITIVITIES = (
    "key",
    "person",
    "age",
    "body",
    "date",
    "horizon",
    "interval",
    "place",
    "staff",
    "position",
    "label",
    "clinical",
)
_REQUIRED = frozenset({"cohort", "title", "grain", "population", "columns", "withheld"})
_OPTIONAL = frozenset({"note"})
CAUTIONS = (
    "An audit of the record, for research. It is no diagnostic device and decides nothing about concordance, biopsy or treatment.",
    "An empty cell means not recorded. It is never zero and never no.",
    "A benign result is not proven benign before its follow-up is complete; what is not resolved must be stated with every rate.",
    "Tracer uptake is not cancer, and absence of uptake is not absence of cancer.",
    "Procedures of one patient are not independent: cluster on patient_no.",
    "Decisions to repeat or to excise change who is in a denominator: read every rate with its flow.",
)


@dataclass(frozen=True)
class Column:
    """One exported column as the header declares it.

    ``source`` is ``table.field`` of the data dictionary, ``procedure_facts.column``, or
    ``export`` for what is made here; ``definition`` is given for the last only.
    ``coded_as`` names the field of the dictionary whose codes a derived column holds.
    """

    name: str
    source: str
    sensitivity: str
    coded_as: str = ""
    definition: str = ""


@dataclass(frozen=True)
class Cohort:
    """The export table: its SQL, its columns, and the fields kept back with the reason."""

    title: str
    grain: str
    population: str
    columns: tuple[Column, ...]
    withheld: Mapping[str, str]
    sql: str


def load_cohort() -> Cohort:
    """The declared export table.

    Raises
    ------
    HeaderProblem
        A header line cannot be read, an identifier or free text is declared for export,
        or a sensitivity is not known.
    """
    file = next(one for one in sqlfiles.load_folder("cohorts", _REQUIRED, _OPTIONAL) if one.name == COHORT)
    columns = tuple(parse_column(text) for text in _entries(file.header["columns"]))
    withheld = {}
    for text in _entries(file.header["withheld"]):
        source, _, why = text.partition(" ")
        withheld[source] = why.strip()
    return Cohort(
        file.header["title"], file.header["grain"], file.header["population"], columns, withheld, file.sql
    )


def _entries(text: str) -> list[str]:
    return [part.strip() for part in text.split(";") if part.strip()]


def parse_column(text: str) -> Column:
    """One declared column: name, source, sensitivity, field with codes, and definition after a colon.

    Raises
    ------
    HeaderProblem
        A part is missing or not known, or an identifier or free text is declared.
    """
    head, _, definition = text.partition(":")
    parts = head.split()
    where = f"sql/cohorts/{COHORT}.sql"
    if len(parts) not in (3, 4) or parts[2] not in SENSITIVITIES:
        raise sqlfiles.HeaderProblem(
            f"{where}: '{head}' is not 'name source sensitivity', with a field that has codes where they apply. "
            f"Known sensitivities: {', '.join(SENSITIVITIES)}."
        )
    name, source, sensitivity, *coded = parts
    if (tuple(source.split(".")) in IDENTIFYING | FREE_TEXT) or source.endswith(".patient"):
        raise sqlfiles.HeaderProblem(
            f"{where}: {source} identifies a person or is free text, and is never exported. Take {name} out."
        )
    return Column(name, source, sensitivity, coded[0] if coded else source, definition.strip())
