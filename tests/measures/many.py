"""Many drawn procedures at once, by counts: for published charts, whose data are counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import TYPE_CHECKING

import polars as pl

from registry import facts

if TYPE_CHECKING:
    from collections.abc import Iterable

    from tests.measures.build import Drawn

_RECORDED = {"recorded_at": datetime(2026, 1, 1), "author": "test", "batch_id": 1}


@dataclass(frozen=True)
class Group:
    """``n`` attempts on one day, ``x`` of them abandoned: tissue_obtained has n - x of n."""

    x: int
    n: int
    on: date
    site: str = "A"
    operator: str = "OP1"
    size_mm: float | None = None


def draw(drawn: Drawn, groups: Iterable[Group]) -> Drawn:
    """Fill the tables of a drawing that holds nothing else, a patient for each procedure, and derive the facts."""
    rows = [
        {
            "procedure_id": f"P{place:02}-{number:04}",
            "site": one.site,
            "operator": one.operator,
            "started_at": datetime.combine(one.on, time(9)),
            "status": "abandoned" if number < one.x else "completed",
            "size_mm": one.size_mm,
        }
        for place, one in enumerate(groups)
        for number in range(one.n)
    ]
    key = pl.col("procedure_id")
    made = pl.DataFrame(rows, schema_overrides={"size_mm": pl.Float64}).with_columns(
        finding_id="F" + key,
        patient="of " + key,
        root_id=key,
        **{name: pl.lit(value) for name, value in _RECORDED.items()},
    )
    fixed = {
        "patients": {"sex": "female"},
        "findings": {
            "found_on": date(2010, 1, 1),
            "laterality": "L",
            "modality": "pet_tracer",
            "finding_type": "mass",
            "assessment": "4",
        },
        "procedures": {"guidance": "pet_tracer", "started_at_offset_min": 0},
    }
    kept = {
        "patients": ["patient"],
        "findings": ["finding_id", "patient", "size_mm"],
        "procedures": ["procedure_id", "finding_id", "site", "operator", "started_at", "status", "root_id"],
    }
    drawn.write()
    with drawn.cursor() as cursor:
        for table, names in kept.items():
            frame = made.select(
                *names, *_RECORDED, **{name: pl.lit(value) for name, value in fixed[table].items()}
            )
            cursor.register("drawn_rows", frame.to_arrow())
            cursor.execute(f"INSERT INTO main.{table} BY NAME SELECT * FROM drawn_rows")
            cursor.unregister("drawn_rows")
        cursor.execute("BEGIN")
        facts.rebuild(cursor)
        cursor.execute("COMMIT")
    return drawn
