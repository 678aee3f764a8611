"""Carrying an erasure out.

The order makes every interruption harmless: a mark, new received files under their own
hashes, the clinical rows with the entry of the trail, the identifiers, the old files, and
last the databases written anew. Given again, the same command goes on where it stopped.
"""

from __future__ import annotations

import hashlib
import hmac
import shutil
from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Any

from registry import audit, facts, holds, received_files, signed_minutes, snapshot
from registry import site as site_file
from registry.audit import canonical
from registry.dictionary import tables
from registry.engine import rewrite
from registry.erasure import copies
from registry.erasure.plan import (
    APART,
    DRAFTS,
    ERASED,
    NOTES,
    Plan,
    apart_parameters,
    draft_keys,
    make_plan,
    text_fields,
)
from registry.erasure.theirs import condition, parameters, their_tables
from registry.errors import BatchRefused, UnderHold, UsageProblem
from registry.intake import write
from registry.owner import Ownership
from registry.people import Action, require
from registry.store import DATABASE, ERASURE_MARK, IDENTITY, SITE, SNAPSHOT, Registry, utc_now

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    import duckdb


@dataclass(frozen=True)
class Erasure:
    """What was done: ``plan`` as it was carried out, batch (None where one was only finished)."""

    plan: Plan
    batch_id: int | None

    def lines(self) -> list[str]:
        """The outcome as plain text lines."""
        if self.batch_id is None:
            return ["An erasure that had been interrupted is finished: the databases were written anew."]
        return [
            f"Erased (batch {self.batch_id}). The clinical rows stay in the history under the pseudonym, without free text.",
            *self.plan.remaining(),
            "If a source sends the patient again, the rows are held, and their file lies in raw/ again: tell the source.",
        ]


def pending(folder: Path) -> bool:
    """Whether an erasure was begun and its databases were not written anew."""
    return (folder / ERASURE_MARK).exists()


def erase(
    folder: Path,
    patient: str,
    *,
    reason: str,
    author: str,
    clock: Callable[[], datetime] = utc_now,
    agree: Callable[[Plan], bool] | None = None,
) -> Erasure:
    """Erase one patient.

    Parameters
    ----------
    folder
        Registry folder that nobody, and no other part of this program, has open: its
        databases are replaced by files that never held what was removed.
    patient
        Identifier or pseudonym.
    reason
        For history and trail; names no person.
    agree
        Shown the plan before anything is done; False stops.

    Raises
    ------
    UsageProblem
        Nothing of the patient is there, a legal hold is open, no reason or one that names
        the patient, or ``agree`` said no.
    BatchRefused
        A procedure of somebody else is recorded as a repeat of one of theirs.
    NotSaved
        The disk is full; give the command again when there is space.
    """
    require(Action.ERASE)
    with Registry.open(folder, write=True, clock=clock) as registry:
        author = require(Action.ERASE, registry, kind="patient", confirmed=True).author(author)
        if not patient.strip():
            raise UsageProblem("Name the patient by identifier or pseudonym.")
        plan = make_plan(registry, patient)
        batch_id = None
        if not plan.is_empty:
            asked = audit.Entry(author, "erase", "patient", plan.theirs.patient, {})
            with holds.refusal_on_record(registry, asked):
                _check(registry, plan, reason)
            if agree is not None and not agree(plan):
                raise UsageProblem("Nothing was erased.")
            (registry.folder / ERASURE_MARK).touch(mode=0o600)
            batch_id = _carry_out(registry, plan, author, reason)
        elif not pending(folder):
            raise UsageProblem(
                "Nothing of this patient is left to erase: no identifier, no current row, no free text, no received line."
            )
    _write_anew(folder, clock)
    return Erasure(plan, batch_id)


def _check(registry: Registry, plan: Plan, reason: str) -> None:
    if not reason.strip():
        raise UsageProblem("A patient is erased with a reason. Give one with --reason; it names no person.")
    theirs = plan.theirs
    if any(word in reason for word in theirs.identifiers | theirs.accessions):
        raise UsageProblem("The reason holds an identifier of the patient, and it is kept. Write it without.")
    with registry.cursor() as cursor:
        holds.refuse_if_held(cursor, theirs.patient)
    whole = [one.name for one in plan.copies if one.whole]
    if whole and holds.open_holds(registry):
        raise UnderHold(
            f"{', '.join(whole)}: would be removed whole, and another patient is under legal hold. "
            "Nothing was erased. Lift the hold first, or erase when it is lifted."
        )
    own = sorted(theirs.procedures)
    others = registry.rows(
        "SELECT procedure_id FROM procedures WHERE repeat_of IN (SELECT unnest($own)) AND procedure_id NOT IN (SELECT unnest($own))",
        {"own": own},
    )
    if others:
        raise BatchRefused(
            f"Procedure {others[0][0]} of another patient is recorded as a repeat of one of theirs. Nothing was erased. "
            "Correct repeat_of first."
        )


# -- the rows ----------------------------------------------------------------------


def _carry_out(registry: Registry, plan: Plan, author: str, reason: str) -> int:
    received = [one for one in plan.copies if one.place == copies.RAW]
    moved = {one.path.name: copies.write_beside(one, plan.theirs, plan.marks) for one in received}
    digest = _digest(registry, plan)
    with registry.writing() as cursor:
        holds.refuse_if_held(cursor, plan.theirs.patient)
        stamp = write.next_stamp(registry, cursor, author, reason)
        _withdraw(cursor, plan, stamp)
        cursor.execute(
            "UPDATE quarantine SET state = 'dismissed', resolved_at = ?, resolved_by = ?, resolution = 'erased' "
            "WHERE state = 'open' AND quarantine_id IN (SELECT unnest(?))",
            [stamp.at, author, sorted(plan.marks)],
        )
        cursor.execute("UPDATE facts_state SET revision = revision + 1")
        details = {
            "patient": plan.theirs.patient,
            "withdrawn": plan.current,
            "texts": plan.texts,
            "identity": plan.identity,
            "held": len(plan.marks),
            "lines": sum(one.lines for one in plan.copies),
            received_files.CHANGED: moved,
            "digest": digest,
        }
        names = list(plan.current) or ["patients"]
        write.record_no_rows(
            registry, cursor, stamp, format_="erasure", action="erase", names=names, details=details
        )
    _empty_apart(registry, plan)
    for one in plan.copies:
        if one.place == copies.RAW:
            one.path.unlink(missing_ok=True)
        else:
            copies.clean(one, plan.theirs, plan.marks)
    return stamp.batch_id


def _withdraw(cursor: duckdb.DuckDBPyConnection, plan: Plan, stamp: write.Stamp) -> None:
    """Children before parents, through the intake's writer; then free text out of the history."""
    theirs = plan.theirs
    for name in their_tables():
        rows = cursor.execute(
            f"SELECT rowid FROM main.{name} WHERE {condition(name)}", parameters(theirs, name)
        ).fetchall()
        for (row,) in rows:
            write.withdraw_at(cursor, tables()[name], row, stamp)
    for name, fields in text_fields().items():
        write.blank(cursor, tables()[name], fields, condition(name), parameters(theirs, name))
    cursor.execute(
        f"UPDATE signal_note SET note = $erased WHERE {NOTES}",
        {"procedures": sorted(theirs.procedures), "erased": ERASED},
    )
    signed_minutes.empty(cursor, sorted(theirs.procedures))
    cursor.execute(f"DELETE FROM entry_draft WHERE {DRAFTS}", {"keys": draft_keys(theirs)})
    if theirs.procedures:
        facts.refresh(cursor, sorted(theirs.procedures))


def _empty_apart(registry: Registry, plan: Plan) -> None:
    """Identifiers, birth dates, accession numbers and the cells of held rows."""
    if not (registry.folder / IDENTITY).exists():
        return
    identity = registry.identity
    identity.execute("BEGIN")
    for name, where in APART.items():
        identity.execute(f"DELETE FROM {name} WHERE {where}", apart_parameters(plan.theirs, name))
    identity.execute(
        "UPDATE held_row SET cells = '{}' WHERE quarantine_id IN (SELECT unnest(?))", [sorted(plan.marks)]
    )
    identity.execute("COMMIT")
    identity.close()


def _digest(registry: Registry, plan: Plan) -> str:
    """What is removed, as a keyed digest: a plain one of so short a text could be guessed."""
    theirs = plan.theirs
    content: dict[str, Any] = {}
    if (registry.folder / IDENTITY).exists():
        identity = registry.identity
        for name, where in APART.items():
            rows = identity.execute(
                f"SELECT * FROM {name} WHERE {where} ORDER BY ALL", apart_parameters(theirs, name)
            )
            content[name] = rows.fetchall()
        content["held"] = identity.execute(
            "SELECT * FROM held_row WHERE quarantine_id IN (SELECT unnest(?)) ORDER BY ALL",
            [sorted(plan.marks)],
        ).fetchall()
        identity.close()
    for name, fields in text_fields().items():
        listed = ", ".join(fields)
        for schema in ("main", "history"):
            sql = f"SELECT {listed} FROM {schema}.{name} WHERE {condition(name)} ORDER BY ALL"
            content[f"{schema}.{name}"] = registry.rows(sql, parameters(theirs, name))
    return hmac.new(registry.key, f"erasure{canonical(content)}".encode(), hashlib.sha256).hexdigest()


# -- the files ---------------------------------------------------------------------


def _write_anew(folder: Path, clock: Callable[[], datetime]) -> None:
    """Replace both databases by new files, and the copy for readers; nobody has them open."""
    folder = folder.resolve()
    published = (folder / SNAPSHOT).parent
    had_copy = published.exists()
    ownership = Ownership(folder, clock().astimezone(UTC), 10.0)
    try:
        shutil.rmtree(published, ignore_errors=True)
        (folder / "tmp").mkdir(mode=0o700, exist_ok=True)
        site = site_file.read(folder / SITE)
        for name in (DATABASE, IDENTITY):
            if (folder / name).exists():
                rewrite(folder, site, name)
    finally:
        shutil.rmtree(folder / "tmp", ignore_errors=True)
        ownership.release()
    with Registry.open(folder, write=True, clock=clock) as registry:
        received_files.remove_gone(registry)
        if had_copy:
            snapshot.publish(registry)
    (folder / ERASURE_MARK).unlink(missing_ok=True)
