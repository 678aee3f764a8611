"""Every measure file: its header, its columns, and the exclusions that were agreed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from registry.measures import evaluate, load_measures
from registry.measures.definition import BOUNDS, DIRECTIONS, GROUPS, _measure
from registry.sqlfiles import HeaderProblem, SqlFile, parse_header
from tests.measures.build import day

if TYPE_CHECKING:
    from tests.measures.build import Drawn

NS, RP, NR = "not sampled", "repeat procedure", "no pathology report"
RW, W = "report window not complete", "window not complete"
EARLY = "first report fewer than 14 days before as_of"
VERIFIED = [NS, "no targeting record", "not verified", "stand-in not matched"]
POSITION = [*VERIFIED, "position not recorded"]

#: The agreed exclusions of every measure, in the order in which they apply.
AGREED = {
    "tissue_obtained": ["cancelled"],
    "cancellation": [],
    "target_seen": ["not tracer guided", "not recorded"],
    "insufficient_sample": [NS, RW, NR],
    "cancer_at_biopsy": [NS, RP, RW, NR],
    "ppv3": [NS, RP, W, NR, "assessment not 4, 4a, 4b, 4c or 5"],
    "high_risk_yield": [NS, RP, RW, NR],
    "in_situ_share": [NS, RP, RW, NR, "not malignant"],
    "review_coverage": [NS, NR, EARLY],
    "timely_review": [NS, NR, EARLY],
    "discordance": [NS, RW, NR, "no conclusive review"],
    "discordant_benign": [NS, RW, NR, "no conclusive review", "not a benign result"],
    "discordant_suspicious_benign": [
        NS,
        RW,
        NR,
        "no conclusive review",
        "not a benign result",
        "assessment not 4, 4a, 4b, 4c or 5",
    ],
    "discordance_latest": [NS, RW, NR, "not reviewed", "latest indeterminate"],
    "discordant_resolved": [NS, NR, "not discordant", "that review fewer than 60 days before as_of"],
    "cancer_in_discordant": [NS, NR, "not discordant", W, "no later tissue"],
    "repeat_biopsy": [NS, RP, W],
    "upgrade_high_risk_excised": [NS, RP, W, NR, "not high-risk", "not excised"],
    "upgrade_high_risk_resolved": [NS, RP, W, NR, "not high-risk", "not resolved"],
    "upgrade_in_situ": [NS, RP, W, NR, "not in situ", "not excised"],
    "missed_at_biopsy": [NS, RP, W, NR, "no cancer"],
    "false_negative_benign": [NS, RP, W, NR, "no cancer"],
    "false_omission": [NS, RP, W, NR, "not a benign result", "not resolved"],
    "later_cancer_after_concordant": [
        NS,
        RP,
        W,
        NR,
        "not a benign result",
        "first conclusive review not concordant",
        "not resolved",
    ],
    "later_cancer_after_not_sampled": ["sampled", "sampled otherwise", W, "not resolved"],
    "follow_up_complete": [NS, RP, W, NR, "not a benign result", "died within 669 days"],
    "complication": ["cancelled", "started fewer than 30 days before as_of"],
    "severe_complication": ["cancelled", "started fewer than 30 days before as_of"],
    "sampling_confirmed": [NS],
    "specimen_scan_done": [NS, "not tracer guided"],
    "specimen_uptake": [NS, "not tracer guided", "specimens not read"],
    "calcification_retrieval": [NS, "not calcifications", "specimens not imaged"],
    "verification_done": [NS, "guidance not pet_tracer, gamma_tracer or mri"],
    "targeted_within_5mm": POSITION,
    "target_in_aperture": [*VERIFIED, "not judged"],
    "safe_margin_kept": [NS, "safe margin not recorded"],
    "marker_placed": [NS, "marker not recorded"],
    "marker_documented": [NS, "marker not placed", "mammogram not recorded"],
    "marker_within_10mm": [NS, "marker not placed", "shift not recorded"],
    "uptake_time_kept": [NS, "no tracer given", "no window for this tracer", "injection time not recorded"],
    "finding_to_biopsy_days": [NS, RP],
    "biopsy_to_report_days": [NS, NR],
    "report_to_review_days": [NS, NR, "not reviewed"],
    "targeting_error_mm": POSITION,
    "targeting_lateral_mm": [*POSITION, "needle_axis oblique"],
    "targeting_depth_mm": [*POSITION, "needle_axis oblique"],
    "target_motion_mm": [NS, "target not re-seen"],
    "tip_clearance_mm": [NS, "any of it missing"],
    "marker_shift_mm": [NS, "marker not placed", "shift not recorded"],
    "tissue_mass_g": [NS, "no specimen", "any specimen without a mass"],
    "specimen_concentration_ratio": [NS, "anything of it missing"],
    "b_category_accuracy": [NS, RP, W, NR, "no b category"],
    "cancer_after_benign": [NS, RP, NR, "not a benign result"],
    "sampling_probability": [
        NS,
        "not vacuum-assisted",
        *VERIFIED[1:],
        "marked point not stated",
        "marked point not carried to the aperture",
        "position not recorded",
        "needle_axis oblique",
        "needle diameter not known",
        "aperture not recorded",
        "target size not recorded",
        "slice thickness not known",
        "measurement uncertainty not known",
    ],
}
WITH_BOUNDS = {
    "discordance": "missing",
    "discordant_benign": "missing",
    "discordant_suspicious_benign": "missing",
    "discordance_latest": "missing",
    "cancer_in_discordant": "missing",
    "upgrade_high_risk_excised": "missing",
    "upgrade_high_risk_resolved": "missing",
    "upgrade_in_situ": "missing",
    "missed_at_biopsy": "cancers",
    "false_negative_benign": "benign",
    "false_omission": "missing",
    "later_cancer_after_concordant": "missing",
    "later_cancer_after_not_sampled": "missing",
}
UNITS = {
    **dict.fromkeys(("finding_to_biopsy_days", "biopsy_to_report_days", "report_to_review_days"), "d"),
    **dict.fromkeys(
        ("targeting_error_mm", "targeting_lateral_mm", "targeting_depth_mm", "target_motion_mm"), "mm"
    ),
    **dict.fromkeys(("tip_clearance_mm", "marker_shift_mm"), "mm"),
    "tissue_mass_g": "g",
    "specimen_concentration_ratio": "g/g",
    "sampling_probability": "share",
}
KINDS = {
    "b_category_accuracy": "table",
    "cancer_after_benign": "time_to_event",
    **dict.fromkeys(UNITS, "quantity"),
    "sampling_probability": "sampling",
}
COLUMNS = {
    "proportion": {"in_numerator": "BOOLEAN"},
    "quantity": {"measured": "DOUBLE", "counts_as_missing": "BOOLEAN"},
    "table": {"b_category": "VARCHAR", "outcome": "VARCHAR", "is_resolved": "BOOLEAN"},
    "time_to_event": {
        "lost_days": "BIGINT",
        "lost_status": "INTEGER",
        "free_days": "BIGINT",
        "free_status": "INTEGER",
    },
    "sampling": {
        **dict.fromkeys(("size_mm", "outer_diameter_mm", "aperture_mm", "slice_mm"), "DOUBLE"),
        **dict.fromkeys(("error_x_mm", "error_y_mm", "error_z_mm", "measurement_sd_mm"), "DOUBLE"),
        **dict.fromkeys(("sampled_hours", "laterality", "frame", "needle_axis"), "VARCHAR"),
        **dict.fromkeys(("needle_direction", "compression_axis"), "VARCHAR"),
        **dict.fromkeys(("is_seen_again", "is_slice_recorded", "is_measurement_sd_recorded"), "BOOLEAN"),
        "gauge": "INTEGER",
    },
}
SHARED_COLUMNS = {"procedure_id": "VARCHAR", "index_date": "DATE", "excluded_because": "VARCHAR"}
MEASURES = load_measures()
every_measure = pytest.mark.parametrize("measure", MEASURES)


def test_the_agreed_measures_and_no_others_are_shipped():
    assert set(MEASURES) == set(AGREED)


@every_measure
def test_a_measure_is_of_the_agreed_kind(measure: str):
    assert MEASURES[measure].kind == KINDS.get(measure, "proportion")


@every_measure
def test_exclusions_stand_in_the_agreed_order(measure: str):
    assert list(MEASURES[measure].reasons) == AGREED[measure]


@every_measure
def test_the_statement_names_the_reasons_of_the_header_in_that_order(measure: str):
    before, found, _ = MEASURES[measure].body.partition("END AS excluded_because")
    given = re.findall(r"THEN\s+'([^']+)'", before) if found else []

    assert given == AGREED[measure]


@every_measure
def test_bounds_are_of_the_agreed_form(measure: str):
    assert MEASURES[measure].bounds == WITH_BOUNDS.get(measure, "")


@every_measure
def test_a_quantity_has_the_agreed_unit(measure: str):
    assert MEASURES[measure].value_unit == UNITS.get(measure, "")


@every_measure
def test_a_statement_has_the_agreed_columns(measure: str, drawn: Drawn):
    wanted = {**SHARED_COLUMNS, **COLUMNS[MEASURES[measure].kind]}
    if measure in WITH_BOUNDS:
        wanted["unknown"] = "VARCHAR"
    with drawn.cursor() as cursor:
        asked = cursor.sql(MEASURES[measure].sql, params={"as_of": day(0)})

        assert dict(zip(asked.columns, map(str, asked.types), strict=True)) == wanted


@every_measure
def test_a_statement_can_be_prepared_as_it_stands(measure: str, drawn: Drawn):
    with drawn.cursor() as cursor:
        cursor.execute(f"PREPARE checked AS {MEASURES[measure].sql}")

        kept = cursor.execute("SELECT name FROM duckdb_prepared_statements()").fetchall()
        assert kept == [("checked",)]


@every_measure
def test_a_statement_names_its_columns_one_by_one(measure: str):
    """Counting hands a measure only the facts that it names."""
    assert "*" not in re.sub(r"count\(\*\)", "", MEASURES[measure].body)


@every_measure
def test_no_procedures_are_no_rate(measure: str, scene: Drawn):
    (result,) = evaluate(scene, [measure], as_of=day(1000))
    said = result.to_dict()

    assert said.get("denominator", said.get("n", said.get("total"))) == 0
    assert said.get("proportion") is None
    assert said.get("lower") is None
    assert said["excluded"] == {}
    assert said["patients"] == 0


@every_measure
def test_a_header_says_enough_to_judge_the_measure(measure: str):
    one = MEASURES[measure]

    assert one.group in GROUPS
    assert one.direction in DIRECTIONS
    assert one.bounds in {"", *BOUNDS}
    assert one.question.endswith("?")
    assert all(exclusion.meaning for exclusion in one.exclusions)


# --- the header is read strictly ---------------------------------------------------------

GOOD = "\n".join(
    [
        "-- measure: example",
        "-- kind: proportion",
        "-- title: Example",
        "-- question: How often?",
        "-- unit: procedure",
        "-- numerator: those",
        "-- denominator: these",
        "-- exclusions: not sampled (status not completed); too new (started lately)",
        "-- window: none",
        "-- interval: wilson",
        "-- source: common practice",
        "SELECT 1",
    ]
)


def read(text: str, name: str = "example"):
    return _measure(SqlFile(name, parse_header(text, "here"), text))


def test_a_good_header_is_read():
    assert read(GOOD).reasons == ("not sampled", "too new")


def test_a_measure_may_leave_nobody_out():
    text = re.sub("exclusions: .*", "exclusions: none", GOOD)
    assert read(text).exclusions == ()


def test_a_statement_is_its_file_without_the_header():
    assert read(GOOD).body == "SELECT 1"


@pytest.mark.parametrize(
    ("line", "instead", "complaint"),
    [
        ("-- measure: example", "-- measure: another", "says another"),
        ("-- kind: proportion", "-- kind: ratio", "kind 'ratio' is not known"),
        ("-- title: Example", "-- titel: Example", "unknown titel"),
        ("-- title: Example", "-- title: Example\n-- title: Again", "title twice"),
        ("-- title: Example", "-- title:", "title is empty"),
        ("-- numerator: those", "-- value: days", "lacks numerator"),
        ("-- window: none", "-- window: none\n-- bounds: some", "bounds 'some' is not known"),
        ("-- window: none", "-- window: none\n-- group: other", "group 'other' is not known"),
        ("-- window: none", "-- window: none\n-- direction: up", "direction 'up' is not known"),
        ("; too new (started lately)", "; too new", "exclusion 'too new'"),
        ("too new (started lately)", "too new (started lately", "exclusion 'too new (started lately'"),
        ("-- window: none", "-- window: none\n-- direction: up", "Known: context, higher, lower."),
    ],
)
def test_a_faulty_header_is_refused(line: str, instead: str, complaint: str):
    with pytest.raises(HeaderProblem, match=re.escape(complaint)):
        read(GOOD.replace(line, instead))
