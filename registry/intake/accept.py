"""The only way into the registry: check a batch, then write it in one transaction."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Any

from registry import __version__, audit, facts
from registry.dictionary import tables
from registry.errors import FileProblem
from registry.intake import identifiers, quarantine, reading, relations, write
from registry.intake.batch import Batch
from registry.intake.problems import WARNING
from registry.intake.reopen import reopened_procedures
from registry.intake.report import IntakeReport, ReportedProblem, RowCounts
from registry.numerals import grouped
from registry.people import Action, require

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    import duckdb

    from registry.imports.received import Received
    from registry.store import Registry

#: Up to this many procedures the kept facts are refreshed one by one; beyond it they
#: are rebuilt, which is then quicker.
REFRESH_LIMIT = 500


@dataclass(frozen=True)
class Options:
    """How a batch is taken: see the import command."""

    dry_run: bool = False
    all_or_nothing: bool = False
    held_share_max: float | None = None
    reason: str = "import"
    held_folder: Path | None = None


class _NothingWritten(Exception):
    """Leaves the transaction without a commit, carrying the report."""

    def __init__(self, report: IntakeReport) -> None:
        super().__init__(report.refused)
        self.report = report


def accept(
    registry: Registry, received: Received, *, author: str, today: date, options: Options | None = None
) -> IntakeReport:
    """Check what was received and write what passes.

    Parameters
    ----------
    registry
        Open for writing.
    received
        What a reader made of the source.
    author
        Who sends it, for the rows and the trail.
    today
        The day at the site; nothing may have started later.
    options
        Dry run, all or nothing, and where the file of held rows goes.

    Returns
    -------
    IntakeReport
        Every received row is in it, as new, new version, unchanged or held.

    Raises
    ------
    NotSaved
        The registry could not take the change; nothing of it was written.
    """
    author = require(Action.ENTER, registry).author(author)
    chosen = options or Options()
    _keep_raw(received, _raw_folder(registry, chosen))
    try:
        with registry.writing() as cursor:
            report, held = _accept_in(registry, cursor, received, author, today, chosen)
    except _NothingWritten as nothing:
        if not chosen.dry_run:
            registry.record(
                audit.Entry(
                    author,
                    "import",
                    "batch",
                    "",
                    {"files": _files(received), "why": nothing.report.refused},
                    "refused",
                )
            )
        return nothing.report
    if held:
        folder = chosen.held_folder or registry.folder / "held" / f"batch-{report.batch_id:04d}"
        report = IntakeReport(
            **{**report.__dict__, "held_files": tuple(quarantine.write_files(folder, held))}
        )
    return report


def _accept_in(
    registry: Registry,
    cursor: duckdb.DuckDBPyConnection,
    received: Received,
    author: str,
    today: date,
    options: Options,
) -> tuple[IntakeReport, list[quarantine.HeldRow]]:
    batch_id = int(cursor.execute("SELECT coalesce(max(batch_id), 0) + 1 FROM import_batch").fetchall()[0][0])
    stamp = write.Stamp(
        registry.clock().astimezone(UTC).replace(tzinfo=None), author, batch_id, options.reason
    )
    batch = Batch(registry, cursor, received, today, stamp, _raw_folder(registry, options))
    reading.read(batch)
    if not batch.stop:
        batch.check()
    held = quarantine.collect(batch, batch_id)
    notes = [*received.notes, *_seen_before(cursor, received)]
    outcome = _outcome(batch, held)
    base = IntakeReport(
        None,
        options.dry_run,
        outcome.total,
        outcome.tables,
        tuple(problem for row in held for problem in row.problems),
        _warnings(batch),
        tuple(notes),
        counted="line" if received.grouped else "row",
    )
    refused = batch.stop or _too_many_held(registry, base, options)
    if refused or options.dry_run:
        raise _NothingWritten(IntakeReport(**{**base.__dict__, "refused": refused}))
    names = {table.name for table in batch.tables}
    if held or names & {"patients", "procedures"}:
        identifiers.write(cursor, registry.identity, names, quarantine.as_frame(held), stamp, batch.erased)
    # In a first load no decision stood before that a report could open again.
    reopened = [] if batch.in_place else reopened_procedures(cursor, names)
    for table in batch.tables:
        write.write_table(cursor, table, stamp, in_place=table.name in batch.in_place)
    if "patients" in names:
        write.correct_ages(cursor, stamp)
    if "procedures" in names:
        write.update_roots(cursor)
    relations.drop_visits(cursor)
    _refresh_facts(cursor, batch)
    answered = quarantine.resubmitted(cursor, batch, held, batch_id, author)
    quarantine.record(cursor, held, batch_id)
    report = IntakeReport(
        **{**base.__dict__, "batch_id": batch_id, "resubmitted": answered, "reopened": tuple(reopened)}
    )
    _record_batch(registry, cursor, received, report, stamp)
    return report, held


# -- counting ----------------------------------------------------------------------


@dataclass(frozen=True)
class _Outcome:
    total: RowCounts
    tables: dict[str, RowCounts]


def _outcome(batch: Batch, held: list[quarantine.HeldRow]) -> _Outcome:
    """Reconciliation per table and in all; by source line where one feeds several tables."""
    counts = {}
    state: dict[tuple[str, int], str] = {}
    malformed: dict[str, set[tuple[str, int]]] = {}
    for one in batch.received.malformed:
        malformed.setdefault(one.table or "", set()).add((one.file, one.line))
    for table in batch.tables:
        name = table.name
        new, version, unchanged = batch.cursor.execute(
            f"SELECT count(*) FILTER (WHERE is_new), count(*) FILTER (WHERE is_changed), "
            f"count(*) FILTER (WHERE NOT is_new AND NOT is_changed) FROM staged_{name}"
        ).fetchall()[0]
        unreadable = 0 if batch.received.grouped else len(malformed.get(name, ()))
        counts[name] = RowCounts(
            batch.sources.height(name) + unreadable,
            new,
            version,
            unchanged,
            len(batch.held[name]) + unreadable,
        )
        if batch.received.grouped:
            rows = batch.cursor.execute(f"SELECT row_no, is_new, is_changed FROM staged_{name}").fetchall()
            for row_no, is_new, is_changed in rows:
                place = (batch.file(name, row_no), batch.line(name, row_no))
                rank = "new" if is_new else "version" if is_changed else "unchanged"
                state[place] = min(state.get(place, rank), rank, key=("new", "version", "unchanged").index)
    if not batch.received.grouped:
        extra = {name: rows for name, rows in malformed.items() if name not in counts}
        for name, rows in extra.items():
            counts[name or "(unreadable)"] = RowCounts(len(rows), 0, 0, 0, len(rows))
        total = RowCounts(
            *(
                sum(getattr(c, part) for c in counts.values())
                for part in ("received", "new", "version", "unchanged", "held")
            )
        )
        return _Outcome(total, counts)
    tally = {
        rank: sum(1 for value in state.values() if value == rank) for rank in ("new", "version", "unchanged")
    }
    received = len(state) + len(held)
    return _Outcome(
        RowCounts(received, tally["new"], tally["version"], tally["unchanged"], len(held)), counts
    )


def _warnings(batch: Batch) -> tuple[ReportedProblem, ...]:
    return tuple(
        ReportedProblem(
            batch.file(p.table, p.row_no),
            batch.line(p.table, p.row_no),
            p.table,
            batch.header(p.table, p.column),
            p.rule,
            WARNING,
            p.message,
            p.hint,
        )
        for p in batch.warnings
    )


def _too_many_held(registry: Registry, report: IntakeReport, options: Options) -> str:
    total = report.total
    if options.all_or_nothing and total.held:
        return f"{grouped(total.held)} of {grouped(total.received)} {report.counted}s would be held, and all or nothing was asked for. Nothing was imported."
    numbers = registry.site.numbers
    share = options.held_share_max if options.held_share_max is not None else numbers["held_share_max"]
    if total.received >= numbers["held_share_from_rows"] and total.held > share * total.received:
        return (
            f"{grouped(total.held)} of {grouped(total.received)} {report.counted}s would be held, more than {share:.0%}. Nothing was imported. "
            "Correct the file, or raise the share with --held-share-max."
        )
    return ""


# -- trail -------------------------------------------------------------------------


def _files(received: Received) -> list[dict[str, Any]]:
    return [{"name": one.name, "sha256": one.sha256, "size": one.size} for one in received.files]


def _raw_folder(registry: Registry, options: Options) -> Path:
    """Where received files are read from; a dry run leaves none behind."""
    return registry.folder / ("tmp" if options.dry_run else "raw")


def _keep_raw(received: Received, place: Path) -> None:
    """Store what was received under its hash, before anything is made of it.

    Raises
    ------
    FileProblem
        A file is no longer what was read.
    """
    place.mkdir(mode=0o700, exist_ok=True)
    for one in received.files:
        kept = place / one.sha256
        if kept.exists():
            continue
        shutil.copyfile(one.path, kept)
        kept.chmod(0o600)
        with kept.open("rb") as handle:
            if hashlib.file_digest(handle, "sha256").hexdigest() != one.sha256:
                kept.unlink()
                raise FileProblem(
                    f"{one.name}: changed while it was being read. Nothing was imported. Import it again when it is complete."
                )


def _seen_before(cursor: duckdb.DuckDBPyConnection, received: Received) -> list[str]:
    notes = []
    for one in received.files:
        rows = cursor.execute(
            "SELECT batch_id, CAST(started_at AS DATE) FROM import_batch WHERE contains(files, ?) ORDER BY batch_id LIMIT 1",
            [one.sha256],
        ).fetchall()
        if rows:
            notes.append(
                f"{one.name}: the same file was already imported on {rows[0][1]} (batch {rows[0][0]})."
            )
    return notes


def _refresh_facts(cursor: duckdb.DuckDBPyConnection, batch: Batch) -> None:
    names = [table.name for table in batch.tables]
    touched = None if batch.in_place else write.touched_procedures(cursor, names, REFRESH_LIMIT)
    if touched is None:
        facts.rebuild(cursor)
    elif touched:
        facts.refresh(cursor, touched)
    cursor.execute("UPDATE facts_state SET revision = revision + 1")


def _record_batch(
    registry: Registry,
    cursor: duckdb.DuckDBPyConnection,
    received: Received,
    report: IntakeReport,
    stamp: write.Stamp,
) -> None:
    total = report.total
    cursor.execute(
        "INSERT INTO import_batch VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            stamp.batch_id,
            stamp.at,
            stamp.author,
            received.format,
            received.mapping_name or None,
            received.mapping_version or None,
            received.mapping_sha256 or None,
            json.dumps(_files(received)),
            __version__,
            total.received,
            report.resubmitted,
            total.new,
            total.version,
            total.unchanged,
            total.held,
            stamp.reason,
        ],
    )
    cursor.executemany(
        "INSERT INTO batch_rows VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            (stamp.batch_id, name, c.received, c.new, c.version, c.unchanged, c.held)
            for name, c in report.tables.items()
        ]
        or [(stamp.batch_id, "", 0, 0, 0, 0, 0)],
    )
    for warning in report.warnings[:1000]:
        cursor.execute(
            "INSERT INTO batch_warning VALUES (?, ?, ?, ?, ?, ?, ?)",
            [
                stamp.batch_id,
                warning.table,
                warning.file,
                warning.line,
                warning.column,
                warning.rule,
                warning.message,
            ],
        )
    details = {
        "files": _files(received),
        "format": received.format,
        "mapping": received.mapping_sha256,
        "rows": {
            "received": total.received,
            "new": total.new,
            "version": total.version,
            "unchanged": total.unchanged,
            "held": total.held,
        },
        "reopened": list(report.reopened),
        "tables": {
            name: state
            for name, state in write.table_states(cursor).items()
            if name.removeprefix("history.") in tables()
        },
    }
    audit.append(
        cursor,
        registry.key,
        registry.clock(),
        audit.Entry(stamp.author, "import", "batch", str(stamp.batch_id), details),
    )
