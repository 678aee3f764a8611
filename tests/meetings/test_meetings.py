"""A meeting from opening to signed minutes, on rows whose answers can be read off."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from registry import signed_minutes
from registry.errors import BatchRefused, ConfirmFirst, UsageProblem
from registry.meetings import lists, minutes, writing
from registry.people import Actor, Role, acting
from registry.verify import verify
from tests.build import load
from tests.meetings.conftest import HELD, TODAY, review, rows


def sign(registry, meeting, **more):
    return minutes.sign(registry, meeting, author="chair", **({"today": TODAY} | more))


def test_a_meeting_is_one_row_that_came_through_intake(registry, meeting):
    assert registry.rows(
        "SELECT meeting_id, held_on, site, chair, attendees, author FROM meetings WHERE meeting_id <> 'M1'"
    ) == [("A-2025-04-03", HELD, "A", "CHAIR-A", "radiology;pathology", "coordinator")]
    assert registry.rows("SELECT count(*) FROM import_batch")[0][0] == 2


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"site": "Z"}, "no procedure was done at such a site"),
        ({"attendees": ["radiology", "gardening"]}, "gardening: no such role"),
        ({"held_on": date(2025, 3, 20)}, "has a meeting on 2025-03-20 already"),
    ],
)
def test_what_cannot_be_opened_is_refused_in_words(registry, meeting, changed, says):
    given = {"held_on": date(2025, 5, 1), "site": "A", "chair": "C", "attendees": ["radiology"]} | changed
    with pytest.raises(UsageProblem, match=says):
        writing.open_meeting(registry, **given, author="x", today=TODAY)


def test_attendance_can_be_corrected_until_it_is_signed(registry, decided):
    writing.set_attendance(
        registry, decided, chair="CHAIR-B", attendees=["radiology", "surgery"], author="x", today=TODAY
    )
    found = lists.meeting(registry, decided)
    assert (found["chair"], found["attendees"]) == ("CHAIR-B", "radiology;surgery")
    sign(registry, decided)
    with pytest.raises(UsageProblem, match="can no longer be changed"):
        writing.set_attendance(registry, decided, chair="C", attendees=["radiology"], author="x", today=TODAY)


def test_nobody_present_is_no_attendance(registry, meeting):
    with pytest.raises(UsageProblem, match="at least one role"):
        writing.set_attendance(registry, meeting, chair="C", attendees=[], author="x", today=TODAY)


def test_the_agenda_is_the_list_of_the_site_on_the_day(registry, meeting):
    assert lists.agenda(registry, meeting).get_column("procedure_id").to_list() == ["P2"]
    load(registry, {"reviews": [review()]})
    assert lists.agenda(registry, meeting).height == 0


def test_a_result_of_another_site_is_not_on_the_agenda(registry, meeting):
    registry_rows = registry.rows("SELECT count(*) FROM procedures")[0][0]
    load(
        registry,
        {
            "procedures": [
                {
                    "procedure_id": "P3",
                    "finding_id": "F2",
                    "site": "B",
                    "operator": "OP1",
                    "started_at": "2025-03-25T09:00",
                    "status": "completed",
                    "guidance": "ultrasound",
                    "cores": "4",
                }
            ],
            "pathology": [
                {
                    "report_id": "R3",
                    "version": "1",
                    "status": "final",
                    "procedure_id": "P3",
                    "reported_on": "2025-03-28",
                    "diagnosis": "invasive",
                }
            ],
        },
    )
    assert registry.rows("SELECT count(*) FROM procedures")[0][0] == registry_rows + 1
    assert lists.agenda(registry, meeting).get_column("procedure_id").to_list() == ["P2"]


def test_a_step_of_an_earlier_meeting_stays_open_until_it_is_booked(registry, meeting):
    (row,) = lists.open_actions(registry, meeting).to_dicts()
    # Due on 2025-04-01 and the meeting is on 2025-04-03: 2 days.
    assert (row["procedure_id"], row["management"], row["days_overdue"]) == ("P1", "repeat_biopsy", 2)
    load(registry, {"reviews": [rows()["reviews"][0] | {"booked_for": "2025-04-10"}]})
    assert lists.open_actions(registry, meeting).height == 0


def test_what_this_meeting_decides_is_no_open_action_of_it(registry, decided):
    assert lists.open_actions(registry, decided).get_column("procedure_id").to_list() == ["P1"]


def test_the_draft_says_what_the_record_says(registry, decided):
    (one,) = minutes.draft(registry, decided).decided
    facts = dict(one["facts"])
    # Planned (40, 22, 31), reached (42, 21, 33), needle along x: 3.0 mm in all, 2.0 deeper, sqrt(1 + 4) = 2.2 across.
    assert facts["Needle and target"].startswith(
        "3.0 mm from target to aperture centre; 2.0 mm deeper, 2.2 mm across; target within the aperture"
    )
    assert "9 cores" in facts["Procedure"]
    assert facts["Suspicion before biopsy"] == "Assessment category 5"
    assert facts["Pathology"].startswith("B2, benign lesion, fibroadenoma, report of 2025-03-28")
    assert one["decision"]["determination"] == "Discordant"
    assert one["decision"]["due_on"] == "2025-04-20"
    assert one["decision"]["note"] == "The pathologist would have waited for levels."


def test_neither_identifiers_nor_the_words_of_the_report_are_in_it(registry, decided):
    text = repr(minutes.draft(registry, decided))
    assert "P2" in text
    assert not [word for word in ("PAT1", "ACC2", "1960", "Words of the pathologist") if word in text]


def test_signing_closes_the_meeting_and_binds_the_head_of_the_trail(registry, decided):
    before = registry.rows("SELECT count(*) FROM audit_event")[0][0]
    made = sign(registry, decided)
    # One entry for the row that closes the meeting, then the one of the signature.
    events = registry.rows("SELECT seq, mac, action, details FROM audit_event ORDER BY seq")
    assert len(events) == before + 2
    assert (made.kept.head_seq, made.kept.head_mac) == events[-2][:2]
    assert events[-1][2] == "sign minutes"
    assert made.kept.sha256 in events[-1][3]
    assert lists.meeting(registry, decided)["closed_at"] is not None


def test_signed_minutes_stay_as_they_were_signed(registry, decided):
    sign(registry, decided)
    load(registry, {"reviews": [review(informed_on="2025-04-04")]})
    (kept,) = minutes.signed(registry, decided)
    assert kept.decided[0]["decision"]["informed_on"] is None
    assert [one["procedure_id"] for one in kept.not_told] == ["P2"]
    assert minutes.changed_since(minutes.draft(registry, decided), kept) == ("P2",)


def test_an_amendment_names_what_it_amends(registry, decided):
    sign(registry, decided)
    load(registry, {"reviews": [review(informed_on="2025-04-04")]})
    made = minutes.amend(registry, decided, reason="The patient was told.", author="chair")
    assert (made.kept.number, made.kept.amends, made.kept.reason) == (2, 1, "The patient was told.")
    assert made.decided[0]["decision"]["informed_on"] == "2025-04-04"
    assert minutes.signed(registry, decided)[0].decided[0]["decision"]["informed_on"] is None


@pytest.mark.parametrize("reason", ["", "  "])
def test_an_amendment_without_a_reason_is_refused(registry, decided, reason):
    sign(registry, decided)
    load(registry, {"reviews": [review(informed_on="2025-04-04")]})
    with pytest.raises(UsageProblem, match="says why"):
        minutes.amend(registry, decided, reason=reason, author="chair")


def test_an_amendment_of_nothing_is_refused(registry, decided):
    sign(registry, decided)
    with pytest.raises(UsageProblem, match="Nothing that was decided has changed"):
        minutes.amend(registry, decided, reason="x", author="chair")


def test_they_are_signed_once(registry, decided):
    sign(registry, decided)
    with pytest.raises(UsageProblem, match="signed already"):
        sign(registry, decided)


def test_a_meeting_that_lies_ahead_is_not_signed(registry, decided):
    with pytest.raises(UsageProblem, match="once it was held"):
        sign(registry, decided, today=date(2025, 4, 2))


def test_nothing_decided_is_nothing_to_sign(registry, meeting):
    with pytest.raises(UsageProblem, match="nothing to sign"):
        sign(registry, meeting)
    assert lists.meeting(registry, meeting)["closed_at"] is None


def test_a_password_given_long_ago_is_asked_for_again(registry, decided):
    actor = Actor("chair", frozenset({Role.RADIOLOGIST}))
    with acting(actor), pytest.raises(ConfirmFirst):
        sign(registry, decided)


def tampered(registry, sql):
    with registry.writing() as cursor:
        cursor.execute(sql)
    return [one.message for one in verify(registry) if one.part == "minutes"]


def test_untouched_minutes_verify(registry, decided):
    sign(registry, decided)
    assert [one for one in verify(registry) if one.part == "minutes"] == []


@pytest.mark.parametrize(
    ("sql", "says"),
    [
        ("UPDATE signed_minutes SET signed_by = 'somebody else'", "are not those that the trail says"),
        (
            "UPDATE signed_minutes_entry SET content = replace(content, 'Discordant', 'Concordant')",
            "was changed after",
        ),
        ("UPDATE signed_minutes_entry SET content = '(erased)'", "was changed after"),
        ("UPDATE signed_minutes_entry SET sha256 = ''", "are not those that the trail says"),
        ("DELETE FROM signed_minutes", "are missing"),
    ],
)
def test_a_change_of_signed_minutes_is_found(registry, decided, sql, says):
    sign(registry, decided)
    found = tampered(registry, sql)
    assert found
    assert all(says in one for one in found)


def test_two_who_sign_at_once_write_one(registry, decided):
    made = minutes.draft(registry, decided)
    entries = tuple(signed_minutes.entry("decided", one["procedure_id"], one) for one in made.decided)
    given = {"author": "x", "opening": made.opening, "entries": entries, "reason": None, "amends": None}
    signed_minutes.keep(registry, decided, **given)
    with pytest.raises(UsageProblem, match="meanwhile"):
        signed_minutes.keep(registry, decided, **given)


# -- decided at the meeting --------------------------------------------------------

SAID = writing.Spoken(
    "RA1",
    "PA1",
    "discordant",
    "excision",
    "target_not_sampled",
    "surgeon",
    date(2025, 4, 20),
    "Dissent: none.",
)


def decide(registry, meeting, said=SAID, **more):
    return writing.decide(registry, meeting, "P2", said, author="chair", **({"today": TODAY} | more))


def test_a_decision_is_a_joint_review_that_names_the_meeting(registry, meeting):
    decide(registry, meeting)
    (row,) = registry.rows(
        "SELECT meeting_id, reviewed_on, stage, determination, reason, management, responsible, due_on, note "
        "FROM reviews WHERE procedure_id = 'P2'"
    )
    assert row == (
        meeting,
        HELD,
        "joint",
        "discordant",
        "target_not_sampled",
        "excision",
        "surgeon",
        date(2025, 4, 20),
        "Dissent: none.",
    )
    assert lists.agenda(registry, meeting).height == 0


def test_decided_again_it_is_another_version_of_one_review(registry, meeting):
    decide(registry, meeting)
    decide(registry, meeting, replace(SAID, management="repeat_biopsy"))
    assert registry.rows("SELECT management FROM reviews WHERE procedure_id = 'P2'") == [("repeat_biopsy",)]
    assert registry.rows("SELECT management FROM history.reviews WHERE procedure_id = 'P2'") == [
        ("excision",)
    ]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"reason": None}, "reason"),
        ({"pathologist": "RA1"}, "pathologist"),
        ({"due_on": date(2025, 4, 1)}, "due_on"),
        ({"pathologist": " "}, "pathologist"),
    ],
)
def test_a_decision_that_breaks_a_rule_is_not_written(registry, meeting, changed, says):
    with pytest.raises(BatchRefused, match=rf"Nothing was saved\. .*{says}"):
        decide(registry, meeting, replace(SAID, **changed))
    assert registry.rows("SELECT count(*) FROM reviews WHERE procedure_id = 'P2'") == [(0,)]
    assert registry.rows("SELECT count(*) FROM quarantine") == [(0,)]


def test_nothing_is_decided_before_the_day(registry, meeting):
    with pytest.raises(UsageProblem, match="Decide once it is held"):
        decide(registry, meeting, today=date(2025, 4, 2))
