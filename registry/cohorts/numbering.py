"""Numbers in place of patients and operators, drawn anew for every taking out of rows."""

from __future__ import annotations

import random
import secrets
from typing import TYPE_CHECKING

import polars as pl

if TYPE_CHECKING:
    import duckdb

#: Whose stored key is replaced by a number drawn for this one time, and where the keys stand.
_PEOPLE = {
    "patient": "SELECT DISTINCT patient FROM procedure_facts",
    "operator": "SELECT operator FROM procedures UNION SELECT supervisor FROM procedures WHERE supervisor IS NOT NULL",
}


def source_of_chance(seed: int | None) -> random.Random:
    """Unpredictable, unless a seed asks for the same numbers again."""
    return secrets.SystemRandom() if seed is None else random.Random(seed)


def number_people(cursor: duckdb.DuckDBPyConnection, chance: random.Random) -> None:
    """Lay ``study_patient`` and ``study_operator``: each key once with a number drawn without regard to its order.

    They are temporary tables, not views of a frame: of a table the engine knows how long it is, and
    so does not hold every column of the procedures in memory to look up one number.
    """
    for name, source in _PEOPLE.items():
        codes = sorted(row[0] for row in cursor.execute(source).fetchall())
        numbers = list(range(1, len(codes) + 1))
        chance.shuffle(numbers)
        drawn = pl.DataFrame(
            {name: codes, "number": numbers}, schema={name: pl.String, "number": pl.Int32}
        ).to_arrow()
        cursor.register("drawn_numbers", drawn)
        cursor.execute(f"CREATE OR REPLACE TEMP TABLE study_{name} AS FROM drawn_numbers")
        cursor.unregister("drawn_numbers")
