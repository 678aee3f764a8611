"""The kept facts: one row per procedure, derived in the transaction of each write.

The statements lie in ``sql/facts``, each a SELECT that reads relations named
``scope_<table>`` and the facts before it. Here they are put together into one statement,
over all procedures or over those that a change can reach.

The kept rows are built as if the as-of date were the end of time. From the latest clinical
date on record that is also the answer for the as-of date; for an earlier one the same
statement fills a table in memory (:mod:`registry.earlier_days`).
"""

from __future__ import annotations

import hashlib
import re
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Protocol

from registry import vocabulary
from registry.dictionary import stored_columns, tables
from registry.sqlfiles import HeaderProblem, SqlFile, load_folder

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from contextlib import AbstractContextManager

    import duckdb

    from registry.earlier_days import EarlierDays

_REQUIRED = frozenset({"facts", "grain", "title"})
#: In the order in which one reads another; the last is the table itself.
STEPS = (
    "unit_facts",
    "patient_facts",
    "current_report_facts",
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
#: How a statement asks for the rank of a code.
_RANK_OF = re.compile(r"\brank_of\((?P<list>\w+), (?P<column>[\w.]+)\)")
#: Read by several others: kept once, which also halves the time that planning takes.
_READ_OFTEN = ("unit_facts", "report_facts")
#: Empty where a patient has one procedure, as most have; told so, the engine plans and joins less.
_OF_SEVERAL = ("chain_facts", "otherwise_facts")
_END_OF_TIME = date(9999, 12, 31)
_BY_PROCEDURE = ("procedures", "targeting", "specimens", "pathology", "reviews", "followup", "complications")
#: The column by which a refresh finds its rows, and what it is compared with.
_AFFECTED = {
    **dict.fromkeys(_BY_PROCEDURE, ("procedure_id", "procedures")),
    "findings": ("patient", "patients"),
    "patients": ("patient", "patients"),
}

#: Columns that no row states and the registry derives.
_LINKED = {"procedures": ("root_id",)}

# The kept rows know every procedure but those that are new, and these are given. They also
# still know chain and patient from before the change. Asked one after the other and not joined:
# a finding is looked up by its key, where a join would read them all. Some rows come twice.
_GIVEN = "SELECT root_id, finding_id FROM procedures WHERE {given}"
_PATIENT = "SELECT patient FROM findings WHERE {given}"
_KEPT = "SELECT root_id, patient FROM procedure_facts WHERE {given}"
# A death counts on any procedure of the patient, an event on any procedure of the chain. Asked
# apart: a scan for one of two things compares every row with both.
_REACHED = "SELECT procedure_id, patient FROM procedure_facts WHERE {given}"
# One below another: side by side in one row they take the engine five times as long to plan.
_LATEST = """
    UPDATE facts_state SET latest_on = (SELECT max(dated_on) FROM (
        SELECT CAST(max(started_at) AS DATE) AS dated_on FROM main.procedures
        UNION ALL
        SELECT max(reported_on) FROM main.pathology
        UNION ALL
        SELECT max(reviewed_on) FROM main.reviews
        UNION ALL
        SELECT max(happened_on) FROM main.followup
        UNION ALL
        SELECT max(onset_on) FROM main.complications
        UNION ALL
        SELECT max(death_date) FROM main.patients
        UNION ALL
        SELECT CAST(greatest(max(scan_at), max(read_at)) AS DATE) FROM main.specimens
    ) AS dated)
"""


class Record(Protocol):
    """What facts can be asked of."""

    earlier_days: EarlierDays

    def cursor(self) -> AbstractContextManager[duckdb.DuckDBPyConnection]:
        """A cursor of the caller's own."""
        ...


def _rank(asked: re.Match[str]) -> str:
    """The place of a code in its list as an expression, NULL where the column is empty.

    The list stands in the statement, where a join with it would be planned anew for every save.
    """
    ranks = {code: rank for code, rank in vocabulary.column(asked["list"], "rank").items() if rank}
    codes = ", ".join(f"'{code}'" for code in ranks)
    return f"[{', '.join(ranks.values())}][list_position([{codes}], {asked['column']})]"


@cache
def _files() -> tuple[SqlFile, ...]:
    found = {}
    for one in load_folder("facts", _REQUIRED):
        if one.header["facts"] != one.name:
            raise HeaderProblem(
                f"sql/facts/{one.name}.sql: its header says {one.header['facts']}. Let both say the same."
            )
        found[one.name] = replace(one, sql=_RANK_OF.sub(_rank, one.sql))
    if set(found) != set(STEPS):
        raise HeaderProblem(f"sql/facts: holds {', '.join(sorted(found))}; expected {', '.join(STEPS)}.")
    return tuple(found[name] for name in STEPS)


@cache
def columns_read() -> dict[str, tuple[str, ...]]:
    """Columns of the clinical tables that the statements may read: those whose names occur in them."""
    words = set(re.findall(r"[a-z_0-9]+", "\n".join(one.sql for one in _files())))
    return {
        table: tuple(
            name for name in (*stored_columns(tables()[table]), *_LINKED.get(table, ())) if name in words
        )
        for table in _AFFECTED
    }


def _among(column: str, name: str, values: Sequence[str]) -> str:
    """Condition on a column; one value is compared directly, which scans twice as fast as a join."""
    return f"{column} = ${name}[1]" if len(values) == 1 else f"{column} IN (SELECT unnest(${name}))"


def _scopes(affected: Mapping[str, Sequence[str]] | None) -> list[str]:
    """The clinical rows that are read: all of them where they lie, or a few, looked for once."""
    if affected is None:
        return [f"scope_{table} AS NOT MATERIALIZED (SELECT * FROM main.{table})" for table in _AFFECTED]
    return [
        f"scope_{table} AS MATERIALIZED (SELECT {', '.join(columns_read()[table])} FROM main.{table} "
        f"WHERE {_among(column, name, affected[name])})"
        for table, (column, name) in _AFFECTED.items()
    ]


def _definitions(affected: Mapping[str, Sequence[str]] | None = None) -> list[str]:
    """Every step but the last, and what they read."""
    parts = _scopes(affected)
    is_alone = affected is not None and len(affected["procedures"]) == 1
    for one in _files()[:-1]:
        kept = "MATERIALIZED" if one.name in _READ_OFTEN else "NOT MATERIALIZED"
        body = one.sql.strip()
        if is_alone and one.name in _OF_SEVERAL:
            body = f"SELECT * FROM (\n{body}\n) AS nothing WHERE FALSE"
        parts.append(f"{one.name} AS {kept} (\n{body}\n)")
    return parts


def _fill(affected: Mapping[str, Sequence[str]] | None = None, table: str = "procedure_facts") -> str:
    """The one statement that derives the rows and writes them; parameters as_of and those affected."""
    last = _files()[-1]
    parts = _definitions(affected)
    body = ",\n".join([*parts, f"all_rows AS (\n{last.sql.strip()}\n)"])
    return f"INSERT INTO {table} BY NAME\nWITH {body}\nSELECT * FROM all_rows"


@cache
def relations() -> str:
    """Definitions of every step but the last over all procedures, to stand after WITH; parameter as_of.

    For what the kept rows do not hold, single events and single reports among them, so
    that no rule is written twice.
    """
    return ",\n".join(_definitions())


@cache
def attempts() -> str:
    """Definitions of ``first_attempt`` and ``last_attempt``, to stand after WITH.

    Both are ``attempt_facts``, the one over the first needle placement of each procedure,
    the other over the last, so that a position is judged and an error worked out alike.
    """
    step = next(one.sql.strip() for one in _files() if one.name == "attempt_facts")
    return ",\n".join(
        f"{name} AS NOT MATERIALIZED (\nWITH scope_targeting AS NOT MATERIALIZED "
        f"(SELECT * FROM main.targeting WHERE {which})\nSELECT * FROM (\n{step}\n) AS attempt\n)"
        for name, which in (("first_attempt", "attempt = 1"), ("last_attempt", "TRUE"))
    )


def rebuild(cursor: duckdb.DuckDBPyConnection) -> None:
    """Derive all kept rows anew, inside the caller's transaction."""
    cursor.execute("DELETE FROM procedure_facts")
    cursor.execute(_fill(), {"as_of": _END_OF_TIME})
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
    affected = _reached(cursor, list(dict.fromkeys(procedure_ids)))
    cursor.execute(
        f"DELETE FROM procedure_facts WHERE {_among('procedure_id', 'procedures', affected['procedures'])}",
        {"procedures": affected["procedures"]},
    )
    cursor.execute(_fill(affected), {"as_of": _END_OF_TIME, **affected})
    cursor.execute(_LATEST)


def _reached(cursor: duckdb.DuckDBPyConnection, ids: list[str]) -> dict[str, list[str]]:
    """Procedures whose rows depend on those given, and the patients of all of them."""

    def ask(sql: str, column: str, values: Sequence[str]) -> list[tuple[str, ...]]:
        condition = _among(column, "given", values)
        return cursor.execute(sql.format(given=condition), {"given": values}).fetchall() if values else []

    recorded, kept = ask(_GIVEN, "procedure_id", ids), ask(_KEPT, "procedure_id", ids)
    findings = list(dict.fromkeys(finding for _, finding in recorded))
    roots = list(dict.fromkeys(root for root, _ in recorded + kept))
    patients = list(dict.fromkeys(row[-1] for row in ask(_PATIENT, "finding_id", findings) + kept))
    reached = ask(_REACHED, "root_id", roots) + ask(_REACHED, "patient", patients)
    return {
        "procedures": list(dict.fromkeys([*ids, *(one for one, _ in reached)])),
        "patients": list(dict.fromkeys([*patients, *(patient for _, patient in reached)])),
    }


@contextmanager
def at(record: Record, as_of: date) -> Iterator[duckdb.DuckDBPyConnection]:
    """A cursor for which ``procedure_facts`` is what had happened by a day.

    Parameters
    ----------
    record
        An open registry, or one as it was known at a moment.
    as_of
        What is dated after this day does not exist, what is dated on it does.
    """
    with record.cursor() as cursor:
        latest, revision = cursor.execute("SELECT latest_on, revision FROM facts_state").fetchall()[0]
        if latest is None or as_of >= latest:
            yield cursor
            return

        def derive(table: str) -> None:
            cursor.execute(f"CREATE TABLE {table} AS SELECT * FROM procedure_facts LIMIT 0")
            cursor.execute(_fill(table=table), {"as_of": as_of})

        with record.earlier_days.lay(cursor, (revision, as_of), derive):
            yield cursor


def definition_sha256(cursor: duckdb.DuckDBPyConnection) -> str:
    """Digest of all that decides what a kept row holds beside the record itself."""
    digest = hashlib.sha256()
    for one in _files():
        digest.update(f"{one.name}\n{len(one.sql)}\n{one.sql}\n".encode())
    half_lives = cursor.execute("SELECT * FROM tracer_half_life ORDER BY ALL").fetchall()
    digest.update(repr(half_lives).encode())
    return digest.hexdigest()


def is_current(cursor: duckdb.DuckDBPyConnection) -> bool:
    """Whether the kept rows were built with the statements and lists of this program.

    False after an upgrade that changed them, and in a registry whose facts were never
    built; then :func:`rebuild` is due.
    """
    kept = [row[0] for row in cursor.execute("SELECT sha256 FROM facts_definition").fetchall()]
    return kept == [definition_sha256(cursor)]
