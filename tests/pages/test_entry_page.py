"""The entry page: live checks, drafts, a stored row, and two people on it."""

from __future__ import annotations

from datetime import date

import pytest

from registry.entry import opened, save
from tests.build import base, load
from tests.pages.test_pages import text_of


@pytest.fixture
def page(served_empty, open_page):
    load(served_empty, base(), today=date(2026, 6, 30))
    return open_page("entry")


def named(page, label):
    return next(
        one for one in (*page.text_input, *page.selectbox) if one.label.split(" [")[0].rstrip(" *") == label
    )


def press(page, label):
    return next(one for one in page.button if one.label == label).click().run()


def written(page, table, cells):
    """The form of a table with its fields filled, one after the other."""
    page = named(page, "What is entered").select(table).run()
    for label, text in cells.items():
        field = named(page, label)
        page = (field.select(text) if hasattr(field, "options") else field.set_value(text)).run()
    return page


def complication(page, **cells):
    given = {
        "Complication id": "C9",
        "Procedure id": "P1",
        "Kind": "pain",
        "Grade": "1",
        "Onset on": "2025-03-12",
    }
    return written(page, "complications", {**given, **cells})


def test_a_patient_who_is_new_and_then_her_finding_are_entered(page, served_empty):
    patient = {"Patient id": "PAT9", "Birth date": "1971-05-02", "Sex": "female"}
    page = press(written(page, "patients", patient), "Save this row")
    assert [one.value for one in page.success] == ["Patient is saved."]
    assert served_empty.rows("SELECT count(*) FROM entry_draft") == [(0,)]

    finding = {
        "Finding id": "F9",
        "Patient id": "PAT9",
        "Found on": "2026-06-01",
        "Laterality": "L",
        "Modality": "pet_tracer",
        "Finding type": "mass",
        "Assessment": "4B",
    }
    press(written(page, "findings", finding), "Save this row")

    assert served_empty.rows("SELECT count(*) FROM findings WHERE finding_id = 'F9'") == [(1,)]


def test_what_is_wrong_is_said_while_it_is_written(page):
    page = complication(page, **{"Onset on": "2025-03-09"})

    assert [one.value for one in page.exception] == []
    assert "before the procedure" in text_of(page)


def test_a_row_is_saved_and_the_form_is_empty_again(page, served_empty):
    page = press(complication(page), "Save this row")

    assert served_empty.rows("SELECT kind FROM complications WHERE complication_id = 'C9'") == [("pain",)]
    assert [one.value for one in page.success] == ["Complication C9 is saved."]


def test_a_draft_is_kept_while_it_is_written_and_gone_on_with(page, served_empty, open_page):
    complication(page)
    assert served_empty.rows("SELECT table_name, row_key FROM entry_draft") == [("complications", "C9")]
    again = press(open_page("entry"), "Go on")

    assert named(again, "Onset on").value == "2025-03-12"


def test_a_stored_row_is_opened_and_changed_with_a_reason(page, served_empty):
    page = named(page, "What is entered").select("procedures").run()
    page = named(page, "Procedure id").set_value("P1").run()
    page = press(page, "Open the stored row")
    assert named(page, "Cores").value == "12"
    page = named(page, "Cores").set_value("11").run()
    page = press(page, "Save this row")
    assert any("say why" in one.value for one in page.error)
    page = named(page, "Why the row is changed").set_value("miscounted").run()
    press(page, "Save this row")

    assert served_empty.rows("SELECT cores FROM procedures") == [(11,)]


def test_uptake_time_and_decay_follow_from_the_times(page):
    page = named(page, "What is entered").select("procedures").run()
    page = named(page, "Procedure id").set_value("P1").run()
    page = press(page, "Open the stored row")

    # Injected 08:20, first scan 09:20; F-18 with 109.77 min (European Pharmacopoeia): 68.463 % left after 60 min.
    assert (
        "Uptake time 60 min; local window 45 to 90 min, kept; 68.5 % of the activity left (F-18)."
        in text_of(page)
    )


def test_the_breast_and_the_target_are_said_as_soon_as_a_key_names_them(page):
    page = complication(page)

    # Of the base rows: the finding of P1.
    finding = base()["findings"][0]
    side = {"L": "Left", "R": "Right"}[finding["laterality"]]
    assert f"Procedure P1 of 2025-03-10, finding F1: {side} breast" in text_of(page)


def test_the_scan_of_specimens_is_held_against_the_injection(page):
    page = named(page, "What is entered").select("specimens").run()
    page = named(page, "Procedure id").set_value("P1").run()
    page = named(page, "Scan at").set_value("2025-03-10T10:20").run()

    # Injected 08:20; F-18 with 109.77 min (European Pharmacopoeia): 2 ** (-120 / 109.77) = 46.873 %.
    assert "Scan of the specimens after injection 120 min; 46.9 % of the activity left (F-18)." in text_of(
        page
    )


def test_a_length_in_the_wrong_unit_is_said_while_it_is_written(page):
    page = named(page, "What is entered").select("procedures").run()
    page = named(page, "Procedure id").set_value("P1").run()
    page = press(page, "Open the stored row")
    # A breast of 4.2 cm, written as if the field were in cm; the dictionary allows 5 to 150 mm.
    page = named(page, "Compression").set_value("4.2").run()

    assert "Is the unit right?" in text_of(page)


def test_somebody_elses_change_is_shown_and_taken_over(page, served_empty):
    page = named(page, "What is entered").select("procedures").run()
    page = named(page, "Procedure id").set_value("P1").run()
    page = press(page, "Open the stored row")
    found = opened(served_empty, "procedures", {"procedure_id": "P1"})
    save(
        served_empty,
        "procedures",
        {**found.cells, "residual": "reduced"},
        version=found.version,
        reason="read",
        today=date(2026, 6, 30),
    )
    page = named(page, "Cores").set_value("11").run()
    page = named(page, "Why the row is changed").set_value("miscounted").run()
    page = press(page, "Save this row")
    assert any("Somebody else has changed this row" in one.value for one in page.error)
    page = press(page, "Take over what is stored: target after sampling")
    page = press(page, "I have seen both: save mine for the rest")
    press(page, "Save this row")

    assert served_empty.rows("SELECT cores, residual FROM procedures") == [(11, "reduced")]
