"""One batch in work: its staged rows, their problems, and what is held.

The rows of a batch are looked at set-based. A row that is held leaves its staging
table at once, so that the rows which refer to it are held in turn, and say so.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

import polars as pl

from registry import checks
from registry.dictionary import KEYS, TABLE_ORDER, Table, tables
from registry.intake.problems import HOLD, REVIEW, WARNING, Problem, shown
from registry.intake.staging import (
    has_rows,
    key_columns,
    prepare_zone,
    same_key,
    stage,
    staged_columns,
    stored_columns,
    tables_of_batch,
    take_erased,
)

if TYPE_CHECKING:
    from datetime import date

    import duckdb

    from registry.imports.received import Received
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

    def __init__(self, registry: Registry, cursor: duckdb.DuckDBPyConnection, received: Received, today: date) -> None:
        self.registry = registry
        self.cursor = cursor
        self.received = received
        self.today = today
        self.problems: list[Problem] = []
        self.warnings: list[Problem] = []
        self.held: dict[str, set[int]] = defaultdict(set)
        self.stop = ""
        self.frames = _frames(received)
        self.tables = tables_of_batch(self.frames)
        self._confirmed = {name: _confirmed_rows(frame) for name, frame in self.frames.items()}
        self._held_keys: dict[str, set[str]] = defaultdict(set)

    # -- staging -------------------------------------------------------------------

    def stage(self) -> None:
        """Type every cell and join with what is stored."""
        self._make_patient_keys()
        self._load_identifiers()
        times = []
        for table in self.tables:
            frame = self.frames[table.name]
            erased: dict[str, list[int]] = {}
            if has_rows(self.cursor, f"main.{table.name}"):
                frame, erased = take_erased(table, frame)
            self.cursor.register(f"received_{table.name}", frame.select(_stageable(frame)).to_arrow())
            own = [f'SELECT "{f.name}" FROM received_{table.name}' for f in table.fields if f.type == "timestamp" and f.name in frame.columns]
            times.append((table, set(frame.columns), erased, own))
        if any(own for *_, own in times):
            prepare_zone(self.cursor, self.registry.site, [text for *_, own in times for text in own])
        for table, present, erased, _ in times:
            found = stage(self.cursor, table, present, self.registry.site, erased)
            self._look_for_shift(table.name, found)
            self._take(found)
            self._hold_duplicates(table)
        self._make_known()

    def _make_patient_keys(self) -> None:
        columns = [frame["patient_id"] for name in ("patients", "findings") if (frame := self.frames.get(name)) is not None and "patient_id" in frame.columns]
        identifiers = pl.concat(columns).drop_nulls().unique().to_list() if columns else []
        keys = pl.DataFrame(
            {"patient_id": identifiers, "patient": self.registry.pseudonyms.of_all(identifiers)},
            schema={"patient_id": pl.String, "patient": pl.String},
        )
        self.cursor.register("patient_key", keys.to_arrow())

    def _load_identifiers(self) -> None:
        """What identity.duckdb already holds, where the batch touches it."""
        needed = "patients" in self.frames or "procedures" in self.frames
        birth = pl.DataFrame(schema={"patient": pl.String, "birth_date": pl.Date})
        accession = pl.DataFrame(schema={"procedure_id": pl.String, "accession": pl.String})
        if needed and has_rows(self.cursor, "main.patients"):
            birth = self.registry.identity_frame("SELECT patient, birth_date FROM patient_identity", birth)
        if "procedures" in self.frames and has_rows(self.cursor, "main.procedures"):
            accession = self.registry.identity_frame("SELECT procedure_id, accession FROM procedure_accession", accession)
        self.cursor.register("stored_birth", birth.to_arrow())
        self.cursor.register("stored_accession", accession.to_arrow())

    def _needed(self) -> set[str]:
        """Tables that the checks and references of this batch read."""
        own = {table.name for table in self.tables}
        read = own | {"findings"}
        for check in checks.load():
            if check.table in own:
                read |= check.relations
        read |= {field.references for table in self.tables for field in table.fields if field.references}
        return read & tables().keys()

    def _make_known(self) -> None:
        """Relations ``checked_`` and ``known_`` of every table, for the checks."""
        for name in sorted(self._needed()):
            table = tables()[name]
            columns = ", ".join(stored_columns(table))
            if name not in self.frames:
                self.cursor.execute(f"CREATE OR REPLACE TEMP VIEW known_{name} AS SELECT {columns} FROM main.{name}")
                continue
            extra = ", is_stated_age" if name == "procedures" else ""
            apart = ", ".join(staged_columns(table))
            self.cursor.execute(f"CREATE OR REPLACE TEMP VIEW checked_{name} AS SELECT row_no, {apart}{extra} FROM staged_{name}")
            stored = ""
            if has_rows(self.cursor, f"main.{name}"):
                stored = (
                    f" UNION ALL SELECT {columns} FROM main.{name} AS m WHERE NOT EXISTS "
                    f"(SELECT 1 FROM staged_{name} AS s WHERE {same_key(name, 'm', 's')})"
                )
            self.cursor.execute(f"CREATE OR REPLACE TEMP VIEW known_{name} AS SELECT {columns} FROM staged_{name}{stored}")
        birth = "SELECT patient, birth_date FROM stored_birth WHERE birth_date IS NOT NULL"
        if "patients" in self.frames:
            birth = (
                "SELECT patient, birth_date FROM staged_patients WHERE birth_date IS NOT NULL UNION ALL "
                "SELECT patient, birth_date FROM stored_birth AS b WHERE birth_date IS NOT NULL AND NOT EXISTS "
                "(SELECT 1 FROM staged_patients AS s WHERE s.patient = b.patient)"
            )
        accession = "SELECT procedure_id, accession FROM stored_accession"
        if "procedures" in self.frames:
            accession = (
                "SELECT procedure_id, accession FROM staged_procedures WHERE accession IS NOT NULL UNION ALL "
                "SELECT procedure_id, accession FROM stored_accession AS b WHERE NOT EXISTS "
                "(SELECT 1 FROM staged_procedures AS s WHERE s.procedure_id = b.procedure_id)"
            )
        self.cursor.execute(f"CREATE OR REPLACE TEMP VIEW known_birth AS {birth}")
        self.cursor.execute(f"CREATE OR REPLACE TEMP VIEW known_accession AS {accession}")

    # -- holding -------------------------------------------------------------------

    def _take(self, found: list[Problem]) -> bool:
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
        if key in self.frames[name].columns:
            self._held_keys[name].update(
                value for value in self.frames[name][key].gather(sorted(rows)).to_list() if value is not None
            )
        numbers = pl.DataFrame({"row_no": sorted(rows)}, schema={"row_no": pl.Int32})
        self.cursor.register("rows_to_hold", numbers.to_arrow())
        self.cursor.execute(f"DELETE FROM staged_{name} WHERE row_no IN (SELECT row_no FROM rows_to_hold)")
        self.cursor.unregister("rows_to_hold")

    def _hold_duplicates(self, table: Table) -> None:
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
        hint = "Keep one of them." + (" A later version of a report has its own version number." if table.name == "pathology" else "")
        for members in groups.values():
            lines = ", ".join(str(self.line(table.name, row)) for row in members)
            found += [
                Problem(table.name, row, table.key[0], "duplicate_key", HOLD, f"The same key stands in lines {lines}; none of them is taken.", hint)
                for row in members
            ]
        self._take(found)

    def _look_for_shift(self, name: str, found: list[Problem]) -> None:
        """Refuse a file whose rows look shifted by one column from some line on."""
        cells: dict[int, int] = defaultdict(int)
        for problem in found:
            cells[problem.row_no] += 1
        shifted = sorted(row for row, count in cells.items() if count >= _SHIFTED_CELLS)
        if len(shifted) < _SHIFTED_ROWS:
            return
        last = self.frames[name].height
        if len(shifted) >= _SHIFTED_SHARE * (last - shifted[0]):
            self.stop = (
                f"{self.file(name, shifted[0])}: looks shifted by one column from line {self.line(name, shifted[0])} "
                f"({len(shifted)} rows with unreadable cells). Nothing was imported. Compare that line with the header."
            )

    # -- checking ------------------------------------------------------------------

    def check(self) -> None:
        """References, then the data checks, table by table until nothing more is held."""
        checks.prepare(self.cursor)
        by_table: dict[str, list[checks.Check]] = defaultdict(list)
        for check in checks.load():
            if check.severity != "note":
                by_table[check.table].append(check)
        for table in self.tables:
            while True:
                fresh = self._hold_broken_references(table)
                offences = checks.run(self.cursor, by_table[table.name], self.today)
                stopping = [offence for offence in offences if offence.check.severity == "stop"]
                if stopping and not self.stop:
                    offence = stopping[0]
                    self.stop = (
                        f"{self.file(table.name, offence.row_no)}, line {self.line(table.name, offence.row_no)}, column "
                        f"{self.header(table.name, offence.check.column)}: {offence.message} {offence.check.hint} Nothing was imported."
                    )
                holding = [_problem(offence) for offence in offences if offence.check.severity in (HOLD, REVIEW)]
                confirmed = self._confirmed[table.name]
                standing = [p for p in holding if not (p.severity == REVIEW and p.row_no in confirmed)]
                fresh = self._take(standing) or fresh
                if not fresh:
                    self._take([p for p in holding if p not in standing])
                    self.warnings += [_problem(offence) for offence in offences if offence.check.severity == WARNING]
                    break
        if self.received.grouped:
            self._hold_whole_lines()

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
                found = []
                for row_no, value in rows:
                    said = shown(value, field.sensitive)
                    if field.sensitive or value in self._held_keys[field.references]:
                        what = f"The row of {field.references} it refers to is held or not known."
                    else:
                        what = f"{said} is not known in {field.references}."
                    found.append(Problem(table.name, row_no, field.name, "reference", HOLD, what, f"Send or correct the {field.references} row first, or with this one."))
                if not self._take(found):
                    break
                fresh = True
                if field.references != table.name:
                    break
        return fresh

    def _hold_whole_lines(self) -> None:
        """Where one source line feeds several tables, its rows are held together."""
        while True:
            lines = {
                (self.file(name, row), self.line(name, row)) for name, rows in self.held.items() for row in rows
            } | {(one.file, one.line) for one in self.received.malformed}
            fresh = False
            for table in self.tables:
                frame = self.frames[table.name]
                places = zip(frame["_file"], frame["_line"], frame["_row"], strict=True)
                rows = {row for file, line, row in places if (file, line) in lines} - self.held[table.name]
                if rows:
                    fresh = True
                    self._remove(table.name, rows)
            for table in self.tables:
                fresh = self._hold_broken_references(table) or fresh
            if not fresh:
                return

    # -- places --------------------------------------------------------------------

    def line(self, table: str, row_no: int) -> int:
        """Line of the source in which a row starts."""
        return int(self.frames[table]["_line"][row_no])

    def file(self, table: str, row_no: int) -> str:
        """File from which a row came."""
        return str(self.frames[table]["_file"][row_no])

    def header(self, table: str, column: str) -> str:
        """Header under which the source carries a field."""
        for source in self.received.tables:
            if source.table == table and column in source.columns:
                return source.columns[column]
        return column


def _frames(received: Received) -> dict[str, pl.DataFrame]:
    """One frame a table, over all files, with ``_row`` and ``_file``."""
    parts: dict[str, list[pl.DataFrame]] = defaultdict(list)
    for source in received.tables:
        parts[source.table].append(source.frame.with_columns(pl.lit(source.file).alias("_file")))
    made = {}
    for name in TABLE_ORDER:
        if name in parts:
            whole = parts[name][0] if len(parts[name]) == 1 else pl.concat(parts[name], how="diagonal")
            made[name] = whole.with_row_index("_row")
    return made


def _stageable(frame: pl.DataFrame) -> list[str]:
    return [name for name in frame.columns if not name.startswith("_") or name == "_row"]


def _confirmed_rows(frame: pl.DataFrame) -> set[int]:
    if "_confirm" not in frame.columns:
        return set()
    return set(frame.filter(pl.col("_confirm").str.to_lowercase() == "yes")["_row"].to_list())


def _as_confirmed(problem: Problem) -> Problem:
    return Problem(problem.table, problem.row_no, problem.column, problem.rule, WARNING, f"Confirmed by the sender: {problem.message}", problem.hint)


def _problem(offence: checks.Offence) -> Problem:
    check = offence.check
    return Problem(check.table, offence.row_no, check.column, check.name, check.severity, offence.message, check.hint)
