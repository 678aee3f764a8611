"""The accession number of a procedure, for whoever looks it up in the image archive."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from registry.people import Action, require
from registry.people.reads import note_read

if TYPE_CHECKING:
    from registry.store import Registry


def accession(registry: Registry, procedure_id: str) -> str | None:
    """The number, None where none is recorded; that somebody sees it is written down before.

    Raises
    ------
    Refused
        The actor may not see identifiers.
    """
    actor = require(Action.IDENTIFIERS, registry, kind="accession", key=procedure_id)
    note_read(registry, actor, "accession", procedure_id, Action.IDENTIFIERS)
    empty = pl.DataFrame(schema={"procedure_id": pl.String, "accession": pl.String})
    found = registry.identity_frame("SELECT procedure_id, accession FROM procedure_accession", empty)
    rows = found.filter(pl.col("procedure_id") == procedure_id)["accession"].to_list()
    return rows[0] if rows else None
