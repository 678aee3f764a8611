"""What a form asks of a field, as the data dictionary has it."""

from __future__ import annotations

import pytest

from registry.entry.forms import FormField, form_fields


def asked(table: str, name: str) -> FormField:
    (found,) = (one for one in form_fields(table) if one.name == name)
    return found


def test_a_field_is_asked_as_the_dictionary_declares_it():
    assert asked("procedures", "aperture_mm") == FormField(
        name="aperture_mm",
        group="How",
        type="decimal",
        unit="mm",
        required=False,
        codes={},
        definition="Length of the sampling aperture",
        allowed="5 to 40",
        is_key=False,
        kept=True,
    )


def test_a_coded_field_offers_labels_in_place_of_what_is_allowed():
    found = asked("patients", "sex")

    assert found.codes == {"female": "Female", "male": "Male", "other": "Other", "unknown": "Not known"}
    assert (found.required, found.allowed) == (True, "")


def test_a_pure_number_is_asked_without_a_unit():
    assert asked("procedures", "cores").unit == ""


def test_what_no_group_names_comes_last():
    assert list(dict.fromkeys(one.group for one in form_fields("findings"))) == [
        "Finding",
        "Where",
        "What",
        "Further",
    ]
    assert [one.name for one in form_fields("findings") if one.group == "Further"] == [
        "density",
        "uptake_pattern",
        "uptake_intensity",
        "uptake_ratio",
        "suv_max",
        "other_cancer",
    ]


@pytest.mark.parametrize(
    ("table", "keys"),
    [
        ("procedures", ["procedure_id"]),
        ("targeting", ["procedure_id", "attempt"]),
        ("pathology", ["report_id", "version", "procedure_id", "specimen_id"]),
    ],
)
def test_the_key_of_a_row_is_marked(table: str, keys: list[str]):
    assert [one.name for one in form_fields(table) if one.is_key] == keys


@pytest.mark.parametrize(
    ("table", "left_out"),
    [
        ("patients", ["patient_id", "birth_date"]),
        ("procedures", ["accession"]),
        ("pathology", ["conclusion"]),
        ("specimens", []),
    ],
)
def test_a_draft_holds_all_but_identifiers_and_free_text(table: str, left_out: list[str]):
    assert [one.name for one in form_fields(table) if not one.kept] == left_out
