"""Rows of the base with cells changed, and a registry folder with coordinate frames."""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.dictionary import KEYS
from tests.build import BASE
from tests.intake.offending import FRAMES

if TYPE_CHECKING:
    from pathlib import Path

    from tests.intake.offending import Change


def rows_of(change: Change, emptied: str) -> dict[str, list[dict[str, str]]]:
    """Whole rows: those of the base with the same key (else the first), changed."""
    made: dict[str, list[dict[str, str]]] = {}
    for table, changes in change.items():
        for cells in changes:
            like = [
                row
                for row in BASE[table]
                if all(cells.get(key, row.get(key)) == row.get(key) for key in KEYS[table])
            ]
            row = (like or BASE[table])[0] | {
                name: emptied if value is None else value for name, value in cells.items()
            }
            made.setdefault(table, []).append(row)
    return made


def with_frame(folder: Path) -> Path:
    """The folder with coordinate frames."""
    site = folder / "site.toml"
    site.write_text(site.read_text(encoding="utf-8") + FRAMES, encoding="utf-8")
    return folder
