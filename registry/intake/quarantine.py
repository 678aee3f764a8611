"""Held rows: their cells, the file in which they go back, and how they are closed."""

from __future__ import annotations

import csv
import json
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from registry import audit
from registry.errors import UsageProblem
from registry.intake.followers import OWN_LINE, REFERENCE
from registry.intake.report import ReportedProblem
from registry.people import Action, require
from registry.people.reads import note_read

if TYPE_CHECKING:
    from pathlib import Path

    import duckdb

    from registry.intake.batch import Batch
    from registry.store import Registry

#: Columns added to the original ones in a file of held rows.
ADDED_COLUMNS = ("problem", "hint", "quarantine_id", "confirm")


@dataclass(frozen=True)
class HeldRow:
    """One source row that was held, with all its problems."""

    quarantine_id: str
    table: str
    file: str
    line: int
    cells: dict[str, str | None]
    problems: tuple[ReportedProblem, ...]


def collect(batch: Batch, batch_id: int) -> list[HeldRow]:
    """Held rows of a batch in the order of their places, with their original cells."""
    found: dict[tuple[str, str, int], list[ReportedProblem]] = defaultdict(list)
    cells: dict[tuple[str, str, int], dict[str, str | None]] = {}
    grouped = batch.received.grouped
    for name, rows in batch.held.items():
        frame = batch.sources.frame(name)
        for row in sorted(rows):
            place = ("" if grouped else name, batch.file(name, row), batch.line(name, row))
            found.setdefault(place, [])
            if place not in cells:
                cells[place] = _cells(batch, frame, name, row)
    for problem in batch.problems:
        place = (
            "" if grouped else problem.table,
            batch.file(problem.table, problem.row_no),
            batch.line(problem.table, problem.row_no),
        )
        found[place].append(
            ReportedProblem(
                place[1],
                place[2],
                problem.table,
                batch.header(problem.table, problem.column),
                problem.rule,
                problem.severity,
                problem.message,
                problem.hint,
            )
        )
    for one in batch.received.malformed:
        place = ("" if grouped else one.table or "", one.file, one.line)
        found[place].append(
            ReportedProblem(
                one.file, one.line, one.table or "", one.place, one.rule, "hold", one.message, one.hint
            )
        )
        cells.setdefault(place, dict(one.cells) if one.raw is None else {"(unreadable row)": one.raw})
    held = []
    for number, place in enumerate(sorted(found, key=lambda p: (p[1], p[2], p[0])), start=1):
        mark = f"{batch_id}-{number}"
        problems = [
            ReportedProblem(**{**p.__dict__, "quarantine_id": mark}) for p in _without_echo(found[place])
        ]
        held.append(HeldRow(mark, place[0], place[1], place[2], cells[place], tuple(problems)))
    return held


def _without_echo(problems: list[ReportedProblem]) -> list[ReportedProblem]:
    """In a row held together, the broken references that follow from its own problem say nothing new."""
    causes = [one for one in problems if one.rule not in (REFERENCE, OWN_LINE)]
    return causes or [one for one in problems if one.rule != OWN_LINE] or problems


def _cells(batch: Batch, frame: pl.DataFrame, name: str, row: int) -> dict[str, str | None]:
    file = batch.file(name, row)
    if (originals := batch.received.originals.get(file)) is not None:
        match = originals.filter(pl.col("_line") == batch.line(name, row))
        if match.height:
            return {key: value for key, value in match.row(0, named=True).items() if key != "_line"}
    return {key: value for key, value in frame.row(row, named=True).items() if not key.startswith("_")}


def as_frame(held: list[HeldRow]) -> pl.DataFrame:
    """quarantine_id and cells (JSON) of each held row, for identity.duckdb."""
    return pl.DataFrame(
        {
            "quarantine_id": [one.quarantine_id for one in held],
            "cells": [json.dumps(one.cells, ensure_ascii=False) for one in held],
        },
        schema={"quarantine_id": pl.String, "cells": pl.String},
    )


def record(cursor: duckdb.DuckDBPyConnection, held: list[HeldRow], batch_id: int) -> None:
    """Write the held rows and their problems, without their cells, into the registry."""
    if not held:
        return
    rows = pl.DataFrame(
        [
            (one.quarantine_id, batch_id, one.table, one.file, one.line, "open", len(one.problems))
            for one in held
        ],
        schema={
            "quarantine_id": pl.String,
            "batch_id": pl.Int32,
            "table_name": pl.String,
            "file": pl.String,
            "line": pl.Int32,
            "state": pl.String,
            "problems": pl.Int32,
        },
        orient="row",
    )
    cursor.register("held_rows", rows.to_arrow())
    cursor.execute(
        "INSERT INTO quarantine SELECT quarantine_id, batch_id, table_name, file, line, state, problems, NULL, NULL, NULL, NULL FROM held_rows"
    )
    cursor.unregister("held_rows")
    problems = pl.DataFrame(
        [
            (p.quarantine_id, p.column, p.rule, p.severity, p.message, p.hint)
            for one in held
            for p in one.problems
        ],
        schema=dict.fromkeys(
            ("quarantine_id", "column_name", "rule", "severity", "message", "hint"), pl.String
        ),
        orient="row",
    )
    cursor.register("held_problems", problems.to_arrow())
    cursor.execute("INSERT INTO quarantine_problem SELECT * FROM held_problems")
    cursor.unregister("held_problems")


def write_files(folder: Path, held: list[HeldRow]) -> list[str]:
    """Write the held rows as CSV files that can be corrected and imported again.

    One file per source file, columns as they came, with ``problem``, ``hint``,
    ``quarantine_id`` and ``confirm`` added. Returns the paths.
    """
    by_file: dict[str, list[HeldRow]] = defaultdict(list)
    for one in held:
        by_file[one.file].append(one)
    made = []
    for file, rows in sorted(by_file.items()):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        columns = list(dict.fromkeys(key for one in rows for key in one.cells))
        path = folder / f"{file.replace('/', '_').rsplit('.', 1)[0]}.csv"
        with path.open("w", newline="", encoding="utf-8") as handle:
            writer = csv.writer(handle, lineterminator="\n")
            writer.writerow([*columns, *ADDED_COLUMNS])
            for one in rows:
                problem = " ".join(
                    f"{p.column}: {p.message}" if p.column else p.message for p in one.problems
                )
                hint = " ".join(dict.fromkeys(p.hint for p in one.problems if p.hint))
                writer.writerow(
                    [
                        *(one.cells.get(column) or "" for column in columns),
                        problem,
                        hint,
                        one.quarantine_id,
                        "",
                    ]
                )
        path.chmod(0o600)
        made.append(str(path))
    return made


def resubmitted(
    cursor: duckdb.DuckDBPyConnection, batch: Batch, held: list[HeldRow], batch_id: int, actor: str
) -> int:
    """Close the open held rows that this batch answers; returns how many there were.

    A row answers another when it carries its ``quarantine_id``, or when it is the same
    row sent again and held again.
    """
    marks = []
    for name in batch.sources.names:
        marks += batch.sources.marks(name)
    marks += [one.quarantine_id for one in batch.received.malformed if one.quarantine_id]
    marks += _held_before(batch, held)
    marks = sorted(set(marks))
    if not marks:
        return 0
    cursor.register("answered", pl.DataFrame({"quarantine_id": marks}).to_arrow())
    count = cursor.execute(
        "SELECT count(*) FROM quarantine WHERE state = 'open' AND quarantine_id IN (SELECT quarantine_id FROM answered)"
    ).fetchall()[0][0]
    cursor.execute(
        "UPDATE quarantine SET state = 'fixed', resolved_at = ?, resolved_by = ?, resolved_batch = ?, resolution = 'sent again' "
        "WHERE state = 'open' AND quarantine_id IN (SELECT quarantine_id FROM answered)",
        [batch.registry.clock().replace(tzinfo=None), actor, batch_id],
    )
    cursor.unregister("answered")
    return int(count)


def _held_before(batch: Batch, held: list[HeldRow]) -> list[str]:
    """Held rows of earlier batches whose cells are those of a row held now."""
    if not held:
        return []
    identity = batch.registry.identity
    identity.register("held_now", as_frame(held).to_arrow())
    rows = identity.execute(
        "SELECT h.quarantine_id FROM held_row AS h JOIN held_now AS n ON n.cells = h.cells AND n.quarantine_id <> h.quarantine_id"
    ).fetchall()
    return [row[0] for row in rows]


def open_rows(registry: Registry) -> pl.DataFrame:
    """Problems of the rows that are held: quarantine_id, file, line, table, column, message, hint."""
    require(Action.WORKLISTS, registry)
    return registry.frame(
        "SELECT q.quarantine_id, q.file, q.line, q.table_name AS table_name, p.column_name, p.severity, p.message, p.hint "
        "FROM quarantine AS q JOIN quarantine_problem AS p ON p.quarantine_id = q.quarantine_id "
        "WHERE q.state = 'open' ORDER BY q.batch_id, q.file, q.line, p.column_name"
    )


def held_file(registry: Registry, path: Path) -> bytes:
    """A file of held rows as it was written for correction, identifiers included; the look is in the trail.

    Raises
    ------
    Refused
        The actor may not see identifiers.
    UsageProblem
        The file is not one of the folder ``held``.
    """
    key = f"{path.parent.name}/{path.name}"
    actor = require(Action.IDENTIFIERS, registry, kind="held file", key=key)
    if not path.resolve().is_relative_to(registry.folder / "held"):
        raise UsageProblem(f"{path.name}: is no file of held rows.")
    note_read(registry, actor, "held file", key, Action.IDENTIFIERS)
    return path.read_bytes()


def dismiss(registry: Registry, quarantine_id: str, actor: str, reason: str) -> None:
    """Close a held row for good, by a named person with a reason.

    Raises
    ------
    UsageProblem
        No such row is open, or the reason is empty.
    """
    actor = require(Action.WITHDRAW, registry).author(actor)
    if not reason.strip():
        raise UsageProblem("A held row is dismissed with a reason. Give one.")
    with registry.writing() as cursor:
        if not cursor.execute(
            "SELECT 1 FROM quarantine WHERE quarantine_id = ? AND state = 'open'", [quarantine_id]
        ).fetchall():
            raise UsageProblem(f"{quarantine_id}: no such row is held. See the list of held rows.")
        cursor.execute(
            "UPDATE quarantine SET state = 'dismissed', resolved_at = ?, resolved_by = ?, resolution = ? WHERE quarantine_id = ?",
            [registry.clock().replace(tzinfo=None), actor, reason, quarantine_id],
        )
        cursor.execute("UPDATE facts_state SET revision = revision + 1")
        audit.append(
            cursor,
            registry.key,
            registry.clock(),
            audit.Entry(actor, "dismiss", "held_row", quarantine_id, {"reason": reason}),
        )
