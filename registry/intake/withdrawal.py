"""Withdrawal: a row leaves the current record and stays in history, with the reason.

It goes through the same door as an import: one transaction, a batch of no rows, an entry of
the trail, the facts of the procedures it reaches. Nothing is deleted, and a row on which
others hang stays until those are withdrawn (decision 0014).
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry import audit, checks, facts, holds
from registry.dictionary import KEYS, TABLE_ORDER, Table, tables
from registry.errors import BatchRefused, UsageProblem
from registry.intake import write
from registry.intake.problems import REVIEW, Problem
from registry.intake.staging import has_rows, key_columns, same_key
from registry.numerals import grouped
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Sequence

    import duckdb

    from registry.intake.batch import Batch
    from registry.store import Registry

#: Part of a key that may be left out: reports without a container of their own.
_MAY_BE_EMPTY = {"pathology": "specimen_id"}
_APART = {"patients": ("patient_identity", "patient"), "procedures": ("procedure_accession", "procedure_id")}


@dataclass(frozen=True)
class Withdrawal:
    """What was withdrawn: key in words (a pseudonym for a patient), batch, decision opened again."""

    table: str
    key: str
    batch_id: int
    reopened: str = ""

    def lines(self) -> list[str]:
        """The report as plain text lines."""
        made = [
            f"Withdrawn from {self.table}: {self.key} (batch {self.batch_id}). It stays in the history, with the reason.",
            "If it is sent again it is held until somebody confirms it.",
        ]
        if self.reopened:
            made.append(f"The concordance decision of {self.reopened} rested on it and is open again.")
        return made


def withdraw(registry: Registry, name: str, key: Sequence[str], *, author: str, reason: str) -> Withdrawal:
    """Withdraw one row.

    Parameters
    ----------
    registry
        Open for writing.
    name
        A table of the data dictionary.
    key
        Its key, in the order of the dictionary; the container of a report may be left
        out. A patient is named by identifier or pseudonym.
    author, reason
        For the history and the trail; the reason names no person.

    Raises
    ------
    UsageProblem
        No such table or row, no reason, or the patient is under legal hold.
    BatchRefused
        Other rows hang on it; nothing was written.
    """
    author = require(Action.WITHDRAW, registry).author(author)
    table, parts = _named(registry, name, key)
    if not reason.strip():
        raise UsageProblem("A row is withdrawn with a reason. Give one with --reason.")
    said = " / ".join(part for part in parts if part)
    asked = audit.Entry(author, "withdraw", table.name, said, {})
    with holds.refusal_on_record(registry, asked), registry.writing() as cursor:
        place, row = _found(cursor, table, parts)
        if patient := _patient(cursor, row):
            holds.refuse_if_held(cursor, patient)
        if hanging := _hanging(cursor, table, row):
            listed = ", ".join(f"{grouped(count)} of {other}" for other, count in hanging.items())
            raise BatchRefused(
                f"{table.name} {said}: other rows hang on it: {listed}. Nothing was withdrawn. Withdraw those first."
            )
        stamp = write.next_stamp(registry, cursor, author, reason)
        reopened = _decided(cursor, table, row)
        write.withdraw_at(cursor, table, place, stamp)
        if procedure := row.get("procedure_id"):
            facts.refresh(cursor, [procedure])
        cursor.execute("UPDATE facts_state SET revision = revision + 1")
        write.record_no_rows(
            registry,
            cursor,
            stamp,
            format_="withdrawal",
            action="withdraw",
            names=[table.name],
            details={"table": table.name, "key": said},
        )
    _withdraw_apart(registry, table, row, stamp)
    return Withdrawal(table.name, said, stamp.batch_id, reopened)


# -- the row -----------------------------------------------------------------------


def _named(registry: Registry, name: str, key: Sequence[str]) -> tuple[Table, list[str]]:
    """The table, and the key as it is stored."""
    table = tables().get(name)
    if table is None:
        near = difflib.get_close_matches(name, TABLE_ORDER, n=1)
        guess = f" Did you mean {near[0]}?" if near else ""
        raise UsageProblem(f"{name}: there is no such table.{guess} Known: {', '.join(TABLE_ORDER)}.")
    names, parts = KEYS[name], [part.strip() for part in key]
    optional = _MAY_BE_EMPTY.get(name)
    if optional and len(parts) == len(names) - 1:
        parts.insert(names.index(optional), "")
    if len(parts) != len(names):
        listed = " ".join(f"[{one}]" if one == optional else one for one in names)
        raise UsageProblem(
            f"{name}: a row is named by {len(names)} values: {listed}. Give them in this order."
        )
    if name == "patients":
        pseudonym = registry.pseudonyms.of(parts[0])
        is_known = registry.rows("SELECT 1 FROM patients WHERE patient = ?", [pseudonym])
        parts = [pseudonym if is_known else parts[0]]
    return table, parts


def _found(cursor: duckdb.DuckDBPyConnection, table: Table, parts: list[str]) -> tuple[int, dict[str, Any]]:
    """Row id and values of the current row."""
    tests = " AND ".join(f"coalesce(CAST({name} AS VARCHAR), '') = ?" for name in key_columns(table.name))
    columns = write.digest_columns(table)
    rows = cursor.execute(
        f"SELECT rowid, {', '.join(columns)} FROM main.{table.name} WHERE {tests}", parts
    ).fetchall()
    if not rows:
        # The identifier of a patient is not repeated.
        said = "this key" if table.name == "patients" else " / ".join(part for part in parts if part)
        raise UsageProblem(f"{table.name}: no current row has {said}. Nothing was withdrawn.")
    place, *values = rows[0]
    return int(place), dict(zip(columns, values, strict=True))


def _patient(cursor: duckdb.DuckDBPyConnection, row: dict[str, Any]) -> str:
    """Pseudonym of the patient to whom a row belongs; empty for one that belongs to none."""
    if "patient" in row:
        return str(row["patient"])
    column = next((name for name in ("finding_id", "procedure_id") if row.get(name)), "")
    if not column:
        return ""
    found = cursor.execute(
        "SELECT f.patient FROM main.findings AS f LEFT JOIN main.procedures AS p ON p.finding_id = f.finding_id "
        f"WHERE {'f' if column == 'finding_id' else 'p'}.{column} = ? LIMIT 1",
        [row[column]],
    ).fetchall()
    return str(found[0][0]) if found else ""


def _hanging(cursor: duckdb.DuckDBPyConnection, table: Table, row: dict[str, Any]) -> dict[str, int]:
    """Rows that refer to this one, or follow it in its series, by table."""
    found: dict[str, int] = {}
    for other in tables().values():
        for field in other.fields:
            if field.references != table.name:
                continue
            column = "patient" if field.name == "patient_id" else field.name
            value = row[key_columns(table.name)[0]]
            count = cursor.execute(
                f"SELECT count(*) FROM main.{other.name} WHERE {column} = ?", [value]
            ).fetchall()[0][0]
            if count:
                found[other.name] = found.get(other.name, 0) + int(count)
    for check in checks.load():
        if check.series and check.table == table.name:
            *group, number = check.series
            same = " AND ".join(f"{name} IS NOT DISTINCT FROM ?" for name in group)
            count = cursor.execute(
                f"SELECT count(*) FROM main.{table.name} WHERE {same} AND {number} > ?",
                [*(row[name] for name in group), row[number]],
            ).fetchall()[0][0]
            if count:
                found[f"{table.name} with a later {number}"] = int(count)
    return found


def _decided(cursor: duckdb.DuckDBPyConnection, table: Table, row: dict[str, Any]) -> str:
    """The procedure whose joint review rested on the row; empty where there is none."""
    if table.name != "pathology" or row["status"] == "preliminary":
        return ""
    reviewed = cursor.execute(
        "SELECT 1 FROM main.reviews WHERE stage = 'joint' AND procedure_id = ? LIMIT 1", [row["procedure_id"]]
    ).fetchall()
    return str(row["procedure_id"]) if reviewed else ""


# -- identifiers --------------------------------------------------------------------


def _withdraw_apart(registry: Registry, table: Table, row: dict[str, Any], stamp: write.Stamp) -> None:
    """Move what identity.duckdb holds of the row to its own history.

    It comes after the clinical rows: what a crash leaves behind has no effect.
    """
    if table.name not in _APART:
        return
    apart, column = _APART[table.name]
    identity = registry.identity
    identity.execute("BEGIN")
    identity.execute(
        f"INSERT INTO {apart}_history SELECT *, ? FROM {apart} WHERE {column} = ?", [stamp.at, row[column]]
    )
    identity.execute(f"DELETE FROM {apart} WHERE {column} = ?", [row[column]])
    identity.execute("COMMIT")


# -- sent again --------------------------------------------------------------------


def sent_again(batch: Batch) -> list[Problem]:
    """Rows of a batch that were withdrawn before: held until somebody confirms them."""
    found = []
    for table in batch.tables:
        name = table.name
        # A key that is in history and not current was withdrawn.
        if not has_rows(batch.cursor, f"history.{name}"):
            continue
        rows = batch.cursor.execute(
            f"SELECT s.row_no, CAST(max(h.superseded_at) AS DATE) FROM staged_{name} AS s "
            f"JOIN history.{name} AS h ON {same_key(name, 's', 'h')} WHERE s.is_new GROUP BY s.row_no ORDER BY s.row_no"
        ).fetchall()
        found += [
            Problem(
                name,
                row_no,
                KEYS[name][0],
                "withdrawn",
                REVIEW,
                f"The row with this key was withdrawn on {day}.",
                "Take it out of the file, or confirm (yes) that it is to come back.",
            )
            for row_no, day in rows
        ]
    return found
