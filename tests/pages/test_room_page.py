"""Page In the room: begin, stamp, correct, come back after a reload, save; nothing of the needle before."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest

from tests.build import base, load
from tests.pages.test_entry_page import press
from tests.pages.test_pages import text_of

#: The site keeps the time of Lisbon, in June an hour ahead of UTC.
NOW = datetime(2026, 6, 30, 8, 5, 7, tzinfo=UTC)
STAMPED = "2026-06-30T09:05:07+01:00"


@pytest.fixture
def room(served_empty, open_page, monkeypatch):
    rows = base()
    rows["findings"].append({**rows["findings"][0], "finding_id": "F2"})
    load(served_empty, rows, today=date(2026, 6, 30))
    monkeypatch.setattr(served_empty, "clock", lambda: NOW)
    return open_page("in_the_room")


def field(page, label):
    found = (*page.text_input, *page.selectbox, *page.number_input)
    return next(one for one in found if one.label.rstrip(" *") == label)


def begin(page):
    page = field(page, "Finding to be sampled").select("F2").run()
    page = field(page, "Key of the procedure").set_value("P2").run()
    for label, code in {"Operator (a code)": "OP1", "Guided by": "pet_tracer", "Tracer": "F-18 FDG"}.items():
        page = field(page, label).select(code).run()
    return press(page, "Begin")


def pick(page, table, name, code):
    """A touch on one of a few codes."""
    page.session_state[f"room {table} 1 {name}"] = code
    return page.run()


def at(page, label, text):
    return field(page, f"Time, {label}").set_value(text).run()


def drafts(registry):
    return dict(registry.rows("SELECT row_key, cells FROM entry_draft"))


def test_it_says_that_it_checks_the_record_and_not_the_patient(room):
    assert "checks the record, not the patient" in text_of(room)


def test_a_finding_without_a_procedure_is_offered_in_words(room):
    (box,) = [one for one in room.selectbox if one.label == "Finding to be sampled"]

    assert len(box.options) == 1
    assert re.match(r"F2: (Left|Right)", box.options[0])


def test_what_is_missing_is_said_and_nothing_is_begun(room, served_empty):
    page = field(room, "Finding to be sampled").select("F2").run()
    page = press(page, "Begin")

    assert any("procedure id" in one.value for one in page.error)
    assert drafts(served_empty) == {}


def test_a_stamp_shows_the_time_and_is_kept_at_once(room, served_empty):
    page = press(begin(room), "Injected: now")

    assert field(page, "Time, injected").value == "09:05:07"
    assert f'"injected_at": "{STAMPED}"' in drafts(served_empty)["P2"]


def test_a_second_touch_overwrites_no_stamp(room):
    page = press(begin(room), "Injected: now")

    assert [one.disabled for one in page.button if one.label == "Injected"] == [True]


def test_a_time_is_corrected_by_typing(room, served_empty):
    page = at(press(begin(room), "Injected: now"), "injected", "8:40")

    assert [one.value for one in page.exception] == []
    assert '"injected_at": "2026-06-30T08:40:00+01:00"' in drafts(served_empty)["P2"]


def test_what_is_no_time_is_said_beside_it_and_not_kept(room, served_empty):
    page = at(press(begin(room), "Injected: now"), "injected", "soon")

    assert "soon is no time: write it as 09:05" in text_of(page)
    assert "injected_at" not in drafts(served_empty)["P2"]


def test_the_uptake_time_is_held_against_the_local_window(room):
    page = at(press(begin(room), "Injected: now"), "injected", "8:00")
    assert "Since injection 65 min; local window 45 to 90 min: open now" in text_of(page)
    page = at(page, "first scan", "8:30")

    assert "Uptake time 30 min; local window 45 to 90 min: not kept" in text_of(page)
    # F-18, 109.77 min (European Pharmacopoeia): 2 ** (-30 / 109.77) = 0.8274
    assert "82.7 % of the activity left" in text_of(page)


def test_a_reload_finds_everything_again(room, served_empty, open_page):
    page = press(begin(room), "Injected: now")
    page = pick(page, "targeting", "aperture_judgement", "edge")
    page = pick(page, "targeting", "verification", "done")
    field(page, "Cores taken").set_value(9).run()
    again = open_page("in_the_room", procedure="P2")

    assert field(again, "Time, injected").value == "09:05:07"
    assert field(again, "Cores taken").value == 9
    assert again.session_state["room targeting 1 aperture_judgement"] == "edge"


def test_another_page_in_between_loses_nothing(room):
    page = press(begin(room), "Injected: now")
    page = page.switch_page("app_pages/targets.py").run()
    page = page.switch_page("app_pages/in_the_room.py").run()

    assert field(page, "Time, injected").value == "09:05:07"


def test_a_procedure_that_was_closed_is_gone_on_with(room):
    page = press(press(begin(room), "Injected: now"), "Close")
    page = press(page, "Go on with P2")

    assert field(page, "Time, injected").value == "09:05:07"


def finished(page):
    for label, text in {
        "injected": "8:00",
        "first scan": "8:50",
        "start, needle in": "8:58",
        "specimens scanned": "9:02",
        "end": "9:04",
    }.items():
        page = at(page, label, text)
    page = field(page, "Cores taken").set_value(9).run()
    page = pick(page, "specimens", "uptake_seen", "yes")
    return pick(page, "procedures", "status", "completed")


def test_nothing_is_saved_before_it_is_said_how_it_ended(room, served_empty):
    page = press(begin(room), "Save the procedure")

    assert any("how the procedure ended" in one.value for one in page.error)
    assert served_empty.rows("SELECT count(*) FROM procedures") == [(1,)]


def test_a_judgement_stands_for_six_coordinates(room, served_empty):
    page = pick(begin(room), "targeting", "aperture_judgement", "within")
    page = pick(page, "targeting", "verification", "done")
    for axis, text in zip("xyz", ("10", "20", "30"), strict=True):
        page = field(page, f"Planned {axis} [mm]").set_value(text).run()
    page = press(finished(page), "Save the procedure")

    assert [one.value for one in page.success] == ["Procedure P2 is saved."]
    assert served_empty.rows(
        "SELECT planned_x_mm, aperture_judgement, achieved_x_mm, seen_x_mm FROM targeting WHERE procedure_id = 'P2'"
    ) == [(10.0, "within", None, None)]
    assert served_empty.rows("SELECT cores, status FROM procedures WHERE procedure_id = 'P2'") == [
        (9, "completed")
    ]
    assert served_empty.rows("SELECT specimen_id, uptake_seen FROM specimens WHERE procedure_id = 'P2'") == [
        ("P2-S1", "yes")
    ]
    assert drafts(served_empty) == {}


def test_a_placement_without_its_plan_stays_a_draft(room, served_empty):
    page = pick(begin(room), "targeting", "verification", "done")
    page = finished(page)
    assert "kept as a draft until planned x, y and z are written" in text_of(page)
    press(page, "Save the procedure")

    assert served_empty.rows("SELECT count(*) FROM targeting WHERE procedure_id = 'P2'") == [(0,)]
    assert list(drafts(served_empty)) == ["P2|1"]


def test_the_needle_placed_again_is_a_second_placement_with_the_same_plan(room, served_empty):
    page = pick(begin(room), "targeting", "verification", "done")
    for axis in "xyz":
        page = field(page, f"Planned {axis} [mm]").set_value("12").run()
    page = press(page, "Needle placed again")
    page.session_state["room targeting 2 verification"] = "done"
    page.session_state["room targeting 2 aperture_judgement"] = "within"
    page.session_state["room targeting 1 aperture_judgement"] = "outside"
    press(finished(page.run()), "Save the procedure")

    assert served_empty.rows(
        "SELECT attempt, planned_z_mm, aperture_judgement FROM targeting WHERE procedure_id = 'P2' ORDER BY 1"
    ) == [(1, 12.0, "outside"), (2, 12.0, "within")]


def test_a_new_finding_of_a_new_patient_is_made_before(room, served_empty):
    given = {
        "Key of the finding": "F9",
        "Patient identifier": "PAT9",
        "Found on": "2026-06-01",
        "Birth date": "1970-01-01",
    }
    for label, text in given.items():
        field(room, label).set_value(text)
    codes = {
        "Laterality": "L",
        "Modality": "pet_tracer",
        "Finding type": "focus",
        "Assessment": "4B",
        "Sex": "female",
    }
    for label, code in codes.items():
        field(room, label).select(code)
    page = press(room, "Save the finding")

    assert [one.value for one in page.error] == []
    assert served_empty.rows("SELECT assessment FROM findings WHERE finding_id = 'F9'") == [("4B",)]
    assert "PAT9" not in text_of(page)
    # It is the one that is sampled next, without being looked for.
    assert [one.value for one in page.success] == ["Finding F9 is saved."]
    assert field(page, "Finding to be sampled").value == "F9"
