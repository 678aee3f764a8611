"""What a decision rests on, bound by digests."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from registry.errors import UsageProblem
from registry.sqlfiles import queries

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.store import Registry


@dataclass(frozen=True)
class Basis:
    """Digests (SHA-256) of one procedure: of what decides, and of everything that is seen."""

    basis: str
    seen: str


def bases(registry: Registry, ids: Sequence[str]) -> dict[str, Basis]:
    """Digests of procedures as they are recorded now; those that do not exist are left out."""
    if not ids:
        return {}
    with registry.cursor() as cursor:
        rows = cursor.execute(queries("concordance")["basis"].sql, {"ids": list(ids)}).fetchall()
    return {procedure_id: Basis(basis, seen) for procedure_id, basis, seen in rows}


def basis_of(registry: Registry, procedure_id: str) -> Basis:
    """Digests of one procedure.

    Raises
    ------
    UsageProblem
        The registry holds no such procedure.
    """
    found = bases(registry, [procedure_id]).get(procedure_id)
    if found is None:
        raise UsageProblem(
            "There is no procedure with this key in the registry. Choose one from the list, or correct the key."
        )
    return found
