"""Does the registry folder still hold what its own trail says it should?

Each look is a function: the chain and its anchor, the content of every table against the
trail, the kept facts against the record, the numbering and the reconciliation of the
batches, the raw files, and every stored value read once. All of them read only.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import duckdb
import polars as pl

from registry import audit, frozen_cohorts, holds, received_files, release_ledger, signed_minutes
from registry.dictionary import tables
from registry.errors import IntegrityProblem
from registry.intake import write
from registry.known import as_known
from registry.numerals import grouped
from registry.people import Action, require
from registry.store import ANCHOR, IDENTITY

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from registry.store import Registry

_MAC = re.compile(r"[0-9a-f]{64}")
_CHUNK = 1 << 20
_END_OF_TIME = datetime(9999, 12, 31, tzinfo=UTC)
#: All but the number that tells patients apart in counting, which has no meaning of its own.
_FACT_COLUMNS = (
    "SELECT column_name, data_type FROM information_schema.columns "
    "WHERE table_name = 'procedure_facts' AND column_name <> 'patient_no' ORDER BY ordinal_position"
)


@dataclass(frozen=True)
class Finding:
    """One thing that does not agree.

    ``part`` is the look that found it, ``message`` a plain sentence, ``seq`` the number
    of the first entry of the trail that is wrong, where the finding is about one.
    """

    part: str
    message: str
    seq: int | None = None

    def __str__(self) -> str:
        return f"{self.part}: {self.message}"


def verify(registry: Registry) -> list[Finding]:
    """Everything that does not agree; empty where the folder is as its trail says.

    Parameters
    ----------
    registry
        Open for reading or writing, best with ``check_anchor=False``: the anchor is
        compared here, line by line.
    """
    require(Action.CHECK, registry)
    looks = (verify_trail, _tables, _kept_facts, _batches, _held_rows, _holds, _raw_files, _values)
    found: list[Finding] = []
    for look in looks:
        try:
            found += look(registry)
        except (duckdb.Error, IntegrityProblem) as problem:
            said = str(problem).splitlines()[0]
            found.append(Finding("database", f"A part of {look.__name__.strip('_')} cannot be read: {said}."))
    return found


# -- the chain and its anchor ------------------------------------------------------


def verify_trail(registry: Registry) -> list[Finding]:
    """The chain entry by entry, and every line of the anchor file against it."""
    require(Action.CHECK, registry)
    rows = registry.rows(f"SELECT {audit.COLUMNS} FROM audit_event ORDER BY seq")
    found = []
    if broken := _first_broken(rows, registry.key):
        found.append(
            Finding(
                "trail", f"{broken[1][:1].upper()}{broken[1][1:]}; it is the first that is wrong.", broken[0]
            )
        )
    return found + _anchors(registry.folder / ANCHOR, {row[0]: row[-1] for row in rows})


def _first_broken(rows: list[tuple[Any, ...]], key: bytes) -> tuple[int, str] | None:
    """As :func:`registry.audit.first_broken`, also where a mac is no longer a mac."""
    readable = []
    for row in rows:
        if not (_MAC.fullmatch(row[-1]) and _MAC.fullmatch(row[-2])):
            break
        readable.append(row)
    broken = audit.first_broken(readable, key)
    if broken is None and len(readable) < len(rows):
        seq = rows[len(readable)][0]
        return seq, f"entry {seq} was changed after it was written"
    return broken


def _anchors(path: Path, chain: dict[int, str]) -> list[Finding]:
    newest = max(chain, default=0)
    if not path.exists():
        return (
            [Finding("anchor", f"{path.name} is missing, and the trail has {newest} entries.", 1)]
            if newest
            else []
        )
    found = []
    lines = path.read_text(encoding="ascii", errors="replace").splitlines()
    anchors = audit.read_anchors(path)
    # A last line torn by a crash is normal; a line torn elsewhere is not.
    if len(lines) - len(anchors) > (0 if lines and _is_anchor(lines[-1]) else 1):
        torn = next(number for number, line in enumerate(lines, start=1) if not _is_anchor(line))
        found.append(Finding("anchor", f"Line {torn} of {path.name} cannot be read."))
    for seq, mac, time in anchors:
        if seq not in chain:
            last = f"the trail ends at entry {newest}" if seq > newest else "the trail has no such entry"
            found.append(
                Finding("anchor", f"Entry {seq} was anchored at {time}, but {last}.", min(seq, newest + 1))
            )
            break
        if chain[seq] != mac:
            found.append(Finding("anchor", f"Entry {seq} is not the one that was anchored at {time}.", seq))
            break
    reached = max((seq for seq, _, _ in anchors), default=0)
    # Each saved change writes one entry and then its anchor: a crash between the two
    # leaves the trail one entry ahead, and no more.
    if newest > reached + 1:
        text = f"The anchor ends at entry {reached}, the trail at entry {newest}: lines of the anchor are missing."
        found.append(Finding("anchor", text, reached + 1))
    return found


def _is_anchor(line: str) -> bool:
    parts = line.split()
    return len(parts) == 3 and parts[0].isdigit() and bool(_MAC.fullmatch(parts[1]))


# -- tables ------------------------------------------------------------------------


def _tables(registry: Registry) -> list[Finding]:
    """Rows and digest of every table, recomputed, against what the trail bound last."""
    found = []
    with registry.cursor() as cursor:
        kept = write.table_states(cursor)
        real: dict[str, dict[str, Any]] = {}
        for table in tables().values():
            for schema, name in (("main", table.name), ("history", f"history.{table.name}")):
                count, digest = write.table_digest(cursor, table, schema)
                real[name] = {"rows": count, "digest": str(digest)}
    nothing = {"rows": 0, "digest": "0"}
    for name, state in real.items():
        stated = kept.get(name, nothing)
        if state["rows"] != stated["rows"]:
            text = f"{name} holds {grouped(state['rows'])} rows, and should hold {grouped(stated['rows'])}."
            found.append(Finding("tables", text))
        elif state["digest"] != stated["digest"]:
            found.append(
                Finding(
                    "tables",
                    f"{name} has the right number of rows, but a value in it was changed apart from intake.",
                )
            )
    found += [
        Finding("tables", f"table_state names {name}, which is no table.")
        for name in sorted(kept.keys() - real.keys())
    ]
    return found + _roots(registry) + _bound_state(registry, kept)


def _roots(registry: Registry) -> list[Finding]:
    """Roots are derived, so no digest holds them: each must be its parent's, or its own."""
    wrong = registry.rows(
        "SELECT count(*), min(c.procedure_id) FROM procedures AS c LEFT JOIN procedures AS p ON p.procedure_id = c.repeat_of "
        "WHERE c.root_id <> coalesce(p.root_id, c.procedure_id)"
    )
    count, first = wrong[0]
    if not count:
        return []
    return [Finding("tables", f"procedures: {grouped(count)} chain roots are wrong, the first at {first}.")]


def _bound_state(registry: Registry, kept: dict[str, dict[str, Any]]) -> list[Finding]:
    """table_state against the newest entry of the trail that binds it."""
    rows = registry.rows(
        "SELECT seq, details FROM audit_event WHERE contains(details, '\"tables\":{') AND outcome = 'done' ORDER BY seq DESC LIMIT 1"
    )
    bound: dict[str, Any] = {}
    seq = None
    if rows:
        seq = int(rows[0][0])
        bound = _object(rows[0][1]).get("tables", {})
    wrong = sorted(name for name in bound.keys() | kept.keys() if bound.get(name) != kept.get(name))
    if not wrong:
        return []
    where = f"entry {seq} of the trail" if seq else "the trail, which binds no table"
    return [Finding("tables", f"The state kept for {', '.join(wrong)} is not the one in {where}.", seq)]


def _kept_facts(registry: Registry) -> list[Finding]:
    """The kept facts against those derived anew from the same record, in a scratch database."""
    columns = registry.rows(_FACT_COLUMNS)
    exact = ", ".join(f'"{name}"' for name, kind in columns if kind != "DOUBLE")
    measured = [name for name, kind in columns if kind == "DOUBLE"]
    query = f"SELECT procedure_id, hash({exact}) AS exact, {', '.join(measured)} FROM procedure_facts"
    with as_known(registry, _END_OF_TIME) as again:
        both = registry.frame(query).join(
            again.frame(query), on="procedure_id", how="full", coalesce=True, suffix="_again"
        )
    # Sums may be added in another order, which shows in the last digits only.
    close = [
        pl.col(name).eq_missing(pl.col(f"{name}_again"))
        | ((pl.col(name) - pl.col(f"{name}_again")).abs() <= 1e-9 * pl.col(name).abs()).fill_null(False)
        for name in measured
    ]
    wrong = both.filter(~pl.all_horizontal(pl.col("exact").eq_missing(pl.col("exact_again")), *close))
    if wrong.is_empty():
        return []
    first = min(wrong["procedure_id"].to_list())
    text = f"For {grouped(wrong.height)} procedures the kept facts are not those that the record gives, the first is {first}."
    return [Finding("facts", f"{text} No measure can be relied on.")]


def _object(text: str) -> dict[str, Any]:
    """A JSON object, empty where the text no longer is one."""
    try:
        made = json.loads(text)
    except ValueError:
        return {}
    return made if isinstance(made, dict) else {}


# -- batches -----------------------------------------------------------------------


def _batches(registry: Registry) -> list[Finding]:
    """Numbers without gaps, and every received row accounted for, in each batch and in all."""
    rows = registry.rows(
        "SELECT batch_id, received, resubmitted, accepted_new, accepted_version, unchanged, held FROM import_batch ORDER BY batch_id"
    )
    found = []
    for place, (batch, *_) in enumerate(rows, start=1):
        if batch != place:
            found.append(Finding("batches", f"Batch {place} is missing or stands twice (found {batch})."))
            break
    for batch, received, _, new, version, unchanged, held in rows:
        if received != new + version + unchanged + held:
            found.append(
                Finding("batches", f"Batch {batch}: {_sum(received, new, version, unchanged, held)}")
            )
    found += _against_trail(registry, rows)
    states = dict(registry.rows("SELECT state, count(*) FROM quarantine GROUP BY state"))
    received, resubmitted, new, version, unchanged = (sum(row[i] for row in rows) for i in range(1, 6))
    open_, dismissed = states.get("open", 0), states.get("dismissed", 0)
    if received - resubmitted != new + version + unchanged + open_ + dismissed:
        found.append(
            Finding(
                "batches",
                f"Over all batches {grouped(received - resubmitted)} rows were received and not sent again, but {grouped(new)} new + {grouped(version)} as a "
                f"new version + {grouped(unchanged)} unchanged + {grouped(open_)} held + {grouped(dismissed)} dismissed are accounted for.",
            )
        )
    return found


def _sum(received: int, new: int, version: int, unchanged: int, held: int) -> str:
    return f"{grouped(received)} rows received, but {grouped(new)} new + {grouped(version)} as a new version + {grouped(unchanged)} unchanged + {grouped(held)} held."


def _against_trail(registry: Registry, rows: list[tuple[Any, ...]]) -> list[Finding]:
    """The counts of each batch against the entry that its import wrote."""
    entries = registry.rows(
        "SELECT seq, object_key, details FROM audit_event WHERE object_kind = 'batch' AND outcome = 'done' ORDER BY seq"
    )
    written = {key: (seq, _object(details).get("rows", {})) for seq, key, details in entries}
    found = []
    for batch, received, _, new, version, unchanged, held in rows:
        seq, counts = written.pop(str(batch), (None, None))
        real = {"received": received, "new": new, "version": version, "unchanged": unchanged, "held": held}
        if counts is None:
            found.append(Finding("batches", f"Batch {batch} has no entry in the trail."))
        elif counts != real:
            found.append(
                Finding(
                    "batches", f"Batch {batch}: its counts are not those of entry {seq} of the trail.", seq
                )
            )
    found += [
        Finding("batches", f"Entry {seq} of the trail speaks of batch {key}, which is missing.", seq)
        for key, (seq, _) in written.items()
    ]
    return found


def _held_rows(registry: Registry) -> list[Finding]:
    """Held rows listed and answered, against the counts of their batches."""
    rows = registry.rows(
        "SELECT b.batch_id, b.held, b.resubmitted, "
        "(SELECT count(*) FROM quarantine AS q WHERE q.batch_id = b.batch_id), "
        "(SELECT count(*) FROM quarantine AS q WHERE q.resolved_batch = b.batch_id AND q.state = 'fixed') "
        "FROM import_batch AS b ORDER BY b.batch_id"
    )
    wrong = []
    for batch, held, resubmitted, listed, answered in rows:
        if held != listed:
            wrong.append(f"Batch {batch} held {grouped(held)} rows, but {grouped(listed)} are listed.")
        if resubmitted != answered:
            told = f"Batch {batch} answered {grouped(resubmitted)} held rows, but {grouped(answered)} are closed by it."
            wrong.append(told)
    return [Finding("held rows", text) for text in wrong]


def _holds(registry: Registry) -> list[Finding]:
    """Legal holds, signed minutes, releases and frozen cohorts against the entries of the trail that made them."""
    found = [Finding("legal holds", said) for said in holds.disagreements(registry)]
    found += [Finding("minutes", said) for said in signed_minutes.disagreements(registry)]
    found += [Finding("releases", said) for said in release_ledger.disagreements(registry)]
    return found + [Finding("cohorts", said) for said in frozen_cohorts.disagreements(registry)]


# -- files and values --------------------------------------------------------------


def _raw_files(registry: Registry) -> list[Finding]:
    """Every imported file lies in raw/ under its hash, or under what the trail says it became."""
    known = received_files.files(registry)
    found = [
        Finding("raw files", f"Batch {batch}: its list of files cannot be read.")
        for batch in known.unreadable
    ]
    place = registry.folder / received_files.FOLDER
    for sha256, one in known.kept.items():
        if one.batch is not None:
            found += _raw_file(place / sha256, one.name, sha256, one.batch)
    found += [
        Finding("raw files", f"A file that entry {seq} of the trail removed still lies in raw/.", seq)
        for sha256, seq in known.gone.items()
        if (place / sha256).exists()
    ]
    return found


def _raw_file(path: Path, name: str, sha256: str, batch: int) -> Iterator[Finding]:
    if not _MAC.fullmatch(sha256) or not path.is_file():
        yield Finding("raw files", f"{name} of batch {batch} is missing in raw/.")
        return
    digest = hashlib.sha256()
    with path.open("rb") as handle:
        while chunk := handle.read(_CHUNK):
            digest.update(chunk)
    if digest.hexdigest() != sha256:
        yield Finding(
            "raw files", f"{name} of batch {batch} was changed: the file in raw/ no longer has its hash."
        )


def _values(registry: Registry) -> list[Finding]:
    """Every column of every table read once, so that damage shows now and not in a report."""
    found: list[Finding] = []
    with registry.cursor() as cursor:
        found += _read_all(cursor, "registry.duckdb")
    if (registry.folder / IDENTITY).exists():
        found += _read_all(registry.identity, IDENTITY)
    return found


def _read_all(cursor: duckdb.DuckDBPyConnection, file: str) -> Iterator[Finding]:
    names = cursor.execute(
        "SELECT table_schema, table_name FROM information_schema.tables WHERE table_type = 'BASE TABLE' AND table_catalog = current_database() ORDER BY ALL"
    ).fetchall()
    for schema, name in names:
        columns = cursor.execute(
            "SELECT column_name FROM information_schema.columns WHERE table_schema = ? AND table_name = ? ORDER BY ordinal_position",
            [schema, name],
        ).fetchall()
        listed = ", ".join(f'"{column}"' for (column,) in columns)
        try:
            cursor.execute(f'SELECT bit_xor(hash({listed})) FROM "{schema}"."{name}"').fetchall()
        except duckdb.Error as problem:
            yield Finding("values", f"{file}: {name} cannot be read whole: {str(problem).splitlines()[0]}.")
