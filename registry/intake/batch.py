"""One batch in work: its staged rows, their problems, and what is held.

The rows of a batch are looked at set-based. A row that is held leaves its staging
table at once, so that the rows which refer to it are held in turn, and say so.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

import polars as pl

from registry import checks
from registry.dictionary import KEYS, Table
from registry.intake import followers
from registry.intake.dependents import contradicted
from registry.intake.problems import HOLD, REVIEW, WARNING, Problem
from registry.intake.relations import make_visits
from registry.intake.sources import Sources
from registry.intake.staging import key_columns, same_key, tables_of_batch
from registry.intake.withdrawal import sent_again

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    import duckdb

    from registry.imports.received import Received
    from registry.intake.write import Stamp
    from registry.store import Registry

#: A row with this many unreadable cells looks shifted; so does a file in which nearly
#: all rows from some line on do.
_SHIFTED_CELLS = 3
_SHIFTED_ROWS = 5
_SHIFTED_SHARE = 0.8


class Batch:
    """Stages and checks what was received; writes nothing.

    ``problems`` lists what holds a row, ``warnings`` what does not, ``held`` the rows
    that are held by table, ``stop`` the sentence that refuses the whole batch.
    """

    def __init__(
        self,
        registry: Registry,
        cursor: duckdb.DuckDBPyConnection,
        received: Received,
        today: date,
        stamp: Stamp,
        raw: Path,
    ) -> None:
        self.registry = registry
        self.cursor = cursor
        self.received = received
        self.today = today
        self.stamp = stamp
        self.raw = raw
        self.problems: list[Problem] = []
        self.warnings: list[Problem] = []
        self.held: dict[str, set[int]] = defaultdict(set)
        self.stop = ""
        self.sources = Sources(received)
        self.tables = tables_of_batch(self.sources.names)
        self._confirmed = {name: self.sources.confirmed(name) for name in self.sources.names}
        # Key as sent -> row, of the rows that are held; for those that refer to them.
        self.held_keys: dict[str, dict[str, int]] = defaultdict(dict)
        # Rows in which a field is to be emptied, by table and field.
        self.erased: dict[str, dict[str, list[int]]] = {}
        # Row id of the first row, for the tables whose rows already lie in place.
        self.in_place: dict[str, int] = {}

    # -- holding -------------------------------------------------------------------

    def take(self, found: list[Problem]) -> bool:
        """Keep problems and hold their rows; True where a row was newly held."""
        by_table: dict[str, set[int]] = defaultdict(set)
        for problem in found:
            if problem.severity == WARNING:
                self.warnings.append(problem)
                continue
            if problem.severity == REVIEW and problem.row_no in self._confirmed[problem.table]:
                self.warnings.append(_as_confirmed(problem))
                continue
            self.problems.append(problem)
            by_table[problem.table].add(problem.row_no)
        fresh = False
        for name, rows in by_table.items():
            new = rows - self.held[name]
            if new:
                fresh = True
                self._remove(name, new)
        return fresh

    def _remove(self, name: str, rows: set[int]) -> None:
        self.held[name] |= rows
        key = KEYS[name][0]
        frame = self.sources.frame(name)
        if key in frame.columns:
            for row, value in zip(sorted(rows), frame[key].gather(sorted(rows)).to_list(), strict=True):
                if value is not None:
                    self.held_keys[name].setdefault(value, row)
        numbers = pl.DataFrame({"row_no": sorted(rows)}, schema={"row_no": pl.Int64})
        self.cursor.register("rows_to_hold", numbers.to_arrow())
        if name in self.in_place:
            base = self.in_place[name]
            self.cursor.execute(
                f"DELETE FROM main.{name} WHERE rowid IN (SELECT row_no + {base} FROM rows_to_hold)"
            )
        else:
            self.cursor.execute(
                f"DELETE FROM staged_{name} WHERE row_no IN (SELECT row_no FROM rows_to_hold)"
            )
        self.cursor.unregister("rows_to_hold")

    def hold_duplicates(self, table: Table) -> None:
        """Hold every row whose key stands more than once in the batch."""
        keys = ", ".join(key_columns(table.name))
        repeated = f"SELECT {keys} FROM staged_{table.name} GROUP BY {keys} HAVING count(*) > 1"
        rows = self.cursor.execute(
            f"SELECT s.row_no, {', '.join(f's.{name}' for name in key_columns(table.name))} "
            f"FROM staged_{table.name} AS s JOIN ({repeated}) AS d ON {same_key(table.name, 's', 'd')} ORDER BY s.row_no"
        ).fetchall()
        groups: dict[tuple[object, ...], list[int]] = defaultdict(list)
        for row_no, *key in rows:
            groups[tuple(key)].append(row_no)
        found = []
        hint = "Keep one of them." + (
            " A later version of a report has its own version number." if table.name == "pathology" else ""
        )
        for members in groups.values():
            lines = ", ".join(str(self.line(table.name, row)) for row in members)
            found += [
                Problem(
                    table.name,
                    row,
                    table.key[0],
                    "duplicate_key",
                    HOLD,
                    f"The same key stands in lines {lines}; none of them is taken.",
                    hint,
                )
                for row in members
            ]
        self.take(found)

    def look_for_shift(self, name: str, found: list[Problem]) -> None:
        """Refuse a file whose rows look shifted by one column from some line on."""
        cells: dict[int, int] = defaultdict(int)
        for problem in found:
            cells[problem.row_no] += 1
        shifted = sorted(row for row, count in cells.items() if count >= _SHIFTED_CELLS)
        if len(shifted) < _SHIFTED_ROWS:
            return
        last = self.sources.height(name)
        if len(shifted) >= _SHIFTED_SHARE * (last - shifted[0]):
            self.stop = (
                f"{self.file(name, shifted[0])}: looks shifted by one column from line {self.line(name, shifted[0])} "
                f"({len(shifted)} rows with unreadable cells). Nothing was imported. Compare that line with the header."
            )

    # -- checking ------------------------------------------------------------------

    def check(self) -> None:
        """References, then the data checks, until nothing more is held.

        First table by table; then the stored rows that a correction contradicts, and the
        rows that share a source line with a held one. Where these hold anything, what
        relied on it is looked at again.
        """
        checks.prepare(self.cursor)
        by_table: dict[str, list[checks.Check]] = defaultdict(list)
        for check in checks.load():
            if check.severity != "note":
                by_table[check.table].append(check)
        self.take(sent_again(self))
        before = list(self.warnings)
        fresh = True
        while fresh:
            self.warnings = list(before)
            own: set[tuple[str, int]] = set()
            for table in self.tables:
                own |= self._check_table(table, by_table[table.name])
            fresh = self.take(contradicted(self, own))
            if self.received.grouped:
                fresh = self._hold_whole_lines() or fresh

    def _check_table(self, table: Table, asked: list[checks.Check]) -> set[tuple[str, int]]:
        """Check one table until nothing more is held; returns check and row of what stays remarkable."""
        while True:
            fresh = self._hold_broken_references(table)
            if table.name == "procedures":
                make_visits(self)
            offences = checks.run(self.cursor, asked, self.today)
            stopping = [offence for offence in offences if offence.check.severity == "stop"]
            if stopping and not self.stop:
                offence = stopping[0]
                self.stop = (
                    f"{self.file(table.name, offence.row_no)}, line {self.line(table.name, offence.row_no)}, column "
                    f"{self.header(table.name, offence.check.column)}: {offence.message} {offence.check.hint} Nothing was imported."
                )
            holding = followers.problems(self, [o for o in offences if o.check.severity in (HOLD, REVIEW)])
            confirmed = self._confirmed[table.name]
            standing = [p for p in holding if not (p.severity == REVIEW and p.row_no in confirmed)]
            fresh = self.take(standing) or fresh
            if not fresh:
                self.take([p for p in holding if p not in standing])
                self.warnings += [
                    followers.as_problem(offence) for offence in offences if offence.check.severity == WARNING
                ]
                return {(offence.check.name, offence.row_no) for offence in offences}

    def _hold_broken_references(self, table: Table) -> bool:
        fresh = False
        for field in table.fields:
            if field.references is None:
                continue
            column = "patient" if field.name == "patient_id" else field.name
            parent = key_columns(field.references)[0]
            while True:
                rows = self.cursor.execute(
                    f"SELECT row_no, {column} FROM staged_{table.name} AS c WHERE {column} IS NOT NULL "
                    f"AND NOT EXISTS (SELECT 1 FROM known_{field.references} AS k WHERE k.{parent} = c.{column})"
                ).fetchall()
                found = followers.broken_references(self, field, rows)
                if not self.take(found):
                    break
                fresh = True
                if field.references != table.name:
                    break
        return fresh

    def _hold_whole_lines(self) -> bool:
        """Where one source line feeds several tables, its rows are held together."""
        any_fresh = False
        while True:
            lines = {
                (self.file(name, row), self.line(name, row))
                for name, rows in self.held.items()
                for row in rows
            } | {(one.file, one.line) for one in self.received.malformed}
            fresh = False
            for table in self.tables:
                frame = self.sources.frame(table.name)
                places = zip(frame["_file"], frame["_line"], frame["_row"], strict=True)
                rows = {row for file, line, row in places if (file, line) in lines} - self.held[table.name]
                if rows:
                    fresh = True
                    self._remove(table.name, rows)
            for table in self.tables:
                fresh = self._hold_broken_references(table) or fresh
            if not fresh:
                return any_fresh
            any_fresh = True

    # -- places --------------------------------------------------------------------

    def line(self, table: str, row_no: int) -> int:
        """Line of the source in which a row starts."""
        return int(self.sources.frame(table)["_line"][row_no])

    def file(self, table: str, row_no: int) -> str:
        """File from which a row came."""
        return str(self.sources.frame(table)["_file"][row_no])

    def header(self, table: str, column: str) -> str:
        """Header under which the source carries a field."""
        for source in self.received.tables:
            if source.table == table and column in source.columns:
                return source.columns[column]
        return column


def _as_confirmed(problem: Problem) -> Problem:
    return Problem(
        problem.table,
        problem.row_no,
        problem.column,
        problem.rule,
        WARNING,
        f"Confirmed by the sender: {problem.message}",
        problem.hint,
    )
