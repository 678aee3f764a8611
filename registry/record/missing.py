"""Which expected fields of a procedure are empty, in words.

``sql/record/expected.csv`` lists the fields and when each is expected, so that a clinician
can change the list without meeting Python. An empty field is no fault: the sentence only
says what nobody can look up later.
"""

from __future__ import annotations

import csv
import io
from functools import cache
from typing import TYPE_CHECKING, Any

from registry.sqlfiles import read_text

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

Parts = dict[str, Any]

SCAN_GUIDED = frozenset({"pet_tracer", "gamma_tracer", "mri"})
TRACER_GUIDED = frozenset({"pet_tracer", "gamma_tracer"})


def _sampled(parts: Parts) -> bool:
    return bool(parts["procedure"]["status"] == "completed")


#: Word in the column ``when`` -> whether the field is expected of this procedure.
CONDITIONS: Mapping[str, Callable[[Parts], bool]] = {
    "always": lambda parts: True,
    "sampled": _sampled,
    "vacuum": lambda parts: _sampled(parts) and parts["procedure"]["device"] == "vacuum_assisted",
    "tracer_guided": lambda parts: _sampled(parts) and parts["procedure"]["guidance"] in TRACER_GUIDED,
    "scan_guided": lambda parts: _sampled(parts) and parts["procedure"]["guidance"] in SCAN_GUIDED,
    "tracer": lambda parts: parts["procedure"]["tracer"] is not None,
    "marker_placed": lambda parts: parts["procedure"]["marker"] == "placed",
}

#: Table of the dictionary -> rows of the record in which the field must stand once.
_PLACES = {"findings": "finding", "procedures": "procedure", "pathology": "reports"}


@cache
def expected_fields() -> tuple[dict[str, str], ...]:
    """Rows of ``sql/record/expected.csv``: table, field, when, words."""
    return tuple(csv.DictReader(io.StringIO(read_text("record", "expected.csv"))))


def missing_fields(parts: Parts) -> tuple[str, ...]:
    """Words for the expected fields that are empty in every row where they could stand.

    A table without a single row is named once, as its own words, and not field by field.
    """
    missing: dict[str, None] = {}
    for one in expected_fields():
        if not CONDITIONS[one["when"]](parts):
            continue
        found = parts[_PLACES.get(one["table"], one["table"])]
        rows = [found] if isinstance(found, dict) else _counted(one["table"], found)
        if not rows:
            missing[
                {
                    "targeting": "targeting record",
                    "specimens": "specimen record",
                    "pathology": "pathology report",
                }[one["table"]]
            ] = None
        elif all(row[one["field"]] is None for row in rows):
            missing[one["words"]] = None
    return tuple(missing)


def _counted(table: str, rows: tuple[dict[str, Any], ...]) -> list[dict[str, Any]]:
    """Only current reports, and only the last needle placement, answer for a field."""
    if table == "pathology":
        return [row for row in rows if row["is_current"]]
    return list(rows[-1:]) if table == "targeting" else list(rows)
