"""Two people sign a joint decision; each signature binds what was seen when it was given."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from registry import audit
from registry.concordance.basis import bases, basis_of
from registry.errors import Refused, UsageProblem
from registry.people import Action, Role, require
from registry.people.acting import DEMO

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from registry.people import Actor
    from registry.store import Registry

#: Role under which a signature stands -> role that a person must hold.
SIGNING_ROLES = {"radiologist": Role.RADIOLOGIST, "pathologist": Role.PATHOLOGIST}
UNSIGNED, ONE_SIGNATURE, SIGNED, CHANGED = (
    "not signed",
    "one signature missing",
    "signed",
    "changed since signed",
)
_DECIDED = (
    "review_id, procedure_id, meeting_id, reviewed_on, stage, radiologist, pathologist, determination, reason, "
    "management, note"
)


@dataclass(frozen=True)
class Signature:
    """Who signed a review, as what, and whether what was signed still stands.

    ``holds`` is False where the decision or its basis changed afterwards; ``seen_changed``
    where something else that was seen did.
    """

    person: str
    role: str
    recorded_at: datetime
    holds: bool
    seen_changed: bool


@dataclass(frozen=True)
class Standing:
    """Where the signatures of a review stand: ``state`` in words, and the signatures themselves."""

    review_id: str
    state: str
    signatures: tuple[Signature, ...]

    @property
    def missing(self) -> tuple[str, ...]:
        """Roles of which no signature holds."""
        held = {one.role for one in self.signatures if one.holds}
        return tuple(role for role in SIGNING_ROLES if role not in held)


def sign(registry: Registry, review_id: str, role: str, *, person: str = "") -> Signature:
    """Sign a joint review as radiologist or pathologist.

    Parameters
    ----------
    registry
        Open for writing.
    review_id
        A joint review.
    role
        One of ``SIGNING_ROLES``.
    person
        Only in a registry of invented data, where nobody signs in: the invented reviewer.

    Raises
    ------
    Refused
        The actor may not sign, does not hold the role, is not the one whom the review names,
        or has signed it already; or the password is asked for again.
    UsageProblem
        No such joint review.
    """
    actor = require(Action.SIGN, registry, kind="review", key=review_id, confirmed=True)
    if role not in SIGNING_ROLES:
        raise UsageProblem(f"{role}: nobody signs as that. Known: {', '.join(SIGNING_ROLES)}.")
    row = _review(registry, review_id)
    name = _person(actor, role, person, row)
    seen = basis_of(registry, row["procedure_id"])
    decided = _decided(row)
    before = standing(registry, [review_id])[review_id]
    for one in before.signatures:
        if one.holds and one.person == name:
            raise Refused(f"{name} has signed this decision already: two people sign it.")
        if one.holds and one.role == role:
            raise Refused(f"This decision is signed by a {role} already.")
    moment = registry.clock().replace(tzinfo=None)
    with registry.writing() as cursor:
        number = cursor.execute("SELECT coalesce(max(signature_id), 0) + 1 FROM review_signature").fetchall()[
            0
        ][0]
        cursor.execute(
            "INSERT INTO review_signature VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [number, moment, name, role, review_id, row["procedure_id"], decided, seen.basis, seen.seen],
        )
        cursor.execute("UPDATE facts_state SET revision = revision + 1")
        audit.append(
            cursor,
            registry.key,
            registry.clock(),
            audit.Entry(
                actor.name,
                "sign",
                "review",
                review_id,
                {"role": role, "person": name, "decision": decided, "basis": seen.basis, "seen": seen.seen},
            ),
        )
    return Signature(name, role, moment, True, False)


def standing(registry: Registry, review_ids: Sequence[str]) -> dict[str, Standing]:
    """Where the signatures of some reviews stand; a review without one is not signed.

    Raises
    ------
    Refused
        The actor may not open records.
    """
    require(Action.RECORD, registry)
    ids = list(review_ids)
    if not ids:
        return {}
    signed = registry.frame(
        "SELECT * FROM review_signature WHERE review_id IN (SELECT unnest($ids)) ORDER BY signature_id",
        {"ids": ids},
    ).to_dicts()
    now = bases(registry, list({one["procedure_id"] for one in signed}))
    decided = {
        row["review_id"]: _decided(row)
        for row in registry.frame(
            f"SELECT {_DECIDED} FROM main.reviews WHERE review_id IN (SELECT unnest($ids))", {"ids": ids}
        ).to_dicts()
    }
    found: dict[str, list[Signature]] = {}
    for one in signed:
        basis = now.get(one["procedure_id"])
        holds = (
            basis is not None
            and basis.basis == one["basis"]
            and decided.get(one["review_id"]) == one["decision"]
        )
        found.setdefault(one["review_id"], []).append(
            Signature(
                one["person"],
                one["role"],
                one["recorded_at"],
                holds,
                basis is None or basis.seen != one["seen"],
            )
        )
    return {key: Standing(key, _state(found.get(key, [])), tuple(found.get(key, []))) for key in ids}


def _state(signatures: list[Signature]) -> str:
    roles = {one.role for one in signatures if one.holds}
    if len(roles) == len(SIGNING_ROLES):
        return SIGNED
    if roles:
        return ONE_SIGNATURE
    return CHANGED if signatures else UNSIGNED


def _review(registry: Registry, review_id: str) -> dict[str, Any]:
    rows = registry.frame(
        f"SELECT {_DECIDED} FROM main.reviews WHERE review_id = $review_id", {"review_id": review_id}
    ).to_dicts()
    if not rows:
        raise UsageProblem("There is no such review. Record the decision first.")
    if rows[0]["stage"] != "joint":
        raise UsageProblem("Only a joint decision is signed; this one is provisional.")
    return rows[0]


def _decided(row: dict[str, Any]) -> str:
    """Digest of what the signature says yes to; dates of booking and telling come later and are left out."""
    text = json.dumps(row, sort_keys=True, default=str, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _person(actor: Actor, role: str, given: str, row: dict[str, Any]) -> str:
    """Who signs: the person who acts; in invented data the invented reviewer."""
    named = row[role]
    if actor.via == DEMO:
        if given != named:
            raise Refused(
                f"The review names {named or 'nobody'} as {role}; {given or 'nobody'} cannot sign for that."
            )
        return given
    if SIGNING_ROLES[role] not in actor.roles:
        raise Refused(f"{actor.name} is no {role} here, and cannot sign as one.")
    if named not in (actor.name, actor.operator):
        raise Refused(
            f"The review names {named or 'nobody'} as {role}. Let that person sign, or correct the review."
        )
    return actor.name
