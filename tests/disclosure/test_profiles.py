"""What each profile does to a row, against arithmetic shown beside it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.codebook import SENSITIVITIES, Column, load_cohort
from registry.dictionary import FREE_TEXT
from registry.disclosure.profiles import INTERNAL, PROFILES, RESTRICTED, SHIFTED, profile_of
from registry.disclosure.treatment import disclose, refuse_undeclared
from registry.errors import UsageProblem

COLUMNS = (
    Column("patient_no", "export", "key", "", "Number"),
    Column("site", "procedures.site", "place", ""),
    Column("operator_no", "export", "staff", "", "Number"),
    Column("age_years", "procedures.age_years", "age", ""),
    Column("started_on", "procedure_facts.started_on", "date", ""),
    Column("first_report_on", "procedure_facts.first_report_on", "date", ""),
    Column("clear_until", "procedure_facts.clear_until", "horizon", ""),
    Column("finding_to_biopsy_days", "procedure_facts.finding_to_biopsy_days", "interval", ""),
    Column("marker_shift_x_mm", "procedures.marker_shift_x_mm", "position", ""),
    Column("weight_kg", "procedures.weight_kg", "body", ""),
    Column("marker_shape", "procedures.marker_shape", "label", ""),
    Column("diagnosis", "procedure_facts.diagnosis", "clinical", ""),
)
START = date(2024, 3, 10)
ROW = {
    "patient_no": 7,
    "site": "A",
    "operator_no": 3,
    "age_years": 64,
    "started_on": START,
    "first_report_on": date(2024, 3, 14),
    "clear_until": date(2026, 3, 20),
    "finding_to_biopsy_days": 18,
    "marker_shift_x_mm": -3.6,
    "weight_kg": 68.0,
    "marker_shape": "coil",
    "diagnosis": "benign",
    "_shift_days": -30,
}


def rows(*changes):
    kinds = {"age_years": pl.Int16, "finding_to_biopsy_days": pl.Int32, "_shift_days": pl.Int32}
    kinds |= dict.fromkeys(("started_on", "first_report_on", "clear_until"), pl.Date)
    return pl.DataFrame([{**ROW, **change} for change in changes or ({},)], schema_overrides=kinds)


def under(profile, *changes):
    return disclose(rows(*changes), COLUMNS, profile, frozenset({"patient_no", "operator_no"}))


def row_of(profile, **changes):
    return under(profile, changes).frame.row(0, named=True)


def test_internal_keeps_true_dates_and_everything_declared():
    expected = {name: cell for name, cell in ROW.items() if name != "_shift_days"}

    assert row_of(INTERNAL) == expected


def test_shifted_moves_all_dates_of_a_patient_together():
    """30 days before 10 and 14 March 2024 are 9 and 13 February: four days lie between them as before."""
    made = row_of(SHIFTED)

    assert (made["started_on"], made["first_report_on"]) == (date(2024, 2, 9), date(2024, 2, 13))
    assert "marker_shape" not in made


def test_restricted_has_the_year_and_intervals():
    """10 to 14 March: 4 days. To 20 March 2026: 740 days, in steps of 91 rounded down 728. 3.6 mm is 4, 68 kg is 70."""
    assert row_of(RESTRICTED) == {
        "patient_no": 7,
        "age_years": 64,
        "started_year": 2024,
        "first_report_days": 4,
        "clear_days": 728,
        "finding_to_biopsy_days": 18,
        "marker_shift_x_mm": -4,
        "weight_kg": 70,
        "diagnosis": "benign",
    }


@pytest.mark.parametrize(("age", "shown"), [(89, 89), (90, 90), (97, 90), (None, None)])
@pytest.mark.parametrize("profile", [SHIFTED, RESTRICTED], ids=lambda one: one.name)
def test_ages_of_90_and_over_are_one_group(profile, age, shown):
    assert row_of(profile, age_years=age)["age_years"] == shown


# 365 stays; 366 and 400 are rounded down to 4 * 91 = 364; 5,000 to 20 * 91 = 1,820.
@pytest.mark.parametrize(
    ("days", "shown"), [(365, 365), (366, 364), (400, 364), (5000, 1820), (-400, -364), (0, 0)]
)
def test_long_intervals_lose_their_days(days, shown):
    assert row_of(RESTRICTED, first_report_on=START + timedelta(days=days))["first_report_days"] == shown


@pytest.mark.parametrize("name", ["first_report_on", "clear_until"])
def test_what_did_not_happen_has_no_interval(name):
    made = row_of(RESTRICTED, **{name: None})

    assert made[{"first_report_on": "first_report_days", "clear_until": "clear_days"}[name]] is None


def test_no_interval_tells_that_somebody_reached_90():
    """87 at the procedure, 3 years later perhaps 90: the interval says only that it is a year or longer."""
    made = row_of(RESTRICTED, age_years=87, first_report_on=START + timedelta(days=1095))

    assert made["first_report_days"] == 365


@given(st.integers(-182, 182).filter(bool), st.integers(0, 4000), st.integers(0, 4000))
def test_every_interval_within_a_patient_is_kept_by_the_shift(shift, one, two):
    first, second = START + timedelta(days=one), START - timedelta(days=two)
    made = row_of(SHIFTED, _shift_days=shift, first_report_on=first, clear_until=second)

    assert made["first_report_on"] - made["clear_until"] == first - second
    assert made["started_on"] - START == timedelta(days=shift)


def test_restricted_holds_no_day_of_the_calendar():
    assert pl.Date not in under(RESTRICTED).frame.schema.values()


@pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES)
def test_a_sensitivity_without_a_treatment_stops_the_export(profile):
    new = (*COLUMNS[:-1], replace(COLUMNS[-1], sensitivity="genome"))

    with pytest.raises(UsageProblem, match="says nothing of the sensitivity 'genome' of column diagnosis"):
        disclose(rows(), new, profile, frozenset())


@pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES)
def test_a_column_that_nobody_classified_stops_the_export(profile):
    frame = rows().drop("_shift_days").with_columns(pl.lit("x").alias("new_column"))

    with pytest.raises(UsageProblem, match="gives new_column, not declared"):
        refuse_undeclared(frame, COLUMNS, "The cohort")


@pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES)
def test_every_sensitivity_that_a_header_may_name_has_a_treatment(profile):
    assert set(profile.rules) == set(SENSITIVITIES)


def test_free_text_is_declared_nowhere():
    declared = {tuple(column.source.split(".")) for column in load_cohort().columns}

    assert declared & FREE_TEXT == set()


def test_what_was_done_is_told_for_every_column():
    made = under(RESTRICTED)

    assert [one.column for one in made.decisions] == [column.name for column in COLUMNS]
    assert {one.column for one in made.decisions if not one.became} == {"site", "operator_no", "marker_shape"}
    assert [one.name for one in made.columns] == made.frame.columns


def test_an_unknown_profile_is_refused_with_those_there_are():
    with pytest.raises(UsageProblem, match="Profiles are internal, shifted, restricted"):
        profile_of("open")
