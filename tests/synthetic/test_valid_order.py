"""Events stand in an order that can have happened."""

from __future__ import annotations

import polars as pl
import pytest

from tests.synthetic.conftest import assert_none


def test_procedures_start_in_working_hours(demo):
    minute = pl.col("started_at").dt.hour().cast(pl.Int64) * 60 + pl.col("started_at").dt.minute()
    assert_none(demo.procedures, (minute < 7 * 60 + 30) | (minute > 17 * 60 + 30))


@pytest.mark.parametrize(
    ("table", "earlier", "later"),
    [
        ("findings", "found_on", "biopsy_advised_on"),
        ("procedures", "started_at", "ended_at"),
        ("procedures", "injected_at", "started_at"),
        ("procedures", "injected_at", "first_scan_at"),
        ("procedures", "first_scan_at", "started_at"),
        ("specimens", "scan_at", "read_at"),
        ("reviews", "reviewed_on", "due_on"),
        ("reviews", "reviewed_on", "booked_for"),
        ("reviews", "reviewed_on", "declined_on"),
        ("reviews", "reviewed_on", "informed_on"),
        ("sources", "reference_on", "leak_test_on"),
    ],
)
def test_later_is_not_before_earlier(demo, table, earlier, later):
    assert_none(demo.table(table), pl.col(later) < pl.col(earlier))


def test_procedure_is_not_before_its_finding(demo):
    found = demo.table("findings").select("finding_id", "found_on")
    assert_none(demo.procedures.join(found, on="finding_id"), pl.col("day") < pl.col("found_on"))


@pytest.mark.parametrize(
    ("table", "day"),
    [
        ("pathology", "reported_on"),
        ("reviews", "reviewed_on"),
        ("followup", "happened_on"),
        ("complications", "onset_on"),
    ],
)
def test_event_is_not_before_its_procedure(demo, table, day):
    joined = demo.table(table).join(demo.procedures.select("procedure_id", start="day"), on="procedure_id")
    assert_none(joined, pl.col(day) < pl.col("start"))


def test_specimen_scan_is_not_before_the_procedure(demo):
    joined = demo.table("specimens").join(demo.procedures, on="procedure_id")
    assert_none(joined, pl.col("scan_at") < pl.col("started_at"))


def test_nothing_happens_to_a_patient_after_death(demo):
    dead = demo.table("patients").select("patient_id", "death_date")
    of = demo.procedures.select("procedure_id", "patient_id", "day").join(dead, on="patient_id")
    assert_none(of, pl.col("day") > pl.col("death_date"))
    assert_none(
        demo.table("followup").join(of, on="procedure_id"), pl.col("happened_on") > pl.col("death_date")
    )


def test_meeting_is_not_closed_before_it_is_held(demo):
    assert_none(demo.table("meetings"), pl.col("closed_at").dt.date() < pl.col("held_on"))
