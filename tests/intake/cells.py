"""Rows sent with one cell of interest: fresh keys, what is stored, how many examples."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from registry.intake import IntakeReport
from registry.store import Registry
from tests.build import load

if TYPE_CHECKING:
    pass

ROOT = Path(__file__).resolve().parents[2]
DICTIONARY = list(csv.DictReader((ROOT / "sql" / "dictionary.csv").open(encoding="utf-8")))
LISBON = ZoneInfo("Europe/Lisbon")
KEYS = {"operators": "operator", "constancy": "check_id", "sources": "source_id"}


_numbers = iter(range(1, 1_000_000))


def send(
    registry: Registry, table: str, rows: list[dict[str, str]], **options: object
) -> tuple[list[str], IntakeReport]:
    """Send rows under fresh keys; their keys and the report."""
    keys = [f"N{next(_numbers)}" for _ in rows]
    sent = {table: [row | {KEYS[table]: key} for row, key in zip(rows, keys, strict=True)]}
    return keys, load(registry, sent, held_share_max=1.0, **options)


def stored(registry: Registry, table: str, keys: list[str], columns: str) -> list[tuple | None]:
    """What is stored under each key; None where nothing is."""
    found = {
        key: tuple(rest) for key, *rest in registry.rows(f"SELECT {KEYS[table]}, {columns} FROM {table}")
    }
    return [found.get(key) for key in keys]


def many(strategy: st.SearchStrategy, most: int = 60) -> st.SearchStrategy:
    """Several values at once: one batch costs as much as one row."""
    return st.lists(strategy, min_size=1, max_size=most)


few = settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
CLOCK = {"site": "A", "done_at": "2025-03-10T07:00", "kind": "clock", "clock_offset_s": "1"}
COUNTS = {
    "site": "A",
    "done_at": "2025-03-10T07:00",
    "kind": "counts",
    "source_id": "SRC1",
    "counts": "1",
    "seconds": "60",
}
