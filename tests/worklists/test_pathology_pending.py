"""Pathology pending: the procedure was done on 2025-03-10, the local limit is 14 days."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from registry import worklists
from tests.build import base, load

if TYPE_CHECKING:
    from registry.store import Registry

AS_OF = date(2025, 4, 9)  # 30 days after the procedure
FIRST = base()["pathology"][0]


def listed(registry: Registry, as_of: date = AS_OF) -> list[dict[str, Any]]:
    return worklists.rows(registry, "pathology_pending", as_of=as_of).to_dicts()


def unreported(registry: Registry, *reports: dict[str, str]) -> None:
    rows = base()
    rows["reviews"] = []
    rows["pathology"] = list(reports)
    load(registry, rows)


@pytest.mark.parametrize(("as_of", "expected"), [(date(2025, 3, 24), []), (date(2025, 3, 25), [(15, 1)])])
def test_listed_from_the_day_after_the_limit(
    registry: Registry, as_of: date, expected: list[tuple[int, int]]
):
    unreported(registry)
    assert [(row["days_waiting"], row["days_overdue"]) for row in listed(registry, as_of)] == expected


def test_the_row_says_what_was_sent(registry: Registry):
    unreported(registry)
    row = listed(registry)[0]
    assert (row["procedure_id"], row["containers"], row["assessment"], row["reason"]) == (
        "P1",
        2,
        "4B",
        "no report",
    )


@pytest.mark.parametrize(
    ("reports", "reason"),
    [
        ([{**FIRST, "status": "preliminary"}], "preliminary report only"),
        ([FIRST, {**FIRST, "version": "2", "status": "retracted"}], "report retracted, no other one"),
    ],
)
def test_preliminary_and_retracted_reports_do_not_count(
    registry: Registry, reports: list[dict[str, str]], reason: str
):
    unreported(registry, *reports)
    assert [row["reason"] for row in listed(registry)] == [reason]


def test_a_current_report_takes_the_procedure_off(registry: Registry):
    unreported(registry, FIRST)
    assert listed(registry) == []


def test_a_report_dated_after_as_of_does_not_exist(registry: Registry):
    unreported(registry, {**FIRST, "reported_on": "2025-04-10"})
    assert [row["procedure_id"] for row in listed(registry)] == ["P1"]


def test_a_procedure_without_tissue_is_not_listed(registry: Registry):
    rows = base()
    rows["procedures"][0] |= {
        "status": "cancelled",
        "status_reason": "no_uptake",
        "cores": "",
        "marker": "",
        "marker_shape": "",
    }
    load(registry, {name: rows[name] for name in ("operators", "patients", "findings", "procedures")})
    assert listed(registry) == []


def test_the_longest_wait_comes_first(registry: Registry):
    rows = base()
    rows["reviews"], rows["pathology"] = [], []
    rows["findings"].append({**rows["findings"][0], "finding_id": "F2"})
    earlier = {
        "procedure_id": "P2",
        "finding_id": "F2",
        "accession": "",
        "marker_shape": "ring",
        "started_at": "2025-03-03T09:00",
        "ended_at": "",
    }
    rows["procedures"].append({**rows["procedures"][0], **earlier, "injected_at": "", "first_scan_at": ""})
    load(registry, rows)
    assert [row["procedure_id"] for row in listed(registry)] == ["P2", "P1"]


def test_a_preliminary_report_of_the_as_of_day_is_seen(registry: Registry):
    unreported(registry, {**FIRST, "status": "preliminary", "reported_on": "2025-04-09"})
    assert [row["reason"] for row in listed(registry)] == ["preliminary report only"]
