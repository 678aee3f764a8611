"""What an erasure would touch, counted before anything is done."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from registry import backup, received_files, signed_minutes
from registry.dictionary import FREE_TEXT
from registry.erasure import copies
from registry.erasure.theirs import Theirs, condition, gather, parameters, their_tables, widened
from registry.imports.registry_csv import FORMAT
from registry.imports.returned import UNREADABLE
from registry.numerals import grouped
from registry.people import Action, require
from registry.store import IDENTITY

if TYPE_CHECKING:
    from collections.abc import Iterator

    from registry.store import Registry

_TELLING = 5
#: In place of a note that may not be empty.
ERASED = "(erased)"
#: Drafts that speak of one of their keys.
DRAFTS = (
    "EXISTS (SELECT 1 FROM (SELECT unnest($keys) AS key) AS k "
    "WHERE contains(cells, '\"' || k.key || '\"') OR contains('|' || row_key || '|', '|' || k.key || '|'))"
)
NOTES = "procedure_id IN (SELECT unnest($procedures)) AND note <> $erased"


@dataclass(frozen=True)
class Plan:
    """Everything that an erasure finds.

    ``current`` and ``texts`` count clinical rows, and rows with free text, by table;
    ``identity`` rows of identity.duckdb by table; ``marks`` are held rows; ``copies`` files;
    ``waiting`` files of the inbox; ``backups`` and ``set_aside`` still hold the patient afterwards;
    ``told`` counts entries of the trail that somebody wrote an identifier into, as the name of a file or a reason.
    """

    theirs: Theirs
    current: dict[str, int]
    texts: dict[str, int]
    identity: dict[str, int]
    marks: frozenset[str]
    copies: tuple[copies.Copy, ...]
    waiting: tuple[str, ...]
    backups: tuple[str, ...]
    other_backups: int
    set_aside: tuple[str, ...]
    exports: int
    told: int

    @property
    def is_empty(self) -> bool:
        """Whether nothing of the patient is left to erase."""
        return not (self.current or self.texts or self.identity or self.marks or self.copies)

    def lines(self) -> list[str]:
        """What would be done, as plain text lines."""
        lines = sum(one.lines for one in self.copies)
        cut, whole = ([c for c in self.copies if c.whole is which] for which in (False, True))
        made = [f"Patient {self.theirs.patient}:"]
        made.append(f"  withdrawn from the current record: {_listed(self.current)}")
        made.append(f"  free text emptied, current and history: {_listed(self.texts)}")
        made.append(
            f"  removed from {IDENTITY}: {_listed(self.identity)}; cells of held rows emptied: {grouped(len(self.marks))}"
        )
        made.append(
            f"  lines taken out of received files and files of held rows: {grouped(lines)} in {grouped(len(cut))} files"
        )
        made += [f"  removed whole, with the lines of others: {one.name}" for one in whole]
        made += self.remaining()
        return made

    def remaining(self) -> list[str]:
        """Where the patient is still to be found afterwards."""
        made = [f"  still holds the patient afterwards: backup {name}" for name in self.backups]
        if self.other_backups:
            made.append(
                f"  {grouped(self.other_backups)} more backups are in the trail; those that still exist hold the patient too."
            )
        made += [
            f"  still holds the patient afterwards: {name}/ in the registry folder" for name in self.set_aside
        ]
        if self.exports:
            made.append(
                f"  {grouped(self.exports)} exports were made before; they carry no identifier, but may hold rows of the patient."
            )
        if self.told:
            made.append(
                f"  {grouped(self.told)} entries of the trail hold an identifier, as the name of a file or in a reason; "
                "an entry cannot be changed."
            )
        made += [f"  waits in the inbox and speaks of the patient: {name}" for name in self.waiting]
        return made


def _listed(counts: dict[str, int]) -> str:
    return ", ".join(f"{grouped(count)} of {name}" for name, count in counts.items()) or "none"


def make_plan(registry: Registry, patient: str) -> Plan:
    """Count what an erasure of a patient, named by identifier or pseudonym, would touch.

    Raises
    ------
    Refused
        The actor may not erase.
    """
    require(Action.ERASE, registry, kind="patient")
    theirs = widened(registry, gather(registry, patient), _sent(registry))
    marks = frozenset(mark for mark, native, cells in _held(registry) if _holds(theirs, native, cells))
    found = copies.find(registry, theirs, marks, _linked(registry, theirs))
    names, others = _backups(registry)
    return Plan(
        theirs=theirs,
        current=_count(registry, theirs, "main.{table}", their_tables()),
        texts=_texts(registry, theirs),
        identity=_apart(registry, theirs),
        marks=marks,
        copies=tuple(found),
        waiting=tuple(copies.waiting(registry, theirs)),
        backups=names,
        other_backups=others,
        set_aside=tuple(
            one.name
            for one in sorted(registry.folder.iterdir())
            if one.is_dir() and one.name.startswith(("before-", "recovered-"))
        ),
        exports=registry.rows(
            "SELECT count(*) FROM audit_event WHERE action = 'export' AND outcome = 'done'"
        )[0][0],
        told=_told(registry, theirs),
    )


def _told(registry: Registry, theirs: Theirs) -> int:
    # A shorter text stands in any entry by chance.
    words = [one for one in sorted(theirs.identifiers | theirs.accessions) if len(one) >= _TELLING]
    sql = "SELECT count(*) FROM audit_event WHERE list_bool_or([contains(details, one) FOR one IN $words])"
    return int(registry.rows(sql, {"words": words})[0][0]) if words else 0


# -- rows --------------------------------------------------------------------------


def _count(
    registry: Registry, theirs: Theirs, relation: str, names: list[str], extra: str = "true"
) -> dict[str, int]:
    counts = {}
    for name in names:
        sql = f"SELECT count(*) FROM {relation.format(table=name)} WHERE {condition(name)} AND ({extra})"
        if count := registry.rows(sql, parameters(theirs, name))[0][0]:
            counts[name] = int(count)
    return counts


def text_fields() -> dict[str, list[str]]:
    """Columns of free text by table."""
    made: dict[str, list[str]] = {}
    for table, field in sorted(FREE_TEXT):
        made.setdefault(table, []).append(field)
    return made


def _texts(registry: Registry, theirs: Theirs) -> dict[str, int]:
    made = {}
    for table, fields in text_fields().items():
        said = " OR ".join(f"{one} IS NOT NULL" for one in fields)
        found = [
            _count(registry, theirs, f"{schema}.{{table}}", [table], said) for schema in ("main", "history")
        ]
        if count := sum(one.get(table, 0) for one in found):
            made[table] = count
    # Notes on a signal name the procedure at which it came, and speak of it.
    sql = f"SELECT count(*) FROM signal_note WHERE {NOTES}"
    if count := registry.rows(sql, {"procedures": sorted(theirs.procedures), "erased": ERASED})[0][0]:
        made["signal_note"] = int(count)
    sql = f"SELECT count(*) FROM entry_draft WHERE {DRAFTS}"
    if count := registry.rows(sql, {"keys": draft_keys(theirs)})[0][0]:
        made["entry_draft"] = int(count)
    if count := signed_minutes.count_of(registry, sorted(theirs.procedures)):
        made["signed_minutes_entry"] = count
    return made


def draft_keys(theirs: Theirs) -> list[str]:
    """Keys by which a draft of one of their rows is found."""
    return sorted({*theirs.findings, *theirs.procedures})


#: Table of identity.duckdb and which rows are theirs.
APART = {
    "patient_identity": "patient = $patient",
    "patient_identity_history": "patient = $patient",
    "procedure_accession": "accession IN (SELECT unnest($accessions)) AND (patient = $patient OR procedure_id IN (SELECT unnest($procedures)))",
    "procedure_accession_history": "accession IN (SELECT unnest($accessions)) AND (patient = $patient OR procedure_id IN (SELECT unnest($procedures)))",
    "study_key": "patient = $patient",
    "release_member": "patient = $patient",
}


def apart_parameters(theirs: Theirs, table: str) -> dict[str, object]:
    """Parameters of :data:`APART`."""
    made: dict[str, object] = {"patient": theirs.patient}
    if "accession" in table:
        made |= {"accessions": sorted(theirs.accessions), "procedures": sorted(theirs.procedures)}
    return made


def _apart(registry: Registry, theirs: Theirs) -> dict[str, int]:
    if not (registry.folder / IDENTITY).exists():
        return {}
    identity = registry.identity
    counts = {}
    for name, where in APART.items():
        rows = identity.execute(f"SELECT count(*) FROM {name} WHERE {where}", apart_parameters(theirs, name))
        if count := rows.fetchall()[0][0]:
            counts[name] = int(count)
    identity.close()
    return counts


# -- what was received -------------------------------------------------------------


def _sent(registry: Registry) -> Iterator[tuple[str, dict[str, str | None]]]:
    """Findings and procedures in received files and held rows, by field."""
    for path, name, native in copies.received(registry):
        if native and copies.table_of(name) in ("findings", "procedures"):
            for cells in copies.rows_of(path.read_bytes()):
                yield copies.table_of(name), cells
    tables = dict(registry.rows("SELECT quarantine_id, table_name FROM quarantine"))
    for mark, native, cells in _held(registry):
        if native:
            yield str(tables.get(mark, "")), cells


def _held(registry: Registry) -> list[tuple[str, bool, dict[str, str | None]]]:
    """Held rows: number, whether its headers are fields of the dictionary, cells."""
    if not (registry.folder / IDENTITY).exists():
        return []
    formats = dict(
        registry.rows(
            "SELECT q.quarantine_id, b.format FROM quarantine AS q JOIN import_batch AS b ON b.batch_id = q.batch_id"
        )
    )
    identity = registry.identity
    rows = identity.execute("SELECT quarantine_id, cells FROM held_row ORDER BY ALL").fetchall()
    identity.close()
    return [(str(mark), formats.get(mark) == FORMAT, json.loads(cells)) for mark, cells in rows]


def _holds(theirs: Theirs, native: bool, cells: dict[str, str | None]) -> bool:
    if theirs.own(cells):
        return True
    if not native and theirs.named_in(cells.values()):
        return True
    return theirs.stand_in((cells.get(UNREADABLE) or "").encode())


def _linked(registry: Registry, theirs: Theirs) -> frozenset[str]:
    """Hashes of files of other forms from whose batch a row of theirs came."""
    batches: set[int] = set()
    for name in their_tables():
        for schema in ("main", "history"):
            sql = f"SELECT DISTINCT batch_id FROM {schema}.{name} WHERE {condition(name)}"
            batches |= {int(one) for (one,) in registry.rows(sql, parameters(theirs, name))}
    known = received_files.files(registry).kept
    return frozenset(sha256 for sha256, one in known.items() if one.batch in batches and one.format != FORMAT)


def _backups(registry: Registry) -> tuple[tuple[str, ...], int]:
    """Folders of the backups that are there, and how many more the trail knows."""
    place = registry.site.backup_folder
    there = [] if place is None else backup.backups(Path(place).expanduser(), of=registry.folder.name)
    told = {
        str(one)
        for (one,) in registry.rows(
            "SELECT object_key FROM audit_event WHERE action = 'backup' AND outcome = 'done'"
        )
    }
    return tuple(str(one.folder) for one in there), len(told - {one.folder.name for one in there})
