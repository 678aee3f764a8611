"""The reviewer's own determination, recorded before anything is proposed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry import audit
from registry.concordance.basis import basis_of
from registry.errors import UsageProblem
from registry.people import Action, require
from registry.vocabulary import labels

if TYPE_CHECKING:
    from datetime import datetime

    from registry.store import Registry


@dataclass(frozen=True)
class OwnView:
    """What one person held of one procedure, on the basis as it stood.

    ``determination`` is None where flags were asked for without an own view. ``first``
    tells whether it came before flags were shown to that person.
    """

    person: str
    procedure_id: str
    determination: str | None
    recorded_at: datetime
    basis: str

    @property
    def first(self) -> bool:
        """Whether a determination was recorded before flags were shown."""
        return self.determination is not None


def record_own_view(registry: Registry, procedure_id: str, determination: str | None) -> OwnView:
    """Keep the own determination of whoever acts; from then on flags are shown.

    The first answer on one basis stands: what is recorded after flags were seen is no own view.

    Parameters
    ----------
    registry
        Open for writing.
    procedure_id
        Procedure that is looked at.
    determination
        concordant, discordant or indeterminate; None asks for flags without an own view.

    Raises
    ------
    Refused
        The actor may not record a review.
    UsageProblem
        No such procedure or determination.
    """
    actor = require(Action.DECIDE, registry, kind="procedure", key=procedure_id)
    known = [code for code in labels("reviews", "determination") if code != "not_applicable"]
    if determination is not None and determination not in known:
        raise UsageProblem(f"{determination}: is no determination. Known: {', '.join(known)}.")
    now = basis_of(registry, procedure_id)
    kept = own_view(registry, procedure_id)
    if kept is not None:
        return kept
    moment = registry.clock().replace(tzinfo=None)
    with registry.writing() as cursor:
        number = cursor.execute("SELECT coalesce(max(view_id), 0) + 1 FROM own_view").fetchall()[0][0]
        cursor.execute(
            "INSERT INTO own_view VALUES (?, ?, ?, ?, ?, ?)",
            [number, moment, actor.name, procedure_id, determination, now.basis],
        )
        audit.append(
            cursor,
            registry.key,
            registry.clock(),
            audit.Entry(
                actor.name, "own view", "procedure", procedure_id, {"determination": determination or "none"}
            ),
        )
    return OwnView(actor.name, procedure_id, determination, moment, now.basis)


def own_view(registry: Registry, procedure_id: str) -> OwnView | None:
    """The own view of whoever acts on a procedure as it stands now; None where there is none yet.

    Raises
    ------
    Refused
        The actor may not open records.
    """
    actor = require(Action.RECORD, registry, kind="procedure", key=procedure_id)
    rows = registry.rows(
        "SELECT person, procedure_id, determination, recorded_at, basis FROM own_view "
        "WHERE person = ? AND procedure_id = ? AND basis = ? ORDER BY view_id LIMIT 1",
        [actor.name, procedure_id, basis_of(registry, procedure_id).basis],
    )
    return OwnView(*rows[0]) if rows else None
