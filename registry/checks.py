"""Data checks: one SQL file each, run over a batch before it is written or over the registry.

A check reads ``checked_<table>`` (the rows in question, with ``row_no``) and
``known_<table>`` (everything known, those rows included), and returns the ``row_no`` of
each offending row, with an optional ``detail`` that ends the sentence.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import vocabulary
from registry.dictionary import KEYS, TABLE_ORDER, tables
from registry.people import Action, require
from registry.sqlfiles import load_folder

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    import duckdb

    from registry.store import Registry

#: Stops the file; holds the row; holds it until confirmed; accepted and listed; listed
#: only when the whole registry is checked.
SEVERITIES = ("stop", "hold", "review", "warning", "note")
_REQUIRED = frozenset({"check", "table", "column", "severity", "message", "hint"})
_OPTIONAL = frozenset({"source", "scope", "corrected", "series"})
_RELATION = re.compile(r"\b(known|checked)_(\w+)")
#: A check of single rows: one condition on the rows in question, nothing joined.
_ROW_CHECK = re.compile(r"^SELECT row_no\nFROM checked_(\w+)\nWHERE ((?:(?!SELECT).)+)$", re.DOTALL)
#: A check of rows beside what is joined with them: one condition, which may ask for a setting of the site.
_JOINED_CHECK = re.compile(
    r"^SELECT (\w+)\.row_no\n(FROM checked_\w+ AS \1(?:\nJOIN [^\n]+)+)\n"
    r"WHERE ((?:(?!SELECT(?! number FROM site_setting )).)+)$",
    re.DOTALL,
)


@dataclass(frozen=True)
class Check:
    """One data check, as its file states it.

    ``corrected`` is the severity where a stored row comes to break it because a row that
    it depends on is corrected. ``series`` are the columns of rows that are numbered 1, 2,
    3 within their group, the number last; empty for other checks.
    """

    name: str
    table: str
    column: str
    severity: str
    message: str
    hint: str
    batch_only: bool
    sql: str
    corrected: str = ""
    series: tuple[str, ...] = ()

    @property
    def body(self) -> str:
        """The query without the header."""
        return "\n".join(line for line in self.sql.strip().splitlines() if not line.startswith("--"))

    @property
    def condition(self) -> str | None:
        """The condition of a check of single rows; None for one that joins or groups."""
        match = _ROW_CHECK.match(self.body)
        return match.group(2) if match else None

    @property
    def joined(self) -> tuple[str, str, str] | None:
        """Alias of the rows, what they are joined with, and the condition, of a check that is just that."""
        match = _JOINED_CHECK.match(self.body)
        return (match.group(1), match.group(2), match.group(3)) if match else None

    @property
    def rows(self) -> str:
        """The relation whose rows the check is about: its table's, or the visits."""
        return "visits" if "FROM checked_visits" in self.sql else self.table

    @property
    def relations(self) -> frozenset[str]:
        """Tables whose rows the check reads."""
        return frozenset(name for _, name in _RELATION.findall(self.sql))

    @property
    def depends_on(self) -> frozenset[str]:
        """Tables whose rows decide, beside the row in question, whether it breaks the check."""
        read = {name for kind, name in _RELATION.findall(self.body) if kind == "known"}
        if self.rows == "visits":
            read |= {"findings", "patients"}
        if "visits" in read:
            read |= {"procedures", "findings", "patients"}
        return frozenset(read & tables().keys())

    def over(self, rows: str, known: str) -> str:
        """The query, asked of other rows in question and of another state of what is known.

        ``rows`` and ``known`` are the beginnings of the names of those relations.
        """
        begin = {"checked": rows, "known": known}
        return _RELATION.sub(lambda found: f"{begin[found[1]]}_{found[2]}", self.body)


@dataclass(frozen=True)
class Offence:
    """One row that a check found; ``detail`` ends the sentence where the check gives one."""

    check: Check
    row_no: int
    detail: str = ""

    @property
    def message(self) -> str:
        """The sentence, with its detail."""
        return f"{self.check.message} {self.detail}".strip() if self.detail else self.check.message


@cache
def load() -> tuple[Check, ...]:
    """All checks, parents' tables before children's.

    Raises
    ------
    HeaderProblem
        A header lacks a key or has an unknown one.
    """
    found = [
        Check(
            one.name,
            one.header["table"],
            one.header["column"],
            one.header["severity"],
            one.header["message"],
            one.header["hint"],
            one.header.get("scope") == "batch",
            one.sql,
            one.header.get("corrected", one.header["severity"]),
            tuple(part.strip() for part in one.header.get("series", "").split(",") if part.strip()),
        )
        for one in load_folder("checks", _REQUIRED, _OPTIONAL)
    ]
    return tuple(sorted(found, key=lambda check: (TABLE_ORDER.index(check.table), check.name)))


def prepare(cursor: duckdb.DuckDBPyConnection) -> None:
    """Temporary tables that checks read beside the rows: the list of lesion codes."""
    codes = pl.DataFrame({"code": list(vocabulary.labels("pathology", "lesion"))})
    cursor.register("made_lesion_code", codes.to_arrow())
    cursor.execute("CREATE OR REPLACE TEMP TABLE lesion_code AS SELECT code FROM made_lesion_code")
    cursor.unregister("made_lesion_code")


def run(cursor: duckdb.DuckDBPyConnection, checks: Iterable[Check], today: date) -> list[Offence]:
    """Run checks on a cursor whose ``checked_`` and ``known_`` relations stand.

    Checks of single rows are asked of each table in one scan, and those that join the same
    rows alike with one join; the others one by one.
    """
    by_row: dict[str, list[Check]] = {}
    by_join: dict[tuple[str, str], list[tuple[Check, str]]] = {}
    apart: dict[Check, list[Offence]] = {}
    for check in checks:
        if check.condition is not None:
            by_row.setdefault(check.rows, []).append(check)
            continue
        apart[check] = []
        if check.joined is not None:
            rows, relation, condition = check.joined
            by_join.setdefault((rows, relation), []).append((check, condition))
            continue
        for row in cursor.execute(check.sql, parameters(check.sql, today)).fetchall():
            detail = "" if len(row) < 2 or row[1] is None else str(row[1])
            apart[check].append(Offence(check, row[0], detail))
    for (rows, relation), asked in by_join.items():
        flags = ", ".join(f"({condition}) IS TRUE" for _, condition in asked)
        sql = f"SELECT {rows}.row_no, {flags} {relation} WHERE {' OR '.join(f'({condition})' for _, condition in asked)}"
        for row_no, *found in cursor.execute(sql, parameters(sql, today)).fetchall():
            for (check, _), broken in zip(asked, found, strict=True):
                if broken:
                    apart[check].append(Offence(check, row_no))
    offences = [offence for found in apart.values() for offence in found]
    for relation, together in by_row.items():
        flags = ", ".join(f"({check.condition}) IS TRUE" for check in together)
        sql = f"SELECT row_no, {flags} FROM checked_{relation} WHERE {' OR '.join(f'({check.condition})' for check in together)}"
        for row_no, *found in cursor.execute(sql, parameters(sql, today)).fetchall():
            offences += [
                Offence(check, row_no) for check, broken in zip(together, found, strict=True) if broken
            ]
    return offences


def parameters(sql: str, today: date) -> dict[str, Any] | None:
    """What a check's query asks for: the day at the site, where it does."""
    return {"today": today} if "$today" in sql else None


def check_registry(registry: Registry, today: date) -> pl.DataFrame:
    """Every offence among the stored rows: check, severity, table, key, column, message, hint."""
    require(Action.CHECK, registry)
    rows: list[dict[str, str]] = []
    with registry.cursor() as cursor:
        prepare(cursor)
        _stored_relations(cursor, registry)
        for offence in run(cursor, [check for check in load() if not check.batch_only], today):
            check = offence.check
            rows.append(
                {
                    "severity": check.severity,
                    "check": check.name,
                    "table": check.table,
                    "key": _key_of(cursor, check.table, offence.row_no),
                    "column": check.column,
                    "message": offence.message,
                    "hint": check.hint,
                }
            )
    columns = ["severity", "check", "table", "key", "column", "message", "hint"]
    found = pl.DataFrame(rows, schema=dict.fromkeys(columns, pl.String))
    return found.sort("severity", "check", "key", descending=False)


def _stored_relations(cursor: duckdb.DuckDBPyConnection, registry: Registry) -> None:
    apart: dict[str, pl.DataFrame] = {
        "birth": pl.DataFrame(schema={"patient": pl.String, "birth_date": pl.Date}),
        "accession": pl.DataFrame(schema={"procedure_id": pl.String, "accession": pl.String}),
    }
    for name, columns in (("birth", "patient, birth_date"), ("accession", "procedure_id, accession")):
        table = "patient_identity" if name == "birth" else "procedure_accession"
        cursor.register(
            f"known_{name}", registry.identity_frame(f"SELECT {columns} FROM {table}", apart[name]).to_arrow()
        )
    # Visits come last: they are made of the others.
    for name in TABLE_ORDER:
        extra = ""
        join = ""
        if name == "patients":
            extra, join = ", b.birth_date", "LEFT JOIN known_birth AS b ON b.patient = t.patient"
        elif name == "procedures":
            extra, join = ", b.accession", "LEFT JOIN known_accession AS b ON b.procedure_id = t.procedure_id"
        cursor.execute(
            f"CREATE OR REPLACE TEMP VIEW checked_{name} AS SELECT t.rowid AS row_no, t.*{extra} FROM main.{name} AS t {join}"
        )
        cursor.execute(f"CREATE OR REPLACE TEMP VIEW known_{name} AS SELECT * FROM main.{name}")
    cursor.execute(
        f"CREATE OR REPLACE TEMP VIEW checked_visits AS SELECT p.row_no, {VISIT_COLUMNS}, p.accession, false AS is_stated_age "
        f"FROM checked_procedures AS p {VISIT_JOINS}"
    )
    cursor.execute("CREATE OR REPLACE TEMP VIEW known_visits AS SELECT * FROM checked_visits")


#: One row per procedure with what its finding and patient say of it.
VISIT_COLUMNS = (
    "p.procedure_id, p.finding_id, p.started_at, CAST(p.started_at AS DATE) AS started_on, p.status, p.cores, "
    "p.repeat_of, p.marker, p.marker_shape, p.injected_at, p.compression_mm, p.age_years, "
    "f.patient, f.laterality, f.found_on, b.birth_date, d.death_date"
)
VISIT_JOINS = (
    "LEFT JOIN known_findings AS f ON f.finding_id = p.finding_id "
    "LEFT JOIN known_birth AS b ON b.patient = f.patient LEFT JOIN known_patients AS d ON d.patient = f.patient"
)


def _key_of(cursor: duckdb.DuckDBPyConnection, table: str, row_no: int) -> str:
    """Key of a stored row in words; the pseudonym stands for a patient identifier."""
    columns = ["patient" if name == "patient_id" else name for name in KEYS[table]]
    values = cursor.execute(
        f"SELECT {', '.join(columns)} FROM main.{tables()[table].name} WHERE rowid = ?", [row_no]
    ).fetchall()
    return " / ".join("" if value is None else str(value) for value in values[0]) if values else ""
