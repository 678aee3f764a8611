"""One procedure on one page: stations, days between, what is missing, what changed."""

from datetime import date

import pytest

from registry.dictionary import tables
from registry.errors import UsageProblem
from registry.record import latest_day, newest_procedures, procedure_record
from registry.record.missing import CONDITIONS, expected_fields
from tests.build import base, load


def stations(registry, procedure_id="P1"):
    return {one.name: one for one in procedure_record(registry, procedure_id).line}


def test_the_line_has_seven_stations_in_the_order_of_the_work(registry):
    load(registry, base())

    names = [one.name for one in procedure_record(registry, "P1").line]

    assert names == ["Finding", "Plan", "Needle", "Specimens", "Pathology", "Decision", "Follow-up"]


def test_days_count_from_the_station_before(registry):
    load(registry, base())

    days = [one.days for one in procedure_record(registry, "P1").line]

    # 2025: 20 Feb, 21 Feb, 10 Mar (7 days of February and 10 of March), same day, 14 Mar, 20 Mar;
    # 12 Mar 2026 is 365 - 8 days after 20 Mar 2025.
    assert days == [None, 1, 17, 0, 4, 6, 357]


def test_the_days_pass_over_a_station_without_a_date(registry):
    rows = base()
    del rows["findings"][0]["biopsy_advised_on"]
    load(registry, rows)

    line = stations(registry)

    assert line["Plan"].days is None
    assert line["Needle"].days == 18  # 20 Feb to 10 Mar 2025


def test_the_offset_is_said_along_and_across_the_needle(registry):
    load(registry, base())

    # Planned 40, 22, 31; reached 42, 21, 33; needle along x, plus: 2 mm deeper, sqrt(1 + 4) across, 3 in all.
    assert "3.0 mm from the target" in stations(registry)["Needle"].words
    assert "2.0 mm deeper, 2.2 mm across" in stations(registry)["Needle"].words


def test_a_needle_that_advances_towards_minus_came_short(registry):
    rows = base()
    rows["targeting"][0]["needle_direction"] = "minus"
    load(registry, rows)

    assert "2.0 mm short, 2.2 mm across" in stations(registry)["Needle"].words


def test_a_report_of_a_later_day_marks_the_pathology(registry):
    rows = base()
    amended = {
        **rows["pathology"][0],
        "version": "2",
        "status": "amended",
        "reported_on": "2025-03-25",
        "diagnosis": "high_risk",
        "lesion": "papilloma",
        "b_category": "B3",
        "morphology": "",
    }
    rows["pathology"].append(amended)
    load(registry, rows)

    assert (
        stations(registry)["Pathology"].changed
        == "Report version 2 (amended) of 2025-03-25 came after the decision of 2025-03-20"
    )


def test_a_preliminary_report_of_a_later_day_marks_nothing(registry):
    rows = base()
    rows["pathology"].append(
        {**rows["pathology"][0], "report_id": "R2", "status": "preliminary", "reported_on": "2025-03-25"}
    )
    load(registry, rows)

    assert stations(registry)["Pathology"].changed == ""


def test_a_report_dated_earlier_but_received_after_the_decision_marks_the_pathology(registry):
    load(registry, base())
    rows = base()
    late = {
        **rows["pathology"][0],
        "version": "2",
        "status": "amended",
        "reported_on": "2025-03-18",
        "diagnosis": "normal",
        "lesion": "",
    }
    load(registry, {"pathology": [late]})

    changed = stations(registry)["Pathology"].changed
    assert changed.startswith("Report version 2 (amended) of 2025-03-18 was recorded on ")
    assert changed.endswith(", after the decision of 2025-03-20")


def test_a_specimen_corrected_after_the_decision_is_marked(registry):
    load(registry, base())
    load(registry, {"specimens": [{**base()["specimens"][0], "mass_g": "1.4"}]}, reason="weighed again")

    assert stations(registry)["Specimens"].changed.startswith("Specimens recorded or changed on ")


def test_without_a_joint_review_nothing_was_decided_that_could_change(registry):
    rows = base()
    rows["reviews"][0]["stage"] = "provisional"
    load(registry, rows)

    record = procedure_record(registry, "P1")

    assert record.changes == ()
    assert stations(registry)["Decision"].state == "missing"
    assert "provisional review only" in stations(registry)["Decision"].words


def test_without_a_report_no_decision_is_due(registry):
    rows = base()
    rows["pathology"], rows["reviews"] = [], []
    load(registry, {name: given for name, given in rows.items() if given})

    line = stations(registry)

    assert (line["Pathology"].state, line["Decision"].state) == ("missing", "not due")


def test_a_cancelled_procedure_owes_neither_tissue_nor_report(registry):
    rows = base()
    rows["procedures"][0].update(
        status="cancelled", status_reason="target_not_seen", cores="", marker="", marker_shape=""
    )
    kept = {name: rows[name] for name in ("operators", "patients", "findings", "procedures")}
    load(registry, kept)

    line = stations(registry)

    assert line["Needle"].words == ("Cancelled before needle entry", "Target not seen")
    assert (line["Specimens"].state, line["Pathology"].state) == ("not due", "not due")


def test_an_event_on_a_repeat_stands_on_the_line_of_the_first_procedure(registry):
    rows = base()
    rows["procedures"].append(
        {
            **rows["procedures"][0],
            "procedure_id": "P2",
            "accession": "ACC2",
            "started_at": "2025-04-10T09:30",
            "ended_at": "2025-04-10T10:00",
            "injected_at": "2025-04-10T08:20",
            "first_scan_at": "2025-04-10T09:20",
            "repeat_of": "P1",
            "repeat_reason": "discordant",
            "marker_shape": "ring",
        }
    )
    rows["followup"] = [
        {
            "event_id": "E1",
            "procedure_id": "P2",
            "happened_on": "2025-05-02",
            "kind": "excision",
            "diagnosis": "benign",
            "same_site": "yes",
            "excision_kind": "diagnostic",
        }
    ]
    load(registry, rows)

    record = procedure_record(registry, "P1")

    assert [row["procedure_id"] for row in record.chain] == ["P2"]
    assert record.line[-1].on == date(2025, 5, 2)
    assert record.line[-1].words == ("Excision: benign lesion", "2 events, latest shown")


def test_only_the_newest_version_of_a_report_counts(registry):
    rows = base()
    rows["pathology"].append(
        {**rows["pathology"][0], "version": "2", "status": "amended", "reported_on": "2025-03-16"}
    )
    load(registry, rows)

    assert [(row["version"], row["is_current"]) for row in procedure_record(registry, "P1").reports] == [
        (1, False),
        (2, True),
    ]


def test_a_retracted_newest_version_leaves_no_report_that_counts(registry):
    rows = base()
    rows["pathology"].append(
        {**rows["pathology"][0], "version": "2", "status": "retracted", "reported_on": "2025-03-16"}
    )
    load(registry, rows)

    assert [row["is_current"] for row in procedure_record(registry, "P1").reports] == [False, False]


def test_what_is_missing_is_counted_and_named(registry):
    rows = base()
    rows["findings"][0]["size_mm"] = ""
    rows["procedures"][0]["weight_kg"] = ""
    load(registry, rows)

    missing = procedure_record(registry, "P1").missing

    assert {"size of the finding", "body weight"} <= set(missing)
    assert procedure_record(registry, "P1").missing_sentence().startswith(f"{len(missing)} fields missing: ")


def test_a_table_without_a_row_is_named_once(registry):
    rows = base()
    rows["specimens"] = []
    load(registry, {name: given for name, given in rows.items() if given})

    missing = procedure_record(registry, "P1").missing

    assert missing.count("specimen record") == 1
    assert "tissue mass" not in missing


def test_every_expected_field_is_a_field_of_the_dictionary():
    unknown = [
        one
        for one in expected_fields()
        if one["field"] not in tables()[one["table"]].names or one["when"] not in CONDITIONS
    ]

    assert unknown == []


def test_an_unknown_key_ends_in_a_sentence_that_does_not_repeat_it(registry):
    with pytest.raises(UsageProblem) as problem:
        procedure_record(registry, "PAT-SECRET")

    assert "PAT-SECRET" not in str(problem.value)


def test_the_newest_procedures_come_first_and_no_more_than_asked(registry):
    rows = base()
    rows["procedures"].append(
        {
            **rows["procedures"][0],
            "procedure_id": "P0",
            "accession": "ACC0",
            "started_at": "2025-03-08T09:30",
            "ended_at": "2025-03-08T10:00",
            "injected_at": "2025-03-08T08:20",
            "first_scan_at": "2025-03-08T09:20",
        }
    )
    load(registry, rows)

    assert newest_procedures(registry, 1).get_column("procedure_id").to_list() == ["P1"]


def test_the_latest_day_is_the_latest_clinical_date(registry):
    load(registry, base())

    assert latest_day(registry) == date(2026, 3, 12)  # the follow-up imaging of tests.build


def test_an_empty_registry_has_no_latest_day(registry):
    assert latest_day(registry) is None
