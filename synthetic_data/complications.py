"""The complications table."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from synthetic_data import tables
from synthetic_data.columns import NO_DAY, Columns, blank, code, codes, draw, pick
from synthetic_data.results import CANCELLED
from synthetic_data.setting import Setting


def chances(setting: Setting) -> dict[int, float]:
    """Chance per attempted procedure of a complication of each grade with onset within 30 days."""
    given = setting("complication")
    by_grade = {2: given["grade_2"], 3: given["grade_3"], 4: given["grade_4"]}
    return {grade: given["any"] * share * given["within_30_days"] for grade, share in by_grade.items()}


def write(folder: Path, setting: Setting, rows: Columns, people: Columns) -> None:
    """complications.csv."""
    rng, given, count = setting.stream("complications"), setting("complication"), rows.rows
    struck = (rows["status"] != CANCELLED) & (rng.random(count) < given["any"])
    grade = 1 + pick(
        rng,
        [
            1.0 - given["grade_2"] - given["grade_3"] - given["grade_4"],
            *(given[f"grade_{n}"] for n in (2, 3, 4)),
        ],
        count,
    )
    haematoma = given["bleeding"] * given["haematoma_of_bleeding"]
    other = {name: (1.0 - given["bleeding"]) * share for name, share in given["other_kinds"].items()}
    kinds = {"haematoma": haematoma, "bleeding": given["bleeding"] - haematoma, **other}
    kind = draw(rng, "complications", "kind", kinds, count)
    delay = np.where(
        kind == code("complications", "kind", "infection"),
        rng.integers(2, 15, count),
        rng.integers(0, 2, count),
    )
    late = rng.random(count) >= given["within_30_days"]
    onset = rows["day"] + np.where(late, rng.integers(31, 60, count), delay)
    died = people["died_on"][rows["patient"]]
    number = np.flatnonzero(struck & (onset <= setting.until) & ((died == NO_DAY) | (onset < died)))
    listed = codes("complications", "action")
    action = np.array(
        [listed.index(name) for name in ("none", "none", "compression", "surgery", "admission")]
    )[grade]
    columns: dict[str, tables.Column] = {
        "complication_id": tables.identifiers("C", np.arange(number.shape[0]), 6),
        "procedure_id": tables.identifiers("B", number),
        "kind": kind[number],
        "scheme": draw(
            rng, "complications", "scheme", {"registry_scale": 0.92, "clavien_dindo": 0.08}, number.shape[0]
        ),
        "grade": grade[number],
        "action": blank(rng, action[number], 0.05),
        "onset_on": onset[number],
    }
    tables.write(folder, "complications", columns)
