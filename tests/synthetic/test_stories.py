"""The demo's meeting: fifteen procedures, each with its own trouble, and nobody between two lists."""

from __future__ import annotations

from datetime import date

import pytest

from registry import store, worklists
from registry.commands.output import DEMO_FRAME
from registry.imports import registry_csv
from registry.intake import Options, accept
from registry.meetings import lists
from registry.record import latest_day, procedure_record
from registry.store import Registry
from registry.uptake.scans import scans
from synthetic_data.stories import STORIES

MEETING, HELD = "SITE-D-2026-07-08", date(2026, 7, 8)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """The stories alone, without the generated registry."""
    folder = tmp_path_factory.mktemp("stories") / "registry"
    store.create(folder, name="Stories")
    with (folder / "site.toml").open("a", encoding="utf-8") as site:
        site.write(DEMO_FRAME)
    with Registry.open(folder, write=True) as registry:
        report = accept(
            registry, registry_csv.read(STORIES), author="test", today=date(2026, 7, 1), options=Options()
        )
        assert report.exit_code == 0, report.lines()
        yield registry


def keys(told, name, key="procedure_id"):
    return worklists.rows(told, name, as_of=HELD).get_column(key).to_list()


def test_fifteen_procedures_wait_for_the_meeting_of_next_week(told):
    found = lists.agenda(told, MEETING).get_column("procedure_id").to_list()
    assert sorted(found) == [f"B90000{number:02d}" for number in range(1, 16)]
    # The week after the last clinical day, which is that of the generated registry or before it.
    assert latest_day(told) <= date(2026, 6, 30)
    assert (
        lists.meeting(told, MEETING)["held_on"].isocalendar().week == date(2026, 6, 30).isocalendar().week + 1
    )


@pytest.mark.parametrize(
    ("name", "procedure"),
    [
        ("actions_open", "B9000016"),
        ("discordant_unbooked", "B9000017"),
        ("follow_up_due", "B9000018"),
        ("cancelled_unresolved", "B9000019"),
        ("follow_up_due", "B9000021"),
        ("pathology_pending", "B9000022"),
    ],
)
def test_nobody_falls_between_two_lists(told, name, procedure):
    assert procedure in keys(told, name)


def test_a_finding_without_a_biopsy_is_listed(told):
    assert keys(told, "not_biopsied", "finding_id") == ["F9000023"]


def test_an_examination_that_cannot_show_the_target_does_not_close_its_line(told):
    """Seen by the tracer alone, and looked at since by mammography and ultrasound."""
    record = procedure_record(told, "B9000018")
    assert record.finding["correlate"] == "none"
    assert {one["modality"] for one in record.followup} == {"mammography", "ultrasound"}
    rows = {one["procedure_id"]: one for one in worklists.rows(told, "follow_up_due", as_of=HELD).to_dicts()}
    assert rows["B9000018"]["clear_until"] is None


def test_steps_of_earlier_meetings_stand_before_this_one(told):
    found = lists.open_actions(told, MEETING).get_column("procedure_id").to_list()
    assert {"B9000016", "B9000017", "B9000018", "B9000019"} <= set(found)
    assert len(found) == len(set(found))


def test_an_amended_report_brings_its_decision_back(told):
    changed = {
        one["procedure_id"]: one["changed"]
        for one in lists.agenda(told, MEETING).to_dicts()
        if one["changed"] is not None
    }
    assert set(changed) == {"B9000010", "B9000011"}
    assert changed["B9000010"].startswith("diagnosis benign to high risk")


@pytest.mark.parametrize(
    ("procedure", "key"), [("B9000002", "not above background"), ("B9000003", "too few counts to tell")]
)
def test_too_few_counts_are_told_apart_from_no_uptake(told, procedure, key):
    """Of two readings without uptake, one had the counts to see some and one had not."""
    (one,) = scans(told, as_of=HELD, procedure_id=procedure)
    assert one.uptake_seen == "no"
    assert one.decision.key == key
