"""The follow-up loop: schedule by result, calls, outside reports, letters; and nobody falls between two lists."""

from __future__ import annotations

import itertools
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from registry import worklists
from registry.errors import BatchRefused, ConfirmFirst, Refused, SiteProblem, UsageProblem
from registry.follow_up import close, due_by_patient, recall, record_contact, record_outside
from registry.people import Actor, Role, acting
from registry.site import parse
from registry.store import Registry
from tests.build import Rows, base, load

TODAY = date(2028, 1, 1)
#: The procedure is of 2025-03-10; six months later it is due.
DUE = date(2025, 9, 10)


def undecided_rows() -> Rows:
    return {name: rows for name, rows in base().items() if name not in ("reviews", "followup")}


def line(registry: Registry, as_of: date = DUE) -> dict[str, Any] | None:
    rows = due_by_patient(registry, as_of=as_of).to_dicts()
    assert len(rows) <= 1
    return rows[0] if rows else None


# -- schedule by result --------------------------------------------------------------------

HIGH = {"diagnosis": "high_risk", "lesion": "alh", "b_category": "B3", "morphology": "", "atypia": "yes"}
SEEN = {"correlate": "ultrasound"}
CLASSES = {
    "tracer_only": ({}, {}, None),
    "specific": (SEEN, {}, None),
    "non_specific": (SEEN, {"lesion": "fibrocystic", "morphology": ""}, None),
    "high_risk": (SEEN, HIGH, {"management": "surveillance"}),
    "declined": (
        SEEN,
        {"lesion": "fibrocystic", "morphology": ""},
        {
            "determination": "discordant",
            "reason": "imaging_more_suspicious",
            "management": "repeat_biopsy",
            "declined_on": "2025-03-25",
        },
    ),
}
#: First date of the shipped schedule: 6 months, for a specific benign result 12.
FIRST = {**dict.fromkeys(CLASSES, DUE), "specific": date(2026, 3, 10)}


def of_class(registry: Registry, name: str) -> None:
    finding, report, review = CLASSES[name]
    rows = undecided_rows()
    rows["findings"][0] |= finding
    rows["pathology"][0] |= report
    if review is not None:
        rows["reviews"] = [{**base()["reviews"][0], **review}]
    load(registry, rows, today=TODAY)


@pytest.mark.parametrize("name", CLASSES)
def test_each_kind_of_result_is_due_by_its_own_schedule(registry: Registry, name: str):
    of_class(registry, name)
    first = FIRST[name]

    assert line(registry, first.replace(day=9)) is None
    found = line(registry, first)
    assert (found["result_class"], found["next_due_on"]) == (name, first)


def test_a_high_risk_result_that_goes_to_excision_is_not_followed(registry: Registry):
    rows = undecided_rows()
    rows["pathology"][0] |= HIGH
    rows["reviews"] = [{**base()["reviews"][0], "management": "excision"}]
    load(registry, rows, today=TODAY)

    assert line(registry) is None


def cancelled(reason: str) -> Rows:
    kept = ("procedure_id", "finding_id", "site", "operator", "started_at", "guidance")
    rows = {name: undecided_rows()[name] for name in ("operators", "patients", "findings", "procedures")}
    rows["procedures"] = [
        {key: rows["procedures"][0][key] for key in kept} | {"status": "cancelled", "status_reason": reason}
    ]
    return rows


@pytest.mark.parametrize(
    ("reason", "due"), [("target_not_seen", True), ("no_uptake", True), ("patient", False)]
)
def test_a_target_that_was_not_seen_is_due_again(registry: Registry, reason: str, due: bool):
    load(registry, cancelled(reason), today=TODAY)

    assert (line(registry) is not None) == due


def test_the_site_may_follow_another_schedule(registry: Registry):
    of_class(registry, "specific")
    registry.site = replace(registry.site, schedule={"specific": (3,)})

    assert line(registry, date(2025, 6, 10))["next_due_on"] == date(2025, 6, 10)


@pytest.mark.parametrize(
    "text",
    [
        '[follow_up.schedule]\nspecific = "12"',
        "[follow_up.schedule]\nall = [6]",
        "[follow_up]\nschedule = [6]",
    ],
)
def test_a_schedule_that_cannot_be_read_is_named(text: str):
    with pytest.raises(SiteProblem, match="schedule"):
        parse(text)


# -- calls ---------------------------------------------------------------------------------


def call(registry: Registry, result: str, on: date = DUE) -> None:
    record_contact(registry, "P1", result, on=on, today=TODAY)


def test_a_call_without_an_answer_names_the_next(undecided: Registry):
    call(undecided, "no_answer")
    found = line(undecided)

    assert (found["contact_attempts"], found["next_call_on"], found["escalate"]) == (
        1,
        date(2025, 9, 17),
        False,
    )


def test_after_the_local_number_of_attempts_somebody_else_must_look(undecided: Registry):
    for day in (10, 11, 12):
        call(undecided, "message_left", date(2025, 9, day))

    assert line(undecided, date(2025, 9, 12))["escalate"]


def test_whoever_was_reached_is_not_called_again(undecided: Registry):
    call(undecided, "no_answer", date(2025, 9, 9))
    call(undecided, "reached")
    found = line(undecided)

    assert (found["next_call_on"], found["contact_attempts"]) == (None, 2)


def test_seen_elsewhere_owes_a_report_until_it_comes(undecided: Registry):
    call(undecided, "seen_elsewhere")
    assert line(undecided)["outside_owed"]
    record_outside(
        undecided, "P1", on=date(2025, 9, 11), modality="mammography", outcome="stable", today=TODAY
    )
    found = line(undecided, date(2025, 9, 12))

    assert not found["outside_owed"]
    assert (
        found["not_cleared_because"]
        == "mammography of 2025-09-11 cannot show a target seen on tracer imaging alone"
    )


@pytest.mark.parametrize("modality", ["pet_tracer", "mri"])
def test_the_list_empties_itself_when_a_report_that_can_show_the_target_comes(
    undecided: Registry, modality: str
):
    assert line(undecided) is not None
    record_outside(undecided, "P1", on=DUE, modality=modality, outcome="stable", today=TODAY)

    assert line(undecided) is None


def test_the_list_empties_itself_when_a_linkage_comes(undecided: Registry):
    event = {
        "event_id": "L",
        "procedure_id": "P1",
        "happened_on": "2027-03-10",
        "kind": "registry_linkage",
        "diagnosis": "none",
        "source": "registry",
    }
    load(undecided, {"followup": [event]}, today=TODAY)

    assert line(undecided, date(2027, 4, 1)) is None


def test_the_end_of_the_chase_has_a_reason_and_stays_in_view(undecided: Registry):
    close(undecided, "P1", "moved", on=DUE, today=TODAY)
    found = line(undecided)

    assert (found["place"], found["last_event"]) == (4, "lost moved")


def test_each_entry_has_a_key_of_its_own(undecided: Registry):
    for _ in range(3):
        call(undecided, "no_answer")

    assert undecided.rows("SELECT count(*), count(DISTINCT event_id) FROM followup") == [(3, 3)]


def test_an_unknown_result_is_refused(undecided: Registry):
    with pytest.raises(UsageProblem, match="is unknown"):
        call(undecided, "perhaps")


def test_a_call_before_the_procedure_is_refused_in_the_words_of_intake(undecided: Registry):
    with pytest.raises(BatchRefused, match="happened_on"):
        call(undecided, "reached", date(2025, 3, 9))


# -- one line per patient ------------------------------------------------------------------


def second_procedure() -> Rows:
    rows = undecided_rows()
    rows["findings"].append({**rows["findings"][0], "finding_id": "F2", "laterality": "R"})
    rows["procedures"].append(
        {
            **rows["procedures"][0],
            "procedure_id": "P2",
            "finding_id": "F2",
            "started_at": "2025-03-09T09:30",
            "ended_at": "",
            "injected_at": "",
            "first_scan_at": "",
            "accession": "",
        }
    )
    rows["pathology"].append({**rows["pathology"][0], "report_id": "R2", "procedure_id": "P2"})
    return rows


def test_a_patient_with_two_lines_is_called_once(registry: Registry):
    load(registry, second_procedure(), today=TODAY)
    (found,) = due_by_patient(registry, as_of=DUE).to_dicts()

    # P2 is due a day longer.
    assert (found["procedure_id"], found["also"]) == ("P2", "P1")


# -- letters -------------------------------------------------------------------------------

NOW = datetime(2025, 4, 1, 8, 0, tzinfo=UTC)
COORDINATOR = Actor("ines", frozenset({Role.COORDINATOR}), via="account", confirmed_at=NOW)
PURPOSE = "letters of the autumn recall"


def test_identifiers_are_given_for_a_purpose_that_stands_in_the_trail(undecided: Registry):
    with acting(COORDINATOR):
        (row,) = recall(undecided, as_of=DUE, purpose=PURPOSE).to_dicts()

    assert (row["patient_id"], row["birth_date"], row["procedure_id"]) == ("PAT1", date(1960, 5, 17), "P1")
    ((actor, details),) = undecided.rows("SELECT actor, details FROM audit_event WHERE action = 'recall'")
    assert actor == "ines"
    assert PURPOSE in details


@pytest.mark.parametrize(
    "role", [role for role in Role if role not in (Role.COORDINATOR, Role.RADIOLOGIST, Role.PATHOLOGIST)]
)
def test_others_get_none(undecided: Registry, role: Role):
    with acting(replace(COORDINATOR, roles=frozenset({role}))), pytest.raises(Refused):
        recall(undecided, as_of=DUE, purpose=PURPOSE)

    assert undecided.rows("SELECT count(*) FROM audit_event WHERE action = 'recall'") == [(0,)]


@pytest.mark.parametrize("purpose", ["  x ", "x" * 9, "x" * 201])
def test_a_purpose_of_10_to_200_characters_is_asked_for(undecided: Registry, purpose: str):
    with acting(COORDINATOR), pytest.raises(UsageProblem, match="what the identifiers are for"):
        recall(undecided, as_of=DUE, purpose=purpose)


@pytest.mark.parametrize("length", [10, 200])
def test_a_purpose_may_be_as_short_and_as_long(undecided: Registry, length: int):
    with acting(COORDINATOR):
        assert recall(undecided, as_of=DUE, purpose="x" * length).height == 1


def test_an_old_password_is_asked_for_again(undecided: Registry):
    with acting(replace(COORDINATOR, confirmed_at=None)), pytest.raises(ConfirmFirst):
        recall(undecided, as_of=DUE, purpose=PURPOSE)


def test_whose_chase_was_closed_gets_no_letter(undecided: Registry):
    close(undecided, "P1", "declined", on=DUE, today=TODAY)
    with acting(COORDINATOR):
        assert recall(undecided, as_of=DUE, purpose=PURPOSE).height == 0


def test_whose_report_is_owed_by_another_service_gets_no_letter(undecided: Registry):
    record_contact(undecided, "P1", "seen_elsewhere", on=DUE, today=TODAY)
    with acting(COORDINATOR):
        assert recall(undecided, as_of=DUE, purpose=PURPOSE).height == 0
    # The line stays where the report is chased from.
    assert line(undecided)["outside_owed"]


def test_once_the_report_has_come_and_shows_nothing_of_the_target_the_letter_is_written(undecided: Registry):
    record_contact(undecided, "P1", "seen_elsewhere", on=DUE, today=TODAY)
    # Seen on tracer imaging alone: mammography cannot show it, so that the examination is still due.
    record_outside(undecided, "P1", on=DUE, modality="mammography", outcome="stable", today=TODAY)
    with acting(COORDINATOR):
        assert recall(undecided, as_of=DUE, purpose=PURPOSE)["procedure_id"].to_list() == ["P1"]


def test_growth_waits_for_no_report(undecided: Registry):
    record_outside(undecided, "P1", on=date(2025, 9, 1), modality="mri", outcome="progressed", today=TODAY)
    record_contact(undecided, "P1", "seen_elsewhere", on=DUE, today=TODAY)
    with acting(COORDINATOR):
        assert recall(undecided, as_of=DUE, purpose=PURPOSE)["procedure_id"].to_list() == ["P1"]


def test_another_procedure_for_which_nothing_is_owed_brings_the_letter(undecided: Registry):
    rows = undecided_rows()
    for table, key in (("findings", "finding_id"), ("procedures", "procedure_id")):
        rows[table].append({**rows[table][0], key: f"{rows[table][0][key]}B"})
    rows["procedures"][1] |= {
        "finding_id": rows["findings"][1]["finding_id"],
        "marker_shape": "ring",
        "accession": "A2",
    }
    rows["pathology"].append({**rows["pathology"][0], "report_id": "RB", "procedure_id": "P1B"})
    rows["pathology"][1].pop("specimen_id", None)
    load(undecided, rows, today=TODAY)
    record_contact(undecided, "P1", "seen_elsewhere", on=DUE, today=TODAY)
    with acting(COORDINATOR):
        assert recall(undecided, as_of=DUE, purpose=PURPOSE)["procedure_id"].to_list() == ["P1B"]


# -- nobody falls between two lists --------------------------------------------------------

AS_OF = date(2026, 6, 1)
RESULTS = {
    "none": None,
    "benign": {},
    "insufficient": {"diagnosis": "insufficient", "b_category": "B1", "lesion": "", "morphology": ""},
    "high_risk": HIGH,
    "invasive": {"diagnosis": "invasive", "b_category": "B5b", "lesion": "ductal", "morphology": "8500/3"},
}
REVIEWS = {
    "none": None,
    "routine": {"management": "routine_screening"},
    "surveillance": {"management": "surveillance"},
    "repeat": {"determination": "discordant", "reason": "target_not_sampled", "management": "repeat_biopsy"},
    "declined": {
        "determination": "discordant",
        "reason": "target_not_sampled",
        "management": "repeat_biopsy",
        "declined_on": "2025-03-25",
        "informed_on": "2025-03-24",
    },
    "open": {
        "determination": "indeterminate",
        "reason": "awaiting_pathology",
        "management": "pathology_review",
    },
    "excision": {"management": "excision"},
}
EVENTS = {
    "none": None,
    "mammogram": {"kind": "imaging", "modality": "mammography", "imaging_outcome": "stable"},
    "lost": {"kind": "lost", "closure_reason": "untraced"},
    "excised": {"kind": "excision", "diagnosis": "benign", "excision_kind": "diagnostic"},
    "cancer": {"kind": "registry_linkage", "diagnosis": "invasive", "source": "registry"},
    "death": {"kind": "death"},
}
#: What closes a woman's way for a stated reason: tissue afterwards, a cancer that is known, death.
CLOSED = {"excised", "cancer", "death"}


def on_lists(registry: Registry) -> set[str]:
    return {name for name in worklists.load_worklists() if worklists.rows(registry, name, as_of=AS_OF).height}


#: A review without a report is held at intake.
WAYS = [one for one in itertools.product(RESULTS, REVIEWS, EVENTS) if one[0] != "none" or one[1] == "none"]


def drawn(number: int, result: str, review: str, event: str) -> Rows:
    """One woman of her own, with one procedure that went this way."""
    rows = undecided_rows()
    key = {"patient_id": f"W{number}", "finding_id": f"FW{number}", "procedure_id": f"W{number}"}
    made: Rows = {"patients": [{**rows["patients"][0], "patient_id": key["patient_id"]}]}
    made["findings"] = [{**rows["findings"][0], **{name: key[name] for name in ("patient_id", "finding_id")}}]
    made["procedures"] = [
        {
            **rows["procedures"][0],
            "procedure_id": key["procedure_id"],
            "finding_id": key["finding_id"],
            "accession": "",
        }
    ]
    own = {"procedure_id": key["procedure_id"]}
    if (said := RESULTS[result]) is not None:
        made["pathology"] = [{**rows["pathology"][0], **said, **own, "report_id": f"R{number}"}]
    if (decided := REVIEWS[review]) is not None:
        made["reviews"] = [
            {**base()["reviews"][0], "informed_on": "2025-03-21", **decided, **own, "review_id": f"V{number}"}
        ]
    if (happened := EVENTS[event]) is not None:
        made["followup"] = [{"event_id": f"E{number}", "happened_on": "2025-10-01", **happened, **own}]
    return made


@pytest.fixture(scope="module")
def lists(empty_folder, tmp_path_factory) -> dict[str, set[str]]:
    """Worklist -> procedures that stand on it, of women who went every way."""
    place = shutil.copytree(empty_folder, tmp_path_factory.mktemp("ways") / "registry")
    whole: Rows = {name: base()[name] for name in ("operators", "meetings")}
    for number, way in enumerate(WAYS):
        for name, given in drawn(number, *way).items():
            whole.setdefault(name, []).extend(given)
    with Registry.open(place, write=True) as registry:
        report = load(registry, whole, today=TODAY)
        assert not report.total.held, report.lines()
        return {
            name: set(found["procedure_id"])
            for name in worklists.load_worklists()
            if "procedure_id" in (found := worklists.rows(registry, name, as_of=AS_OF)).columns
        }


@pytest.mark.parametrize("number", range(len(WAYS)), ids=["-".join(one) for one in WAYS])
def test_whoever_is_not_closed_stands_on_a_list(lists: dict[str, set[str]], number: int):
    result, review, event = WAYS[number]
    stands = {name for name, keys in lists.items() if f"W{number}" in keys}
    treated = result == "invasive" and review in ("routine", "surveillance")

    assert stands or event in CLOSED or treated


def test_not_everybody_stands_on_every_list(lists: dict[str, set[str]]):
    assert all(len(keys) < len(WAYS) / 2 for keys in lists.values())


@pytest.mark.parametrize("reason", ["target_not_seen", "no_uptake", "resolved", "patient", "equipment"])
def test_whoever_was_not_sampled_stands_on_a_list(registry: Registry, reason: str):
    load(registry, cancelled(reason), today=TODAY)

    assert "cancelled_unresolved" in on_lists(registry)


def test_an_advised_biopsy_without_a_procedure_stands_on_a_list(registry: Registry):
    rows = {name: base()[name] for name in ("patients", "findings")}
    load(registry, rows, today=TODAY)

    assert "not_biopsied" in on_lists(registry)
