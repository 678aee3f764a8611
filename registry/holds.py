"""Legal holds: a patient whose rows must stay as they are while a claim or an inquiry is open.

While a hold is open nothing of the patient is withdrawn or erased, and no received file is
removed by age. Corrections still come in: they change nothing that was, the version before
them stays in the history. Both ends of a hold are entries of the trail, against which
``verify`` compares the table.
"""

from __future__ import annotations

import unicodedata
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC
from typing import TYPE_CHECKING

from registry import audit
from registry.errors import UnderHold, UsageProblem
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Iterator

    import duckdb

    from registry.store import Registry

SET, LIFTED = "hold", "lift hold"
_KIND = "patient"


def pseudonym_of(registry: Registry, patient: str) -> str:
    """Pseudonym of a patient who is named by identifier or by pseudonym."""
    given = normal(patient)
    known = registry.rows(
        "SELECT 1 FROM main.patients WHERE patient = $given UNION SELECT 1 FROM history.patients WHERE patient = $given",
        {"given": given},
    )
    return given if known else registry.pseudonyms.of(given)


def normal(text: str) -> str:
    """An identifier as intake stores it: trimmed, composed."""
    return unicodedata.normalize("NFC", text.strip())


def set_hold(registry: Registry, patient: str, *, author: str, reason: str) -> str:
    """Put a patient under legal hold.

    Parameters
    ----------
    registry
        Open for writing.
    patient
        Identifier or pseudonym.
    author, reason
        For the table and the trail; the reason names no person.

    Returns
    -------
    str
        The pseudonym.

    Raises
    ------
    UsageProblem
        No such patient, a hold is open already, or no reason.
    Refused
        The actor may not set a hold.
    """
    author = require(Action.ERASE, registry, kind=_KIND, confirmed=True).author(author)
    _needs_reason(reason, "set")
    found = pseudonym_of(registry, patient)
    if not registry.rows("SELECT 1 FROM main.patients WHERE patient = ?", [found]):
        raise UsageProblem("No patient of this registry has this identifier. Nothing was changed.")
    with registry.writing() as cursor:
        if is_held(cursor, found):
            raise UsageProblem(f"Patient {found} is under legal hold already. Nothing was changed.")
        at = registry.clock().astimezone(UTC).replace(tzinfo=None)
        cursor.execute(
            "INSERT INTO legal_hold (patient, set_at, set_by, reason) VALUES (?, ?, ?, ?)",
            [found, at, author, reason.strip()],
        )
        _note(registry, cursor, author, SET, found, reason)
    return found


def lift_hold(registry: Registry, patient: str, *, author: str, reason: str) -> str:
    """Lift the hold of a patient; parameters, result and errors as :func:`set_hold`."""
    author = require(Action.ERASE, registry, kind=_KIND, confirmed=True).author(author)
    _needs_reason(reason, "lifted")
    found = pseudonym_of(registry, patient)
    with registry.writing() as cursor:
        if not is_held(cursor, found):
            raise UsageProblem("This patient is not under legal hold. Nothing was changed.")
        at = registry.clock().astimezone(UTC).replace(tzinfo=None)
        cursor.execute(
            "UPDATE legal_hold SET lifted_at = ?, lifted_by = ?, lift_reason = ? WHERE patient = ? AND lifted_at IS NULL",
            [at, author, reason.strip(), found],
        )
        _note(registry, cursor, author, LIFTED, found, reason)
    return found


def _needs_reason(reason: str, done: str) -> None:
    if not reason.strip():
        raise UsageProblem(f"A hold is {done} with a reason. Give one with --reason; it names no person.")


def _note(
    registry: Registry, cursor: duckdb.DuckDBPyConnection, author: str, action: str, patient: str, reason: str
) -> None:
    cursor.execute("UPDATE facts_state SET revision = revision + 1")
    entry = audit.Entry(author, action, _KIND, patient, {"reason": reason.strip()})
    audit.append(cursor, registry.key, registry.clock(), entry)


# -- what a hold blocks ------------------------------------------------------------


def is_held(cursor: duckdb.DuckDBPyConnection, patient: str) -> bool:
    """Whether a hold of this pseudonym is open."""
    found = cursor.execute("SELECT 1 FROM legal_hold WHERE patient = ? AND lifted_at IS NULL", [patient])
    return bool(found.fetchall())


def refuse_if_held(cursor: duckdb.DuckDBPyConnection, patient: str) -> None:
    """Stop what would take something of a patient away.

    Raises
    ------
    UnderHold
        The patient is under legal hold.
    """
    if is_held(cursor, patient):
        raise UnderHold(
            f"Patient {patient} is under legal hold: nothing was withdrawn or erased. "
            "Whoever may lift it does so with: biopsy-outcomes hold FOLDER PATIENT --lift --reason TEXT"
        )


@contextmanager
def refusal_on_record(registry: Registry, entry: audit.Entry) -> Iterator[None]:
    """What a hold forbids in the block enters the trail as ``entry`` says.

    Not with the sentence that was shown: it may name a file after a patient.
    """
    try:
        yield
    except UnderHold:
        registry.record(replace(entry, details={"why": "legal hold"}, outcome="refused"))
        raise


def open_holds(registry: Registry) -> int:
    """How many patients are under legal hold; 0 in a registry that is older than legal holds."""
    return len(_held(registry))


def _held(registry: Registry) -> set[str]:
    if not registry.rows("SELECT 1 FROM information_schema.tables WHERE table_name = 'legal_hold'"):
        return set()
    rows = registry.rows("SELECT DISTINCT patient FROM legal_hold WHERE lifted_at IS NULL")
    return {str(patient) for (patient,) in rows}


def disagreements(registry: Registry) -> list[str]:
    """What the table says otherwise than the trail, one sentence a patient."""
    told = {
        str(patient)
        for patient, last in registry.rows(
            "SELECT object_key, arg_max(action, seq) FROM audit_event "
            "WHERE object_kind = ? AND action IN (?, ?) AND outcome = 'done' GROUP BY object_key",
            [_KIND, SET, LIFTED],
        )
        if last == SET
    }
    kept = _held(registry)
    found = [f"The legal hold of patient {one} is missing, and the trail sets it." for one in told - kept]
    found += [f"Patient {one} is under a legal hold that the trail does not set." for one in kept - told]
    return sorted(found)
