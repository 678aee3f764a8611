"""Random filters as JSON, rows to put them to, and a reading of them that shares no code with the program.

The reading is the truth table of SQL (ISO/IEC 9075-2, 6.39 <boolean value expression>): a
comparison with a missing cell is unknown, not of unknown is unknown, and of false and unknown
is false, or of true and unknown is true.
"""

from __future__ import annotations

import random
from datetime import date
from typing import Any

import polars as pl

#: Field -> kind and the values of cells and of filters; typed again, so that the test knows by itself.
FIELDS: dict[str, tuple[str, list[Any]]] = {
    "age_years": ("number", [30, 44, 45, 61, 90]),
    "size_mm": ("number", [0.5, 7, 12.25, 12.5, 80]),
    "duration_minutes": ("number", [0, 31.5, 45]),
    "cores": ("number", [1, 6, 12]),
    "density": ("code", ["a", "b", "c", "d"]),
    "assessment": ("code", ["3", "4", "4A", "4B", "5"]),
    "diagnosis": ("code", ["normal", "benign", "high_risk", "invasive"]),
    "laterality": ("code", ["L", "R"]),
    "site": ("text", ["A", "B", "' OR '1'='1", 'x"; DROP TABLE patients; --', "$filter_0", "ä"]),
    "is_malignant": ("flag", [True, False]),
    "is_verified": ("flag", [True, False]),
    "started_on": ("date", ["2024-02-29", "2025-03-10", "2026-06-30"]),
    "clear_until": ("date", ["2025-01-01", "2025-03-10", "2027-01-01"]),
}
TAKES = {
    "number": ("eq", "ne", "in", "not_in", "lt", "le", "gt", "ge", "between", "is_missing", "is_present"),
    "date": ("eq", "ne", "in", "not_in", "lt", "le", "gt", "ge", "between", "is_missing", "is_present"),
    "code": ("eq", "ne", "in", "not_in", "is_missing", "is_present"),
    "text": ("eq", "ne", "in", "not_in", "is_missing", "is_present"),
    "flag": ("eq", "ne", "is_missing", "is_present"),
}
_TYPES = {"number": pl.Float64, "code": pl.String, "text": pl.String, "flag": pl.Boolean, "date": pl.Date}


def frame(draw: random.Random, rows: int) -> pl.DataFrame:
    """Rows of which each cell is missing in one of four."""
    made: dict[str, list[Any]] = {}
    for name, (kind, values) in FIELDS.items():
        cells = [draw.choice([*values, *values, *values, *[None] * len(values)]) for _ in range(rows)]
        made[name] = [date.fromisoformat(one) if one and kind == "date" else one for one in cells]
    return pl.DataFrame(
        {
            name: pl.Series(name, cells, dtype=_TYPES[FIELDS[name][0]], strict=False)
            for name, cells in made.items()
        }
    )


def tree(draw: random.Random, depth: int = 0) -> dict[str, Any]:
    """A filter that the program must take."""
    kind = draw.random()
    if depth < 4 and kind < 0.4:
        join = draw.choice(["and", "or"])
        return {join: [tree(draw, depth + 1) for _ in range(draw.randint(1, 3))]}
    if depth < 4 and kind < 0.55:
        return {"not": tree(draw, depth + 1)}
    name = draw.choice(list(FIELDS))
    kind_, values = FIELDS[name]
    operator = draw.choice(TAKES[kind_])
    made: dict[str, Any] = {"field": name, "operator": operator}
    if operator == "between":
        made["value"] = sorted(draw.choices(values, k=2))
    elif operator in ("in", "not_in"):
        made["value"] = draw.sample(values, draw.randint(1, len(values)))
    elif not operator.startswith("is_"):
        made["value"] = draw.choice(values)
    return made


def truth(made: dict[str, Any], row: dict[str, Any]) -> bool | None:
    """What a filter says of a row: true, false or unknown."""
    if "not" in made:
        said = truth(made["not"], row)
        return None if said is None else not said
    if "and" in made:
        found = [truth(one, row) for one in made["and"]]
        return False if False in found else None if None in found else True
    if "or" in made:
        found = [truth(one, row) for one in made["or"]]
        return True if True in found else None if None in found else False
    cell, operator = row[made["field"]], made["operator"]
    if operator == "is_missing":
        return cell is None
    if operator == "is_present":
        return cell is not None
    if cell is None:
        return None
    value = made["value"]
    if isinstance(cell, date):
        value = (
            [date.fromisoformat(one) for one in value]
            if isinstance(value, list)
            else date.fromisoformat(value)
        )
    return {
        "eq": lambda: cell == value,
        "ne": lambda: cell != value,
        "in": lambda: cell in value,
        "not_in": lambda: cell not in value,
        "lt": lambda: cell < value,
        "le": lambda: cell <= value,
        "gt": lambda: cell > value,
        "ge": lambda: cell >= value,
        "between": lambda: value[0] <= cell <= value[1],
    }[operator]()


_GARBAGE: list[Any] = [
    None,
    "",
    "patient_no",
    "operator_no",
    "conclusion",
    "patient",
    "1; DROP TABLE procedure_facts",
    "age_years) OR (TRUE",
    -1,
    10**400,
    1e308,
    True,
    [],
    {},
    [[]],
    {"and": []},
    {"or": 3},
    {"not": None},
    {"field": []},
    ["a"] * 60,
    "\ud800",
    "\x00",
    "x" * 500,
    "2025-02-30",
    "2025-W01-1",
    float("inf"),
    float("nan"),
]


def broken(draw: random.Random, made: Any) -> Any:
    """A filter with something in it replaced, taken away or added."""
    if isinstance(made, dict) and made and draw.random() < 0.8:
        key = draw.choice(list(made))
        what = draw.random()
        if what < 0.15:
            return {**made, draw.choice(["sql", "Field", "value", "and", ""]): draw.choice(_GARBAGE)}
        if what < 0.3:
            return {one: value for one, value in made.items() if one != key}
        return {**made, key: broken(draw, made[key])}
    if isinstance(made, list) and made and draw.random() < 0.8:
        place = draw.randrange(len(made))
        return [*made[:place], broken(draw, made[place]), *made[place + 1 :]]
    return draw.choice(_GARBAGE)
