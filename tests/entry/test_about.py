"""What is shown beside a row that is being entered: the finding and the procedure that its keys name."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from registry.entry.about import About, about
from registry.errors import Refused
from registry.people import Actor, Role, acting
from registry.store import Registry
from tests.build import base, load

FINDING = {
    "finding_id": "F1",
    "laterality": "L",
    "region": None,
    "clock_position": None,
    "finding_type": "non_mass",
    "size_mm": 14.0,
    "assessment": "4B",
}


def filled(registry: Registry, **cells: str) -> Registry:
    """One procedure of a summer day, an hour ahead of UTC."""
    rows = {name: base()[name] for name in ("operators", "patients", "findings", "procedures")}
    rows["procedures"][0] |= {
        "started_at": "2025-07-10T09:30",
        "ended_at": "2025-07-10T10:20",
        "injected_at": "2025-07-10T08:20",
        "first_scan_at": "2025-07-10T09:20",
        **cells,
    }
    load(registry, rows)
    return registry


def test_a_procedure_that_is_entered_is_about_its_finding_alone(registry: Registry):
    assert about(filled(registry), "procedures", {"finding_id": " F1 "}) == About(FINDING)


def test_what_follows_a_procedure_is_about_its_finding_its_day_and_its_tracer(registry: Registry):
    found = about(filled(registry), "specimens", {"procedure_id": " P1 "})

    assert found is not None
    assert {name: found.finding[name] for name in FINDING} == FINDING
    assert (found.procedure_id, found.started_on) == ("P1", date(2025, 7, 10))
    assert (found.tracer, found.activity_mbq) == ("F-18 FDG", 185.0)
    # The clock in Lisbon shows 08:20 in summer, an hour more than UTC.
    assert found.injected_at == datetime(2025, 7, 10, 7, 20, tzinfo=UTC)
    assert found.injected_at.utcoffset() == timedelta(hours=1)


def test_a_procedure_without_a_tracer_has_no_time_of_injection(registry: Registry):
    without = dict.fromkeys(("tracer", "activity_mbq", "injected_at", "first_scan_at", "weight_kg"), "")
    found = about(filled(registry, guidance="ultrasound", **without), "specimens", {"procedure_id": "P1"})

    assert found is not None
    assert (found.injected_at, found.tracer, found.activity_mbq) == (None, "", None)


@pytest.mark.parametrize(
    ("table", "cells"),
    [
        ("procedures", {}),
        ("procedures", {"finding_id": "F9", "procedure_id": "P1"}),
        ("specimens", {}),
        ("specimens", {"procedure_id": "  "}),
        ("specimens", {"procedure_id": "P9", "finding_id": "F1"}),
    ],
)
def test_keys_that_name_nothing_are_about_nothing(registry: Registry, table: str, cells: dict[str, str]):
    assert about(filled(registry), table, cells) is None


def test_who_may_open_no_record_is_refused_and_that_is_written_down(registry: Registry):
    filled(registry)
    with acting(Actor("vera", frozenset({Role.VIEWER}))), pytest.raises(Refused):
        about(registry, "specimens", {"procedure_id": "P1"})

    assert registry.rows(
        "SELECT actor, action, object_kind, outcome FROM audit_event WHERE outcome = 'refused'"
    ) == [("vera", "open the record of a procedure", "specimens", "refused")]
