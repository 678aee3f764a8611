"""The ledger of released tables against the trail: append-only, so nothing may differ or be gone."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from registry import audit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.store import Registry

KIND = "counts"
_LINE = (
    "SELECT release_no, author, purpose, population_digest, units, dimensions, hidden_up_to FROM release "
    "WHERE release_no = ?"
)
_CELLS = "SELECT cell, is_shown, shown_count FROM release_cell WHERE release_no = ? ORDER BY cell"


def digest(line: Sequence[object], cells: Sequence[Sequence[object]]) -> str:
    """SHA-256 over a line of the ledger and its cells, as its entry of the trail states it."""
    return hashlib.sha256(
        audit.canonical({"line": list(line), "cells": sorted((list(one) for one in cells), key=str)}).encode()
    ).hexdigest()


def disagreements(registry: Registry) -> list[str]:
    """What the ledger says otherwise than the trail, one sentence a release."""
    if not registry.rows("SELECT 1 FROM information_schema.tables WHERE table_name = 'release'"):
        return []
    told = dict(
        registry.rows(
            "SELECT CAST(json_extract_string(details, '$.release') AS INTEGER), json_extract_string(details, '$.ledger') "
            "FROM audit_event WHERE object_kind = ? AND action = 'export' AND outcome = 'done'",
            [KIND],
        )
    )
    kept = {}
    for (number,) in registry.rows("SELECT release_no FROM release ORDER BY release_no"):
        line = list(registry.rows(_LINE, [number])[0])
        kept[number] = digest(line, [list(one) for one in registry.rows(_CELLS, [number])])
    return [
        f"Release {number} is missing, and the trail says that it was made."
        if number not in kept
        else f"Release {number} is not the table that the trail says was released."
        for number in sorted(told.keys() | kept.keys())
        if told.get(number) != kept.get(number)
    ]
