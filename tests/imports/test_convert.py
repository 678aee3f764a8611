"""Cells of mapped sources: numbers, units, codes, dates, and what cannot be read."""

from __future__ import annotations

import pytest

from registry.dictionary import tables
from registry.imports.convert import ERROR_VALUES, Converter, Unreadable
from registry.imports.mapping_parts import FieldSource, Mapping


def converter(
    field: str, *, mapping: dict[str, object] | None = None, is_1904: bool = False, **options: object
) -> Converter:
    table, name = field.split(".")
    source = FieldSource(tables()[table][name], "column", ("Column",), **options)
    whole = Mapping("test", "1", "xlsx", "", (), **(mapping or {}))
    return Converter(source, whole, is_1904)


def read(field: str, text: str | None, **options: object) -> str | None:
    return converter(field, **options).read((text,))


def rule(field: str, text: str, **options: object) -> str:
    with pytest.raises(Unreadable) as caught:
        read(field, text, **options)
    return caught.value.rule


# --- numbers -----------------------------------------------------------------------------

POINT, COMMA = {"decimal": "."}, {"decimal": ","}


@pytest.mark.parametrize(
    ("text", "signs", "number"),
    [
        ("4.2", POINT, "4.2"),
        ("+4", POINT, "4"),
        ("1.234", POINT, "1.234"),
        ("4,20", COMMA, "4.20"),
        ("-0,5", COMMA, "-0.5"),
        ("\u22124,0", COMMA, "-4.0"),
        ("1.234,5", {"decimal": ",", "thousands": "."}, "1234.5"),
        ("1,234.5", {"decimal": ".", "thousands": ","}, "1234.5"),
        ("1234.5", {"decimal": ".", "thousands": ","}, "1234.5"),
        ("12\u00a0345", {"decimal": ",", "thousands": "\u00a0"}, "12345"),
    ],
)
def test_a_number_is_read_with_the_signs_that_the_mapping_states(text, signs, number):
    assert read("procedures.weight_kg", text, mapping=signs) == number


@pytest.mark.parametrize(
    ("text", "signs"),
    [("1.234", COMMA), ("12.345.678", COMMA), ("1,234", POINT), ("1'234", POINT), ("1 234", POINT)],
)
def test_a_thousands_sign_that_was_not_stated_is_ambiguous(text, signs):
    assert rule("procedures.weight_kg", text, mapping=signs) == "ambiguous_number"


@pytest.mark.parametrize(
    ("text", "signs"),
    [
        ("4,2", POINT),
        ("4.2", COMMA),
        ("4.25", COMMA),
        ("1.23.4", {"decimal": ",", "thousands": "."}),
        ("12 kg", POINT),
    ]
    + [(text, POINT) for text in ("NaN", "inf", "1e400", "0x1F", "1_000", "--4", "4.", "\u0664")],
)
def test_what_is_no_plain_number_is_not_read(text, signs):
    assert rule("procedures.weight_kg", text, mapping=signs) == "not_a_number"


@pytest.mark.parametrize("text", ["<1", "> 20", "~5", "\u22645"])
def test_a_comparator_is_not_dropped_unless_the_mapping_says_so(text):
    assert rule("procedures.weight_kg", text) == "comparator"


def test_the_mapping_may_say_what_a_comparator_means():
    assert read("procedures.weight_kg", "<1", comparator="take_number") == "1"
    assert read("procedures.weight_kg", "<1", comparator="leave_empty") is None


@pytest.mark.parametrize("text", ["8", "8 G", "8G", "8-gauge", "8 Gauge"])
def test_a_unit_behind_the_number_is_taken_where_it_is_stated(text):
    assert read("procedures.gauge", text, suffixes=("g", "gauge")) == "8"


def test_a_whole_number_with_a_zero_fraction_is_whole():
    assert read("procedures.cores", "12.0") == "12"
    assert read("procedures.weight_kg", "12.0") == "12.0"


# Factors by definition: 1 in = 25.4 mm, 1 Ci = 3.7e10 Bq, 1 lb = 0.45359237 kg (exact).
# Glucose: 90 mg/dL / 18.016 = 4.99555950... mmol/L by long division.
@pytest.mark.parametrize(
    ("field", "unit", "text", "converted"),
    [
        ("findings.size_mm", "cm", "1.4", "14"),
        ("findings.size_mm", "in", "0.5", "12.7"),
        ("procedures.activity_mbq", "mCi", "10", "370"),
        ("procedures.activity_mbq", "uCi", "100", "3.7"),
        ("procedures.activity_mbq", "kBq", "185000", "185"),
        ("procedures.activity_mbq", "Bq", "370000000", "370"),
        ("specimens.mass_g", "mg", "850", "0.85"),
        ("specimens.scan_seconds", "min", "2", "120"),
        ("procedures.weight_kg", "lb", "150", "68.0388555"),
        ("procedures.glucose_mmol_l", "mg/dL", "90", "4.99555950"),
        ("procedures.gauge", "G", "8", "8"),
    ],
)
def test_units_are_converted_by_their_definition(field, unit, text, converted):
    assert float(read(field, text, unit=unit)) == pytest.approx(float(converted), rel=1e-9)


def test_a_small_converted_number_is_written_without_an_exponent():
    assert read("procedures.activity_mbq", "10", unit="Bq") == "0.00001"


# --- words -------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["left", "LEFT", "  Left "])
def test_a_code_word_is_compared_without_case_and_edges(text):
    assert read("findings.laterality", text, codes={"left": "L"}) == "L"


@pytest.mark.parametrize("text", ["lef", "left breast", "links"])
def test_a_word_without_a_code_is_passed_on_for_intake_to_hold(text):
    assert read("findings.laterality", text, codes={"left": "L"}) == text


def test_null_words_are_empty_but_a_code_word_goes_first():
    words = {"null_words": frozenset({"n/a", "-"})}

    assert read("findings.correlate", "N/A", mapping=words) is None
    assert read("findings.correlate", "-", mapping=words, codes={"-": "none"}) == "none"


@pytest.mark.parametrize(
    "field", ["procedures.weight_kg", "findings.biopsy_advised_on", "findings.correlate"]
)
def test_the_word_that_erases_a_field_is_passed_on(field):
    assert read(field, "<erase>") == "<erase>"


def test_an_empty_cell_may_have_a_value_of_its_own():
    assert read("findings.correlate", None, if_empty="not_assessed") == "not_assessed"


def test_a_part_of_a_cell_can_be_taken():
    assert read("findings.laterality", "L / 12", split_by="/", split_part=1) == "L"
    assert read("findings.clock_position", "L / 12", split_by="/", split_part=2) == "12"
    assert read("findings.laterality", "mass (left)", pattern=r"\((\w+)\)", codes={"left": "L"}) == "L"


def test_a_part_that_is_not_there_is_said():
    assert rule("findings.clock_position", "L", split_by="/", split_part=2) == "part_missing"
    assert rule("findings.laterality", "mass", pattern=r"\((\w+)\)") == "pattern"


def test_letters_can_be_made_even():
    assert read("procedures.procedure_id", "b-7", letters="upper") == "B-7"


def test_an_identifier_of_another_width_is_held_and_never_padded():
    assert read("patients.patient_id", "00123", width=5) == "00123"
    with pytest.raises(Unreadable, match="width differs"):
        read("patients.patient_id", "123", width=5)


@pytest.mark.parametrize("text", [*sorted(ERROR_VALUES), "#n/a"])
def test_a_spreadsheet_error_is_no_value(text):
    assert rule("procedures.operator", text) == "spreadsheet_error"


def test_an_invisible_character_is_no_value():
    assert rule("procedures.operator", "A\u200bB") == "refused_character"


# --- dates -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "form", "day"),
    [
        ("2025-03-04", "", "2025-03-04"),
        ("04.03.2025", "%d.%m.%Y", "2025-03-04"),
        ("4.3.2025", "%d.%m.%Y", "2025-03-04"),
        ("03/04/2025", "%m/%d/%Y", "2025-03-04"),
        ("20250304", "%Y%m%d", "2025-03-04"),
        ("2025-03-04T09:30:00", "", "2025-03-04"),
        ("2025-03-04", "%d.%m.%Y", "2025-03-04"),
    ],
)
def test_a_date_is_read_in_iso_or_in_the_stated_form(text, form, day):
    assert read("findings.found_on", text, date_format=form) == day


@pytest.mark.parametrize("text", ["03/04/2025", "4 March 2025"])
def test_a_date_is_never_guessed(text):
    assert rule("findings.found_on", text) == "ambiguous_date"


@pytest.mark.parametrize(
    ("text", "form"), [("2025-02-30", ""), ("31.02.2024", "%d.%m.%Y"), ("04.03.25", "%d.%m.%Y")]
)
def test_a_day_that_is_not_in_the_calendar_is_refused(text, form):
    assert rule("findings.found_on", text, date_format=form) == "not_a_date"


def test_a_birth_date_is_not_repeated():
    with pytest.raises(Unreadable) as caught:
        read("patients.birth_date", "31.02.1960", date_format="%d.%m.%Y")

    assert "1960" not in caught.value.message + caught.value.hint


@pytest.mark.parametrize(
    ("text", "form", "moment"),
    [
        ("04.03.2025 09:30", "%d.%m.%Y %H:%M", "2025-03-04T09:30:00"),
        ("03/04/2025 02:30 PM", "%m/%d/%Y %I:%M %p", "2025-03-04T14:30:00"),
        ("04.03.2025 09:30 +0200", "%d.%m.%Y %H:%M %z", "2025-03-04T09:30:00+02:00"),
        ("2025-03-04T09:30+02:00", "", "2025-03-04T09:30+02:00"),
        ("2025-03-04", "", "2025-03-04"),
    ],
)
def test_a_time_is_read_in_iso_or_in_the_stated_form(text, form, moment):
    assert read("procedures.started_at", text, datetime_format=form) == moment


# Central European time is one hour ahead of UTC in winter and two in summer; clocks went
# back on 2025-10-26 at 03:00 and forward on 2025-03-30 at 02:00.
@pytest.mark.parametrize(
    ("text", "moment"),
    [("2025-01-15T09:30", "2025-01-15T09:30:00+01:00"), ("2025-07-15T09:30", "2025-07-15T09:30:00+02:00")],
)
def test_a_time_of_another_zone_carries_its_offset(text, moment):
    assert read("procedures.started_at", text, mapping={"time_zone": "Europe/Berlin"}) == moment


@pytest.mark.parametrize(
    ("text", "said"), [("2025-10-26T02:30", "time_twice"), ("2025-03-30T02:30", "time_never")]
)
def test_an_hour_that_occurs_twice_or_never_is_not_guessed(text, said):
    assert rule("procedures.started_at", text, mapping={"time_zone": "Europe/Berlin"}) == said


# 1900 system: day 1 is 1900-01-01 and 1900-02-29 is counted although it never was, so
# 45352 is 2024-03-01. 1904 system: day 0 is 1904-01-01; the two differ by 1,462 days
# (common practice), so 45000 is 2023-03-15 or 2027-03-16.
@pytest.mark.parametrize(
    ("number", "is_1904", "day"),
    [("45352", False, "2024-03-01"), ("45000", False, "2023-03-15"), ("45000", True, "2027-03-16")],
)
def test_a_serial_number_is_a_day_only_where_the_mapping_says_so(number, is_1904, day):
    assert read("findings.found_on", number, is_1904=is_1904, mapping={"serial_dates": True}) == day
    assert rule("findings.found_on", number, is_1904=is_1904) == "serial_date"


def test_a_serial_number_with_a_fraction_is_a_day_and_a_time():
    assert read("procedures.started_at", "45352.5", mapping={"serial_dates": True}) == "2024-03-01T12:00:00"


# --- joined columns ----------------------------------------------------------------------


def join(field: str, *parts: str | None, **options: object) -> str | None:
    table, name = field.split(".")
    columns = tuple(f"part {n}" for n in range(len(parts)))
    source = FieldSource(tables()[table][name], "join", columns, **options)
    return Converter(source, Mapping("test", "1", "csv", "", ()), False).read(parts)


@pytest.mark.parametrize(
    ("day", "time", "moment"),
    [("04.03.2025", "09:30", "2025-03-04T09:30:00"), ("2025-03-04", "9.05", "2025-03-04T09:05:00")],
)
def test_a_date_and_a_time_make_a_timestamp(day, time, moment):
    assert join("procedures.started_at", day, time, date_format="%d.%m.%Y", time_format="%H.%M") == moment


def test_half_a_timestamp_is_said_and_none_is_empty():
    assert join("procedures.started_at", None, None) is None
    with pytest.raises(Unreadable, match="part 1 is empty beside a filled part"):
        join("procedures.started_at", "2025-03-04", None)


def test_parts_of_a_key_are_joined():
    assert join("findings.finding_id", "A1", "L", text="-") == "A1-L"
