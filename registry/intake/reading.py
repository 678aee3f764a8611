"""Reading a batch: every cell typed, joined with what is stored, its keys made.

Sound files that meet an empty registry are read in place; everything else is staged
beside the tables.
"""

from __future__ import annotations

from mmap import ACCESS_READ, mmap
from typing import TYPE_CHECKING

import polars as pl

from registry import store
from registry.dictionary import Table, tables
from registry.intake.cells import ERASE
from registry.intake.in_place import load, take_persons
from registry.intake.problems import Problem
from registry.intake.relations import make_known
from registry.intake.staging import explain_rows, has_rows, stage, take_erased
from registry.intake.times import prepare_zone, settle_times, usual_zone

if TYPE_CHECKING:
    from pathlib import Path

    from registry.imports.received import CleanCsv
    from registry.intake.batch import Batch


def read(batch: Batch) -> None:
    """Type every cell and join with what is stored."""
    if _is_first_load(batch):
        _load(batch)
    else:
        _stage(batch)
    make_known(batch)


def _is_first_load(batch: Batch) -> bool:
    """Whether sound files meet an empty registry: then they are read in place."""
    if batch.received.grouped or batch.received.malformed or not batch.tables:
        return False
    if any(has_rows(batch.cursor, f"main.{name}") for name in tables()):
        return False
    sound = [batch.sources.csv(table.name) for table in batch.tables]
    return all(one is not None and not _may_erase(batch.raw / one.file.sha256) for one in sound)


def _may_erase(path: Path) -> bool:
    """Whether the erase word stands anywhere in a file: its cells are then looked at one by one."""
    word = ERASE.encode()
    with path.open("rb") as handle, mmap(handle.fileno(), 0, access=ACCESS_READ) as text:
        # One byte is looked for many times faster than a word, and few files hold it.
        first = text.find(word[:1])
        return first >= 0 and text.find(word, first) >= 0


def _load(batch: Batch) -> None:
    sound = {table.name: source for table in batch.tables if (source := batch.sources.csv(table.name))}
    _name_persons(batch, sound)
    _load_identifiers(batch)
    usual_zone(batch.cursor, batch.registry.site, batch.today.year)
    batch.cursor.execute(
        "CREATE OR REPLACE TEMP TABLE apart_patients AS SELECT '' AS patient, CAST(NULL AS DATE) AS birth_date WHERE false"
    )
    for table in batch.tables:
        source = sound[table.name]
        base = load(
            batch.cursor, table, source, batch.raw / source.file.sha256, batch.registry.site, batch.stamp
        )
        batch.in_place[table.name] = base
        found = _faulty_cells(batch, table) + settle_times(batch.cursor, table, batch.registry.site)
        batch.look_for_shift(table.name, found)
        batch.take(found)
        batch.hold_duplicates(table)


def _name_persons(batch: Batch, sound: dict[str, CleanCsv]) -> None:
    """Make ``patient_key`` of the patients in some files, and ``sent_<table>`` of each of these."""
    naming = [table for table in batch.tables if "patient_id" in sound[table.name].fields]
    for table in naming:
        source = sound[table.name]
        take_persons(batch.cursor, table, source, batch.raw / source.file.sha256)
    named = [f"SELECT patient_id FROM sent_{table.name}" for table in naming]
    listed = f"SELECT DISTINCT patient_id FROM ({' UNION ALL '.join(named)})"
    _make_patient_keys(
        batch, store.frame(batch.cursor, listed)["patient_id"] if named else pl.Series(dtype=pl.String)
    )


def _faulty_cells(batch: Batch, table: Table) -> list[Problem]:
    """Problems of the rows that were marked while the file was read in place."""
    rows = [
        row[0]
        for row in batch.cursor.execute(
            f"SELECT row_no FROM staged_{table.name} WHERE bad ORDER BY row_no"
        ).fetchall()
    ]
    if not rows:
        return []
    frame = batch.sources.frame(table.name)[rows]
    batch.cursor.register(f"received_{table.name}", frame.select(stageable(frame)).to_arrow())
    found = explain_rows(batch.cursor, table, set(frame.columns), batch.registry.site)
    batch.cursor.unregister(f"received_{table.name}")
    return found


def _stage(batch: Batch) -> None:
    identifiers = [
        frame["patient_id"]
        for name in ("patients", "findings")
        if name in batch.sources.names and "patient_id" in (frame := batch.sources.frame(name)).columns
    ]
    _make_patient_keys(batch, pl.concat(identifiers) if identifiers else pl.Series(dtype=pl.String))
    _load_identifiers(batch)
    prepared = []
    for table in batch.tables:
        # On a new row there is nothing to erase: there the word is no statement.
        frame, erased = take_erased(table, batch.sources.frame(table.name))
        batch.erased[table.name] = erased
        batch.cursor.register(f"received_{table.name}", frame.select(stageable(frame)).to_arrow())
        prepared.append((table, set(frame.columns), erased))
    times = [
        f'SELECT "{field.name}" FROM received_{table.name}'
        for table, present, _ in prepared
        for field in table.fields
        if field.type == "timestamp" and field.name in present
    ]
    if times:
        prepare_zone(batch.cursor, batch.registry.site, times)
    for table, present, erased in prepared:
        found = stage(batch.cursor, table, present, batch.registry.site, erased)
        batch.look_for_shift(table.name, found)
        batch.take(found)
        batch.hold_duplicates(table)


def _make_patient_keys(batch: Batch, named: pl.Series) -> None:
    """Make ``patient_key``: the pseudonym of each patient who is named."""
    identifiers = named.drop_nulls().unique()
    keys = pl.DataFrame(
        {"patient_id": identifiers, "patient": batch.registry.pseudonyms.of_all(identifiers)},
        schema={"patient_id": pl.String, "patient": pl.String},
    )
    batch.cursor.register("patient_key", keys.to_arrow())


def _load_identifiers(batch: Batch) -> None:
    """What identity.duckdb already holds, where the batch touches it."""
    # A finding that is corrected may move its procedures to another patient.
    needed = batch.sources.names & {"patients", "findings", "procedures"}
    birth = pl.DataFrame(schema={"patient": pl.String, "birth_date": pl.Date})
    accession = pl.DataFrame(schema={"procedure_id": pl.String, "accession": pl.String})
    if needed and has_rows(batch.cursor, "main.patients"):
        birth = batch.registry.identity_frame("SELECT patient, birth_date FROM patient_identity", birth)
    if needed & {"findings", "procedures"} and has_rows(batch.cursor, "main.procedures"):
        accession = batch.registry.identity_frame(
            "SELECT procedure_id, accession FROM procedure_accession", accession
        )
    batch.cursor.register("stored_birth", birth.to_arrow())
    batch.cursor.register("stored_accession", accession.to_arrow())


def stageable(frame: pl.DataFrame) -> list[str]:
    """Columns of a frame that hold fields, and the row number."""
    return [name for name in frame.columns if not name.startswith("_") or name == "_row"]
