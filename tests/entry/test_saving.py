"""The stored row as text, its key, and what is said where it is not saved."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from registry.entry import Changed, check, draft, keep, opened, save
from registry.entry.saving import row_key, text
from registry.errors import Refused, UsageProblem
from registry.people import Actor, Role, acting
from registry.store import Registry
from tests.build import base, load

TODAY = date(2026, 6, 30)
P1 = {"procedure_id": "P1"}
PLACEMENT = {"procedure_id": " P1 ", "attempt": " 1 "}
PATIENT = {"patient_id": "PAT1"}


@pytest.fixture
def filled(registry: Registry) -> Registry:
    load(registry, base())
    return registry


def refusals(registry: Registry) -> list[tuple[str, ...]]:
    return registry.rows(
        "SELECT actor, action, object_kind, object_key FROM audit_event WHERE outcome = 'refused'"
    )


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (datetime(2026, 6, 30, 9, 20), "2026-06-30T09:20"),
        (datetime(2026, 6, 30, 9, 20, 5), "2026-06-30T09:20:05"),
        (datetime(2026, 6, 30, 9, 20, 0, 250_000), "2026-06-30T09:20:00.250000"),
        (date(2026, 6, 30), "2026-06-30"),
        (14.0, "14"),
        (0.1, "0.1"),
        # Six digits are not enough for these.
        (1234567.5, "1234567.5"),
        (0.12345678, "0.12345678"),
        (12, "12"),
        ("4B", "4B"),
    ],
)
def test_a_stored_value_is_written_as_short_as_it_can_be_read_back(value: object, written: str):
    assert text(value) == written


def test_the_key_of_a_row_is_one_text_without_identifiers():
    assert row_key("targeting", PLACEMENT) == "P1|1"
    # A report of the whole procedure names no container.
    assert row_key("pathology", {"report_id": "R1", "version": "1", "procedure_id": "P1"}) == "R1|P1||1"
    assert row_key("patients", PATIENT) == ""


def test_a_row_of_several_keys_is_opened_by_all_of_them(filled: Registry):
    assert opened(filled, "targeting", PLACEMENT).cells["planned_x_mm"] == "40"
    assert opened(filled, "targeting", {"procedure_id": "P1", "attempt": "2"}).version == ""
    assert opened(filled, "targeting", {"procedure_id": "P1"}).version == ""


def test_a_key_that_is_not_given_names_no_row(filled: Registry):
    for table in ("procedures", "patients"):
        assert opened(filled, table, {}).version == ""


def test_the_trail_names_the_row_that_was_opened(filled: Registry):
    with acting(Actor("ines", frozenset({Role.COORDINATOR}))):
        opened(filled, "targeting", PLACEMENT)

    assert filled.rows(
        "SELECT object_kind, object_key FROM audit_event WHERE action = 'open the record of a procedure'"
    ) == [("targeting", "P1|1")]


def test_there_is_no_form_for_an_operator(filled: Registry):
    with pytest.raises(UsageProblem) as told:
        opened(filled, "operators", {"operator": "OP1"})

    assert str(told.value) == (
        "operators: there is no form for it. Known: "
        "findings, procedures, targeting, specimens, pathology, complications, followup, patients."
    )


@pytest.mark.parametrize(
    ("asks", "action"),
    [
        (lambda registry: opened(registry, "procedures", P1), "open the record of a procedure"),
        (lambda registry: check(registry, "procedures", P1, today=TODAY), "enter or import rows"),
        (
            lambda registry: save(registry, "procedures", P1, version="", reason="", today=TODAY),
            "enter or import rows",
        ),
    ],
)
def test_that_somebody_may_not_enter_stands_in_the_trail(filled: Registry, asks, action: str):
    with acting(Actor("vera", frozenset({Role.VIEWER}))), pytest.raises(Refused):
        asks(filled)

    assert refusals(filled) == [("vera", action, "procedures", "")]


def test_what_only_is_to_be_looked_at_is_said_as_well(filled: Registry):
    """A clock position stands beside a region that is none; the row would come in."""
    cells = {**base()["findings"][0], "clock_position": "3", "region": "axillary_tail"}
    said = check(filled, "findings", cells, today=TODAY)

    assert [(one.column, one.rule) for one in said] == [("region", "findings_clock_and_region")]
    assert filled.rows("SELECT clock_position FROM findings") == [(None,)]


def test_a_clash_names_the_fields_and_both_readings(filled: Registry):
    before = opened(filled, "procedures", P1)
    changed = {**before.cells, "cores": "11"}
    save(filled, "procedures", changed, version=before.version, reason="counted", today=TODAY)
    mine = {**before.cells, "cores": " 10 ", "gauge": "9", "compression_mm": " 55 "}
    with pytest.raises(Changed) as told:
        save(filled, "procedures", mine, version=before.version, reason="counted again", today=TODAY)

    assert told.value.theirs == {"gauge": ("9", "8"), "cores": (" 10 ", "11")}
    assert str(told.value) == (
        "Nothing was saved: somebody else has changed this row since you opened it (gauge, cores). "
        "Look at both versions, take over what is right, and save again."
    )


def test_a_clash_reads_no_identifier_back(filled: Registry):
    with pytest.raises(Changed) as told:
        save(filled, "patients", {**PATIENT, "sex": "male"}, version="", reason="", today=TODAY)

    assert told.value.theirs == {"sex": ("male", "female")}


def test_a_change_without_a_reason_is_refused_in_its_sentence(filled: Registry):
    with pytest.raises(UsageProblem, match=r"^Nothing was saved: say why the row is changed\.$"):
        save(filled, "procedures", P1, version="1", reason=" ", today=TODAY)


def test_a_reason_is_kept_without_the_blanks_around_it(filled: Registry):
    before = opened(filled, "procedures", P1)
    changed = {**before.cells, "cores": "11"}
    save(filled, "procedures", changed, version=before.version, reason=" miscounted ", today=TODAY)

    assert filled.rows("SELECT superseded_reason FROM history.procedures") == [("miscounted",)]


def test_a_field_of_blanks_is_emptied(filled: Registry):
    before = opened(filled, "procedures", P1)
    changed = {**before.cells, "marker_shape": "  "}
    save(filled, "procedures", changed, version=before.version, reason="not seen", today=TODAY)

    assert filled.rows("SELECT marker_shape FROM procedures") == [(None,)]


def test_the_draft_of_a_row_of_several_keys_is_gone_once_it_is_saved(filled: Registry):
    somebody = Actor("ines", frozenset({Role.COORDINATOR}), confirmed_at=datetime(2026, 6, 30, tzinfo=UTC))
    with acting(somebody):
        before = opened(filled, "targeting", PLACEMENT)
        changed = {**before.cells, "planned_x_mm": "41"}
        keep(filled, "targeting", "P1|1", changed, version=before.version)
        save(filled, "targeting", changed, version=before.version, reason="misread", today=TODAY)

        assert draft(filled, "targeting", "P1|1") is None
