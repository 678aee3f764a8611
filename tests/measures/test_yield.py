"""Yield: what came out of an attempt, and what its tissue showed.

Expected verdicts are read off the agreed definitions by hand; the shared exclusions are
tested in test_exclusions.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000


def test_tissue_obtained(drawn: Drawn):
    for status in ("completed", "abandoned", "cancelled"):
        drawn.procedure(status, status=status)

    assert drawn.built().said("tissue_obtained", AS_OF) == {
        "completed": True,
        "abandoned": False,
        "cancelled": "cancelled",
    }


def test_cancellation(drawn: Drawn):
    for status in ("completed", "abandoned", "cancelled"):
        drawn.procedure(status, status=status)

    assert drawn.built().said("cancellation", AS_OF) == {
        "completed": False,
        "abandoned": False,
        "cancelled": True,
    }


def test_target_seen(drawn: Drawn):
    for seen in ("yes", "faint", "no", "not_applicable", None):
        drawn.procedure(f"seen {seen}", target_seen=seen)
    drawn.procedure("gamma", guidance="gamma_tracer", target_seen="yes", status="cancelled")
    drawn.procedure("mri", guidance="mri", target_seen="yes")

    assert drawn.built().said("target_seen", AS_OF) == {
        "seen yes": True,
        "seen faint": True,
        "seen no": False,
        "seen not_applicable": "not recorded",
        "seen None": "not recorded",
        "gamma": True,
        "mri": "not tracer guided",
    }


@pytest.mark.parametrize(
    ("measure", "counted", "left_out"),
    [
        ("insufficient_sample", {"insufficient"}, ""),
        ("cancer_at_biopsy", {"in_situ", "invasive", "other_malignant"}, ""),
        ("high_risk_yield", {"high_risk"}, ""),
        ("in_situ_share", {"in_situ"}, "not malignant"),
    ],
)
def test_diagnosis_at_biopsy(drawn: Drawn, measure: str, counted: set[str], left_out: str):
    malignant = {"in_situ", "invasive", "other_malignant"}
    listed = ("insufficient", "normal", "benign", "high_risk", "suspicious", *sorted(malignant))
    for diagnosis in listed:
        drawn.procedure(diagnosis)
        drawn.report(diagnosis, diagnosis)

    expected = {one: left_out if left_out and one not in malignant else one in counted for one in listed}
    assert drawn.built().said(measure, AS_OF) == expected


def test_an_insufficient_repeat_counts_too(drawn: Drawn):
    drawn.procedure("first")
    drawn.procedure("second", 1, repeat_of="first")
    drawn.report("second", "insufficient")

    assert drawn.built().said("insufficient_sample", AS_OF)["second"] is True


@pytest.mark.parametrize("category", ["0", "1", "2", "3", "4", "4A", "4B", "4C", "5", "6"])
def test_ppv3_is_about_categories_4_and_5(drawn: Drawn, category: str):
    drawn.finding("F", assessment=category)
    drawn.procedure("P", finding="F")
    drawn.report("P", "invasive")
    suspicious = category[0] in "45"

    assert drawn.built().said("ppv3", AS_OF) == {"P": suspicious or "assessment not 4, 4a, 4b, 4c or 5"}


def test_ppv3_counts_breast_cancer_at_biopsy_or_within_365_days(drawn: Drawn):
    for diagnosis in ("in_situ", "invasive", "other_malignant", "benign"):
        drawn.procedure(f"{diagnosis} at biopsy")
        drawn.report(f"{diagnosis} at biopsy", diagnosis)
    for days in (365, 366):
        drawn.procedure(f"excised on day {days}")
        drawn.report(f"excised on day {days}", "benign")
        drawn.excision(f"excised on day {days}", days, "invasive")
    drawn.procedure("another malignancy first")
    drawn.report("another malignancy first", "benign")
    drawn.excision("another malignancy first", 10, "other_malignant")
    drawn.linkage("another malignancy first", 20, "in_situ")

    assert drawn.built().said("ppv3", AS_OF) == {
        "in_situ at biopsy": True,
        "invasive at biopsy": True,
        "other_malignant at biopsy": False,
        "benign at biopsy": False,
        "excised on day 365": True,
        "excised on day 366": False,
        "another malignancy first": True,
    }


def test_ppv3_counts_breast_cancer_found_by_a_repeat(drawn: Drawn):
    for diagnosis in ("invasive", "other_malignant"):
        drawn.procedure(f"before {diagnosis}")
        drawn.report(f"before {diagnosis}", "benign")
        drawn.procedure(f"repeat {diagnosis}", 30, repeat_of=f"before {diagnosis}")
        drawn.report(f"repeat {diagnosis}", diagnosis)
    said = drawn.built().said("ppv3", AS_OF)

    assert (said["before invasive"], said["before other_malignant"]) == (True, False)


def test_sampling_confirmed(drawn: Drawn):
    signs = {
        "nothing": {},
        "residual none": {"residual": "none"},
        "residual reduced": {"residual": "reduced"},
        "residual unchanged": {"residual": "unchanged"},
        "residual not assessed": {"residual": "not_assessed"},
    }
    for key, cells in signs.items():
        drawn.procedure(key, **cells)
    drawn.procedure("malignant although unchanged", residual="unchanged")
    drawn.report("malignant although unchanged", "invasive")
    for residual in (None, "unchanged"):
        drawn.procedure(f"within, residual {residual}", residual=residual)
        drawn.target(f"within, residual {residual}", aperture_judgement="within")
        drawn.procedure(f"uptake, residual {residual}", residual=residual)
        drawn.specimen(f"uptake, residual {residual}", uptake_seen="yes")
        drawn.procedure(f"calcium, residual {residual}", residual=residual)
        drawn.specimen(f"calcium, residual {residual}", calcifications_seen="yes")
    said = drawn.built().said("sampling_confirmed", AS_OF)

    assert {key for key, counts in said.items() if counts} == {
        "residual none",
        "residual reduced",
        "malignant although unchanged",
        "within, residual None",
        "uptake, residual None",
        "calcium, residual None",
    }


def test_sampling_is_not_confirmed_by_what_was_read_as_no(drawn: Drawn):
    drawn.procedure("read as no")
    drawn.target("read as no", 1, aperture_judgement="within")
    drawn.target("read as no", 2, aperture_judgement="edge")
    drawn.specimen("read as no", uptake_seen="equivocal", calcifications_seen="no")
    drawn.procedure("not read")
    drawn.specimen("not read")

    assert drawn.built().said("sampling_confirmed", AS_OF) == {"read as no": False, "not read": False}
