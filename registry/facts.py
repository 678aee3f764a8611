"""The kept facts: one row per procedure, derived in the transaction of each write.

The statements lie in ``sql/facts``, each a SELECT that reads relations named
``scope_<table>`` and the facts before it. Here they are put together into one statement,
over all procedures or over those that a change can reach.

The kept rows are built as if the as-of date were the end of time. From the latest clinical
date on record that is also the answer for the as-of date; for an earlier one the same
statement fills a temporary table of the same name.
"""

from __future__ import annotations

import hashlib
from contextlib import contextmanager
from datetime import date
from functools import cache
from typing import TYPE_CHECKING

from registry.sqlfiles import HeaderProblem, SqlFile, load_folder

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import duckdb

_REQUIRED = frozenset({"facts", "grain", "title"})
#: In the order in which one reads another; the last is the table itself.
STEPS = (
    "unit_facts",
    "patient_facts",
    "report_facts",
    "review_facts",
    "attempt_facts",
    "specimen_facts",
    "scan_facts",
    "complication_facts",
    "chain_facts",
    "event_facts",
    "otherwise_facts",
    "procedure_facts",
)
#: Read by several others: kept once, which also halves the time that planning takes.
_READ_OFTEN = ("unit_facts", "report_facts")
_END_OF_TIME = date(9999, 12, 31)
_BY_PROCEDURE = ("procedures", "targeting", "specimens", "pathology", "reviews", "followup", "complications")
#: Scopes of a refresh: what belongs to the affected procedures, and to their patients.
_AFFECTED = {
    **dict.fromkeys(_BY_PROCEDURE, "procedure_id IN (SELECT procedure_id FROM affected_procedure)"),
    "findings": "patient IN (SELECT patient FROM affected_patient)",
    "patients": "patient IN (SELECT patient FROM affected_patient)",
}

# A death counts on any procedure of the patient, an event on any procedure of the chain. The
# kept rows still know the chain and the patient from before the change.
_COLLECT = (
    """
    CREATE OR REPLACE TEMP TABLE affected_chain AS
    WITH given AS (SELECT unnest($ids) AS procedure_id),
    known AS (
        SELECT p.root_id, f.patient
        FROM main.procedures AS p
        JOIN main.findings AS f ON f.finding_id = p.finding_id
        WHERE p.procedure_id IN (SELECT procedure_id FROM given)
        UNION ALL
        SELECT root_id, patient FROM procedure_facts WHERE procedure_id IN (SELECT procedure_id FROM given)
    )
    SELECT DISTINCT root_id, patient FROM known
    """,
    """
    CREATE OR REPLACE TEMP TABLE affected_procedure AS
    SELECT procedure_id FROM main.procedures
    WHERE root_id IN (SELECT root_id FROM affected_chain)
        OR finding_id IN (
            SELECT finding_id FROM main.findings WHERE patient IN (SELECT patient FROM affected_chain)
        )
    UNION
    SELECT procedure_id FROM procedure_facts
    WHERE root_id IN (SELECT root_id FROM affected_chain) OR patient IN (SELECT patient FROM affected_chain)
    """,
    """
    CREATE OR REPLACE TEMP TABLE affected_patient AS
    SELECT DISTINCT f.patient
    FROM main.procedures AS p
    JOIN main.findings AS f ON f.finding_id = p.finding_id
    WHERE p.procedure_id IN (SELECT procedure_id FROM affected_procedure)
    """,
)
_COLLECTED = ("affected_chain", "affected_procedure", "affected_patient")
_LATEST = """
    UPDATE facts_state SET latest_on = greatest(
        (SELECT CAST(max(started_at) AS DATE) FROM main.procedures),
        (SELECT max(reported_on) FROM main.pathology),
        (SELECT max(reviewed_on) FROM main.reviews),
        (SELECT max(happened_on) FROM main.followup),
        (SELECT max(onset_on) FROM main.complications),
        (SELECT max(death_date) FROM main.patients),
        (SELECT CAST(greatest(max(scan_at), max(read_at)) AS DATE) FROM main.specimens)
    )
"""


@cache
def _files() -> tuple[SqlFile, ...]:
    found = {}
    for one in load_folder("facts", _REQUIRED):
        if one.header["facts"] != one.name:
            raise HeaderProblem(
                f"sql/facts/{one.name}.sql: its header says {one.header['facts']}. Let both say the same."
            )
        found[one.name] = one
    if set(found) != set(STEPS):
        raise HeaderProblem(f"sql/facts: holds {', '.join(sorted(found))}; expected {', '.join(STEPS)}.")
    return tuple(found[name] for name in STEPS)


@cache
def _fill(*, affected: bool) -> str:
    """The one statement that derives the rows and writes them; its parameter is as_of."""
    scopes = [
        f"scope_{table} AS NOT MATERIALIZED (SELECT * FROM main.{table} WHERE {condition if affected else 'TRUE'})"
        for table, condition in _AFFECTED.items()
    ]
    *steps, last = _files()
    parts = list(scopes)
    for one in steps:
        kept = "MATERIALIZED" if one.name in _READ_OFTEN else "NOT MATERIALIZED"
        parts.append(f"{one.name} AS {kept} (\n{one.sql.strip()}\n)")
    body = ",\n".join([*parts, f"all_rows AS (\n{last.sql.strip()}\n)"])
    return f"INSERT INTO procedure_facts BY NAME\nWITH {body}\nSELECT * FROM all_rows"


def rebuild(cursor: duckdb.DuckDBPyConnection) -> None:
    """Derive all kept rows anew, inside the caller's transaction."""
    cursor.execute("DELETE FROM procedure_facts")
    cursor.execute(_fill(affected=False), {"as_of": _END_OF_TIME})
    cursor.execute(_LATEST)
    cursor.execute("DELETE FROM facts_definition")
    cursor.execute("INSERT INTO facts_definition VALUES (?)", [definition_sha256(cursor)])


def refresh(cursor: duckdb.DuckDBPyConnection, procedure_ids: Sequence[str]) -> None:
    """Derive the kept rows that a change of some procedures can reach, inside the caller's transaction.

    Parameters
    ----------
    procedure_ids
        Procedures that changed, or whose targeting, specimens, reports, reviews, events,
        complications, finding or patient changed; also those that are gone.
    """
    if not procedure_ids:
        return
    ids = list(procedure_ids)
    for statement in _COLLECT:
        cursor.execute(statement, {"ids": ids} if "$ids" in statement else None)
    cursor.execute(
        "DELETE FROM procedure_facts WHERE procedure_id IN (SELECT procedure_id FROM affected_procedure)"
    )
    cursor.execute(_fill(affected=True), {"as_of": _END_OF_TIME})
    for name in _COLLECTED:
        cursor.execute(f"DROP TABLE {name}")
    cursor.execute(_LATEST)


@contextmanager
def at(cursor: duckdb.DuckDBPyConnection, as_of: date) -> Iterator[None]:
    """Within the block ``procedure_facts`` is what had happened by a day.

    Parameters
    ----------
    cursor
        A cursor of the caller's own; another one does not see the temporary rows.
    as_of
        What is dated after this day does not exist, what is dated on it does.
    """
    latest = cursor.execute("SELECT latest_on FROM facts_state").fetchall()[0][0]
    if latest is None or as_of >= latest:
        yield
        return
    cursor.execute("CREATE TEMP TABLE procedure_facts AS SELECT * FROM procedure_facts LIMIT 0")
    try:
        cursor.execute(_fill(affected=False), {"as_of": as_of})
        yield
    finally:
        cursor.execute("DROP TABLE temp.procedure_facts")


def definition_sha256(cursor: duckdb.DuckDBPyConnection) -> str:
    """Digest of all that decides what a kept row holds beside the record itself."""
    digest = hashlib.sha256()
    for one in _files():
        digest.update(f"{one.name}\n{len(one.sql)}\n{one.sql}\n".encode())
    for lookup in (
        "SELECT list, code, rank FROM code_rank ORDER BY ALL",
        "SELECT * FROM tracer_half_life ORDER BY ALL",
    ):
        digest.update(repr(cursor.execute(lookup).fetchall()).encode())
    return digest.hexdigest()


def is_current(cursor: duckdb.DuckDBPyConnection) -> bool:
    """Whether the kept rows were built with the statements and lists of this program.

    False after an upgrade that changed them, and in a registry whose facts were never
    built; then :func:`rebuild` is due.
    """
    kept = [row[0] for row in cursor.execute("SELECT sha256 FROM facts_definition").fetchall()]
    return kept == [definition_sha256(cursor)]
