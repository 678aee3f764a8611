"""In the room: the rows of one procedure come in together, and nothing is said of the needle before."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from registry.entry import begun, check_together, findings_without_procedure, habits, keep, save_together
from registry.errors import BatchRefused, Refused, UsageProblem
from registry.imports.form import received
from registry.intake import Options, accept
from registry.people import Actor, Role, acting
from registry.verify import verify
from tests.build import base, load

TODAY = date(2026, 6, 30)
PROCEDURE = {
    "procedure_id": "P2",
    "finding_id": "F2",
    "site": "SITE-A",
    "operator": "OP01",
    "guidance": "pet_tracer",
    "tracer": "F-18 FDG",
    "injected_at": "2026-06-30T08:00:05+02:00",
    "first_scan_at": "2026-06-30T09:01:10+02:00",
    "started_at": "2026-06-30T09:20:00+02:00",
    "ended_at": "2026-06-30T10:00:30+02:00",
    "status": "completed",
    "cores": "9",
    "marker": "placed",
    "residual": "reduced",
}
PLACEMENT = {
    "procedure_id": "P2",
    "attempt": "1",
    "needle_axis": "y",
    "needle_direction": "plus",
    "compression_axis": "z",
    "planned_x_mm": "10",
    "planned_y_mm": "20",
    "planned_z_mm": "30",
    "verification": "done",
    "aperture_judgement": "within",
}
CONTAINER = {
    "specimen_id": "P2-S1",
    "procedure_id": "P2",
    "scan_at": "2026-06-30T09:50:00+02:00",
    "uptake_seen": "yes",
}


@pytest.fixture
def filled(registry):
    rows = base()
    rows["findings"].append({**rows["findings"][0], "finding_id": "F2"})
    load(registry, rows)
    return registry


def rows(**changed):
    return {
        "procedures": [{**PROCEDURE, **changed}],
        "targeting": [PLACEMENT],
        "specimens": [CONTAINER],
    }


def test_the_rows_come_in_together(filled):
    save_together(filled, rows(), today=TODAY)

    assert filled.rows(
        "SELECT aperture_judgement, achieved_x_mm FROM targeting WHERE procedure_id = 'P2'"
    ) == [("within", None)]
    assert filled.rows("SELECT uptake_seen FROM specimens WHERE procedure_id = 'P2'") == [("yes",)]
    assert list(verify(filled)) == []


def test_a_moment_keeps_its_offset(filled):
    save_together(filled, rows(), today=TODAY)
    # The site keeps the time of Lisbon, in June an hour ahead of UTC (Directive 2000/84/EC): 08:00:05 two hours ahead is 07:00:05 there.
    assert filled.rows(
        "SELECT injected_at, injected_at_offset_min FROM procedures WHERE procedure_id = 'P2'"
    ) == [(datetime(2026, 6, 30, 7, 0, 5), 60)]


def test_nothing_comes_in_where_one_row_is_refused(filled):
    with pytest.raises(BatchRefused, match="aperture_judgement"):
        save_together(
            filled, {**rows(), "targeting": [{**PLACEMENT, "aperture_judgement": "beside"}]}, today=TODAY
        )

    assert filled.rows("SELECT count(*) FROM procedures WHERE procedure_id = 'P2'") == [(0,)]


def test_a_stored_procedure_is_not_overwritten(filled):
    with pytest.raises(UsageProblem, match="P1 is in the registry already"):
        save_together(filled, {"procedures": [{**PROCEDURE, "procedure_id": "P1"}]}, today=TODAY)

    assert filled.rows("SELECT cores FROM procedures WHERE procedure_id = 'P1'") == [(12,)]


def test_missing_and_disordered_is_said_before(filled):
    late = rows(first_scan_at="2026-06-30T07:59:00+02:00", status="")
    said = {one.column for one in check_together(filled, late, today=TODAY)}

    assert "status" in said


def test_times_out_of_order_are_said(filled):
    late = rows(first_scan_at="2026-06-30T07:59:00+02:00")

    assert "first_scan_at" in {one.column for one in check_together(filled, late, today=TODAY)}


def test_what_a_data_check_finds_of_a_placement_is_not_said_before_it_is_saved(filled):
    # The scan on which the judgement was read is said not to have been made: a data check holds that.
    judged = {**rows(), "targeting": [{**PLACEMENT, "verification": "not_done", "achieved_x_mm": "12"}]}
    report = accept(filled, received(judged), author="", today=TODAY, options=Options(dry_run=True))

    assert "targeting" in {one.table for one in report.problems}
    assert "targeting" not in {one.table for one in check_together(filled, judged, today=TODAY)}


def test_what_is_no_number_is_said_of_a_placement(filled):
    wrong = {**rows(), "targeting": [{**PLACEMENT, "planned_x_mm": "ten"}]}

    assert "planned_x_mm" in {one.column for one in check_together(filled, wrong, today=TODAY)}


def test_findings_without_a_procedure_are_offered(filled):
    assert findings_without_procedure(filled, as_of=TODAY)["finding_id"].to_list() == ["F2"]
    save_together(filled, rows(), today=TODAY)
    assert findings_without_procedure(filled, as_of=TODAY).is_empty()


def test_how_the_suite_is_built_is_carried_over_and_nothing_that_is_measured(filled):
    first = base()["targeting"][0]
    found = habits(filled)

    assert found["operators"] == [base()["procedures"][0]["operator"]]
    assert found["placement"] == {
        name: first[name]
        for name in ("frame", "needle_axis", "needle_direction", "compression_axis")
        if name in first
    }


def test_drafts_of_a_procedure_are_found_together_and_gone_when_it_is_saved(filled):
    somebody = Actor("ines", frozenset({Role.COORDINATOR}), confirmed_at=datetime(2026, 6, 30, tzinfo=UTC))
    with acting(somebody):
        keep(filled, "procedures", "P2", PROCEDURE, version="")
        keep(filled, "targeting", "P2|1", PLACEMENT, version="")
        keep(filled, "procedures", "P3", {**PROCEDURE, "procedure_id": "P3"}, version="")

        assert {one.row_key for one in begun(filled)} == {"P2", "P3"}
        assert {one.table for one in begun(filled, "P2")} == {"procedures", "targeting"}
        save_together(filled, rows(), today=TODAY)
        assert [one.row_key for one in begun(filled)] == ["P3"]
        assert begun(filled, "P2") == ()


# -- what is offered, and what is refused ---------------------------------------------------


def test_the_finding_advised_or_found_last_stands_first(filled):
    """F6 is found today, F5 advised early in June, F3 and F4 found in May, F2 advised in February of 2025."""
    first = base()["findings"][0]
    later = [
        {**first, "finding_id": "F5", "found_on": "2026-06-01", "biopsy_advised_on": "2026-06-02"},
        {**first, "finding_id": "F3", "found_on": "2026-05-20", "biopsy_advised_on": ""},
        {**first, "finding_id": "F4", "found_on": "2026-05-20", "biopsy_advised_on": ""},
        {**first, "finding_id": "F6", "found_on": "2026-06-30", "biopsy_advised_on": ""},
    ]
    load(filled, {"findings": later})
    offered = lambda day: findings_without_procedure(filled, as_of=day)["finding_id"].to_list()  # noqa: E731

    assert offered(TODAY) == ["F6", "F5", "F3", "F4", "F2"]
    assert offered(date(2026, 6, 29)) == ["F5", "F3", "F4", "F2"]


def test_an_empty_registry_has_no_habits(registry):
    assert habits(registry) == {"sites": [], "operators": [], "placement": {}}


def test_the_site_in_use_most_stands_first(filled):
    first = base()["procedures"][0]
    load(
        filled,
        {
            "procedures": [
                {**first, "procedure_id": f"P{number}", "accession": "", "site": site, "marker_shape": ""}
                for number, site in ((3, "C"), (4, "C"), (5, "B"))
            ]
        },
    )

    assert habits(filled)["sites"] == ["C", "A", "B"]


def test_the_last_placement_of_the_last_procedure_is_carried_over(filled):
    again = {**PLACEMENT, "attempt": "2", "needle_axis": "x"}
    save_together(filled, {**rows(), "targeting": [PLACEMENT, again]}, today=TODAY)

    assert habits(filled)["placement"] == {
        "needle_axis": "x",
        "needle_direction": "plus",
        "compression_axis": "z",
    }


def test_a_draft_of_a_stored_row_or_of_another_table_is_not_begun_in_the_room(filled):
    keep(filled, "procedures", "P1", {**PROCEDURE, "procedure_id": "P1"}, version="a version")
    keep(filled, "complications", "C9", {"complication_id": "C9", "procedure_id": "P2"}, version="")
    keep(filled, "specimens", "P2-S1", CONTAINER, version="")

    assert begun(filled) == ()
    assert [one.table for one in begun(filled, "P2")] == ["specimens"]
    assert begun(filled, "P1") == ()


def test_the_sentence_names_the_row_that_is_stored_already(filled):
    with pytest.raises(UsageProblem) as told:
        save_together(filled, {**rows(), "targeting": [{**PLACEMENT, "procedure_id": "P1"}]}, today=TODAY)

    assert str(told.value) == (
        "Nothing was saved: P1|1 is in the registry already. "
        "Choose another key, or correct the stored row on page Entry."
    )
    assert filled.rows("SELECT count(*) FROM procedures WHERE procedure_id = 'P2'") == [(0,)]


def test_a_row_without_a_form_comes_in_with_the_others(filled):
    new = {"operator": "OP2", "role": "radiologist"}
    save_together(filled, {"operators": [new], **rows(operator="OP2")}, today=TODAY)

    assert filled.rows("SELECT operator FROM operators ORDER BY 1") == [("OP1",), ("OP2",)]
    assert filled.rows("SELECT operator FROM procedures WHERE procedure_id = 'P2'") == [("OP2",)]


@pytest.mark.parametrize(
    ("asks", "action"),
    [
        (lambda one: findings_without_procedure(one, as_of=TODAY), "open the record of a procedure"),
        (habits, "open the record of a procedure"),
        (begun, "enter or import rows"),
        (lambda one: check_together(one, rows(), today=TODAY), "enter or import rows"),
        (lambda one: save_together(one, rows(), today=TODAY), "enter or import rows"),
    ],
)
def test_that_a_viewer_may_not_stands_in_the_trail(filled, asks, action):
    with acting(Actor("vera", frozenset({Role.VIEWER}))), pytest.raises(Refused):
        asks(filled)

    assert filled.rows("SELECT actor, action FROM audit_event WHERE outcome = 'refused'") == [
        ("vera", action)
    ]
