"""Stored rows that a correction of another row would contradict.

A check looks at the rows of a batch. When a batch corrects a procedure, its reports and
specimens may be stored already, and nobody sends them again: so the checks of those stored
rows are asked too, once with the correction and once without it. What breaks a check only
with the correction is said of the corrected row, which is held (decision 0012).

Nothing is asked unless the batch changes a stored row, and of the checks only those that
read a field which it changes.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from registry import checks
from registry.dictionary import KEYS, TABLE_ORDER, stored_columns, tables
from registry.intake.problems import WARNING, Problem
from registry.intake.relations import make_known_of
from registry.intake.staging import key_columns, same_key
from registry.numerals import grouped

if TYPE_CHECKING:
    from registry.checks import Check
    from registry.intake.batch import Batch

#: Columns of the visits that are not those of the procedure itself: their table and field.
_VISIT_FIELDS = {
    "started_on": ("procedures", "started_at"),
    "patient": ("findings", "patient"),
    "laterality": ("findings", "laterality"),
    "found_on": ("findings", "found_on"),
    "birth_date": ("patients", "birth_date"),
    "death_date": ("patients", "death_date"),
}
#: Fields that lead from a procedure to the rows that a visit takes from its parents.
_LINKS = {"procedures": "finding_id", "findings": "patient"}


def contradicted(batch: Batch, own: set[tuple[str, int]]) -> list[Problem]:
    """Problems of the batch's corrections with the stored rows that depend on them.

    Parameters
    ----------
    own
        Check and row of what was found in the batch's own rows: not said a second time.
    """
    changed = _changes(batch)
    asked = [
        (check, parent, fields)
        for check in checks.load()
        if check.severity not in ("stop", "note") and not check.batch_only
        for parent in sorted(check.depends_on & changed.keys())
        if (fields := _fields(check, parent) & changed[parent]) and _is_below(check.table, parent)
    ]
    if not asked:
        return []
    make_known_of(batch, {name for check, _, _ in asked for name in check.relations} & tables().keys())
    _make_before(batch)
    _make_linked(batch, {check.table for check, _, _ in asked}, sorted(changed))
    found = []
    for check, parent, fields in asked:
        rows = batch.cursor.execute(
            _query(check, parent, fields), checks.parameters(check.sql, batch.today)
        ).fetchall()
        found += [
            _problem(check, parent, row_no, column, count)
            for row_no, column, count in rows
            if check.table != parent or (check.name, row_no) not in own
        ]
    return found


def _problem(check: Check, parent: str, row_no: int, column: str, count: int) -> Problem:
    """The sentence names the dependent table and what is contradicted, never a value."""
    field = "patient_id" if column == "patient" else column
    rows = "1 stored row" if count == 1 else f"{grouped(count)} stored rows"
    # A detail would name rows of the other table; the count is enough.
    said = check.message.removesuffix(":").rstrip(".")
    message = f"{rows} of {check.table} would contradict it: {said}."
    hint = (
        check.hint
        if check.corrected == WARNING
        else f"Correct this row, or send the corrected rows of {check.table} with it."
    )
    return Problem(parent, row_no, field, check.name, check.corrected, message, hint)


# -- what changed, and who reads it ------------------------------------------------


def _changes(batch: Batch) -> dict[str, set[str]]:
    """Tables in which the batch corrects stored rows, with the columns it changes.

    Leaves ``changed_<table>``: row number, key, and for each column whether it changes.
    """
    found = {}
    for table in batch.tables:
        name = table.name
        if name in batch.in_place:
            continue
        if not batch.cursor.execute(f"SELECT 1 FROM staged_{name} WHERE is_changed LIMIT 1").fetchall():
            continue
        keys = key_columns(name)
        columns = [column for column in stored_columns(table) if column not in keys]
        flags = [f"s.{column} IS DISTINCT FROM m.{column} AS {column}" for column in columns]
        join = ""
        if name == "patients":
            columns.append("birth_date")
            flags.append("s.birth_date IS DISTINCT FROM b.birth_date AS birth_date")
            join = "LEFT JOIN stored_birth AS b ON b.patient = s.patient"
        batch.cursor.execute(
            f"CREATE OR REPLACE TEMP TABLE changed_{name} AS "
            f"SELECT {', '.join(['s.row_no', *(f's.{key} AS key_{key}' for key in keys), *flags])} "
            f"FROM staged_{name} AS s JOIN main.{name} AS m ON {same_key(name, 's', 'm')} {join} WHERE s.is_changed"
        )
        sums = ", ".join(f"bool_or({column})" for column in columns)
        (any_,) = batch.cursor.execute(f"SELECT {sums} FROM changed_{name}").fetchall()
        found[name] = {column for column, is_changed in zip(columns, any_, strict=True) if is_changed}
    return found


def _fields(check: Check, parent: str) -> set[str]:
    """Columns of a table that a check reads, its link to the rows above included."""
    words = set(re.findall(r"\w+", check.body))
    read = words & set(stored_columns(tables()[parent]))
    if "visits" in check.relations:
        read |= {
            field for column, (table, field) in _VISIT_FIELDS.items() if table == parent and column in words
        }
        above = TABLE_ORDER[: TABLE_ORDER.index(parent)]
        if any(table in above for column, (table, _) in _VISIT_FIELDS.items() if column in words):
            read.add(_LINKS.get(parent, ""))
    return read - {"", *key_columns(parent)}


def _is_below(table: str, parent: str) -> bool:
    """Whether a table's rows depend on the parent's; the other way round they have their own checks."""
    return TABLE_ORDER.index(table) >= TABLE_ORDER.index(parent) and bool(_link(table, parent))


def _link(table: str, parent: str) -> str:
    """Joins from the rows ``fresh`` of a table to the changed rows ``x``; empty where there are none."""
    linked = f"JOIN linked_{table} AS t ON t.row_no = fresh.row_no JOIN changed_{parent} AS x ON"
    if parent in ("findings", "patients"):
        if "procedure_id" not in tables()[table].names:
            return ""
        key = key_columns(parent)[0]
        again = f" UNION ALL SELECT row_no, repeat_of FROM linked_{table}" if table == "procedures" else ""
        return (
            f"JOIN (SELECT row_no, procedure_id FROM linked_{table}{again}) AS t ON t.row_no = fresh.row_no "
            f"JOIN known_visits AS v ON v.procedure_id = t.procedure_id JOIN changed_{parent} AS x ON x.key_{key} = v.{key}"
        )
    fields = [one.name for one in tables()[table].fields if one.references == parent]
    if fields:
        return f"{linked} ({' OR '.join(f't.{field} = x.key_{KEYS[parent][0]}' for field in fields)})"
    if table != parent and "procedure_id" in KEYS[parent] and "procedure_id" in tables()[table].names:
        return f"{linked} x.key_procedure_id = t.procedure_id"
    return ""


# -- relations ---------------------------------------------------------------------


def _make_before(batch: Batch) -> None:
    """``before_known_``: everything as it is stored, without the batch."""
    for name, table in tables().items():
        batch.cursor.execute(
            f"CREATE OR REPLACE TEMP VIEW before_known_{name} AS SELECT {', '.join(stored_columns(table))} FROM main.{name}"
        )
    batch.cursor.execute(
        "CREATE OR REPLACE TEMP VIEW before_known_birth AS "
        "SELECT patient, birth_date FROM stored_birth WHERE birth_date IS NOT NULL"
    )
    batch.cursor.execute(
        f"CREATE OR REPLACE TEMP VIEW before_known_visits AS {_visits('main.procedures', 'before_known_', '')}"
    )


def _visits(rows: str, known: str, first: str) -> str:
    joins = checks.VISIT_JOINS.replace("known_", known)
    return (
        f"SELECT {first}{checks.VISIT_COLUMNS}, a.accession, false AS is_stated_age FROM {rows} AS p {joins} "
        "LEFT JOIN stored_accession AS a ON a.procedure_id = p.procedure_id"
    )


def _make_linked(batch: Batch, names: set[str], changed: list[str]) -> None:
    """``linked_<table>``: stored rows that stay as they are and depend on a changed one."""
    batch.cursor.execute(f"CREATE OR REPLACE TEMP TABLE moved_visit AS {_moved(changed)}")
    for name in sorted(names | {"procedures"}):
        table = tables()[name]
        tests = []
        if "procedure_id" in table.names:
            tests.append("t.procedure_id IN (SELECT procedure_id FROM moved_visit)")
        for field in table.fields:
            if field.references == "procedures" and field.name != "procedure_id":
                tests.append(f"t.{field.name} IN (SELECT procedure_id FROM moved_visit)")
            elif field.references in changed and field.references not in ("procedures", "patients"):
                key = KEYS[field.references][0]
                tests.append(f"t.{field.name} IN (SELECT key_{key} FROM changed_{field.references})")
        sent = ""
        if name in batch.sources.names:
            sent = f" AND NOT EXISTS (SELECT 1 FROM staged_{name} AS s WHERE {same_key(name, 't', 's')})"
        batch.cursor.execute(
            f"CREATE OR REPLACE TEMP TABLE linked_{name} AS SELECT t.rowid AS row_no, {', '.join(f't.{c}' for c in stored_columns(table))} "
            f"FROM main.{name} AS t WHERE ({' OR '.join(tests) or 'false'}){sent}"
        )
        batch.cursor.execute(
            f"CREATE OR REPLACE TEMP VIEW before_linked_{name} AS SELECT * FROM linked_{name}"
        )
    for begin, known in (("linked_", "known_"), ("before_linked_", "before_known_")):
        rows = _visits("linked_procedures", known, "p.row_no, ")
        batch.cursor.execute(f"CREATE OR REPLACE TEMP VIEW {begin}visits AS {rows}")


def _moved(changed: list[str]) -> str:
    """Procedures whose own row, finding, patient or further rows the batch changes."""
    parts = ["SELECT '' AS procedure_id WHERE false"]
    for name in changed:
        if name == "findings":
            parts.append(
                "SELECT procedure_id FROM main.procedures WHERE finding_id IN (SELECT key_finding_id FROM changed_findings)"
            )
        elif name == "patients":
            parts.append(
                "SELECT p.procedure_id FROM main.procedures AS p JOIN main.findings AS f ON f.finding_id = p.finding_id "
                "WHERE f.patient IN (SELECT key_patient FROM changed_patients)"
            )
        elif "procedure_id" in KEYS[name]:
            parts.append(f"SELECT key_procedure_id FROM changed_{name}")
    return " UNION ".join(parts)


def _query(check: Check, parent: str, changed: set[str]) -> str:
    """Corrected row, the first changed field that the check reads, and how many rows contradict."""
    fields = [column for column in (*stored_columns(tables()[parent]), "birth_date") if column in changed]
    which = " ".join(f"WHEN x.{field} THEN '{field}'" for field in fields)
    return (
        f"WITH with_it AS (\n{check.over('linked', 'known')}\n), without_it AS (\n{check.over('before_linked', 'before_known')}\n), "
        "fresh AS (SELECT row_no FROM with_it EXCEPT SELECT row_no FROM without_it) "
        f"SELECT x.row_no, CASE {which} END AS field, count(DISTINCT t.row_no) "
        f"FROM fresh {_link(check.table, parent)} WHERE {' OR '.join(f'x.{field}' for field in fields)} "
        "GROUP BY ALL ORDER BY ALL"
    )
