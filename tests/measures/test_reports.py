"""Which report is current, which came first, and the diagnosis of a procedure."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import pytest

from tests.measures.test_definitions import NR

if TYPE_CHECKING:
    from tests.measures.build import Drawn

MALIGNANT = "cancer_at_biopsy"
DAYS = "biopsy_to_report_days"


def test_a_preliminary_version_never_counts(drawn: Drawn):
    drawn.procedure("preliminary only")
    drawn.report("preliminary only", "invasive", status="preliminary")
    drawn.procedure("preliminary after final")
    drawn.report("preliminary after final", "benign")
    drawn.report("preliminary after final", "invasive", version=2, status="preliminary")

    assert drawn.built().said(MALIGNANT, 100) == {"preliminary only": NR, "preliminary after final": False}


def test_the_highest_version_is_current_whatever_its_day(drawn: Drawn):
    drawn.procedure("amended")
    drawn.report("amended", "invasive", 5)
    drawn.report("amended", "benign", 4, version=2, status="amended")

    assert drawn.built().said(MALIGNANT, 100) == {"amended": False}


def test_a_retracted_current_version_voids_its_group_only(drawn: Drawn):
    drawn.procedure("retracted")
    drawn.report("retracted", "invasive", 1)
    drawn.report("retracted", "invasive", 9, version=2, status="retracted")
    drawn.procedure("another report left")
    drawn.report("another report left", "invasive", 1)
    drawn.report("another report left", "invasive", 9, version=2, status="retracted")
    drawn.report("another report left", "benign", 3, report_id="second report")
    drawn.procedure("issued again")
    drawn.report("issued again", "benign", 1)
    drawn.report("issued again", "benign", 2, version=2, status="retracted")
    drawn.report("issued again", "invasive", 3, version=3)

    assert drawn.built().said(MALIGNANT, 100) == {
        "retracted": NR,
        "another report left": False,
        "issued again": True,
    }


def test_a_version_exists_from_its_day_on(drawn: Drawn):
    drawn.procedure("amended on day 50")
    drawn.report("amended on day 50", "benign", 5)
    drawn.report("amended on day 50", "invasive", 50, version=2, status="amended")
    drawn.built()

    assert drawn.said(MALIGNANT, 49) == {"amended on day 50": False}
    assert drawn.said(MALIGNANT, 50) == {"amended on day 50": True}


def test_a_retraction_exists_from_its_day_on(drawn: Drawn):
    drawn.procedure("retracted on day 50")
    drawn.report("retracted on day 50", "invasive", 5)
    drawn.report("retracted on day 50", "invasive", 50, version=2, status="retracted")
    drawn.built()

    assert drawn.said(MALIGNANT, 49) == {"retracted on day 50": True}
    assert drawn.said(MALIGNANT, 50) == {"retracted on day 50": NR}


def test_reports_are_grouped_by_report_procedure_and_container(drawn: Drawn):
    """The second version for one container replaces nothing that was said of the other."""
    drawn.procedure("two containers")
    drawn.report("two containers", "invasive", 1, specimen_id="S1")
    drawn.report("two containers", "benign", 1, specimen_id="S2")
    drawn.report("two containers", "benign", 2, version=2, specimen_id="S2", status="amended")
    drawn.report("two containers", "benign", 2, version=2)

    assert drawn.built().said(MALIGNANT, 100) == {"two containers": True}


def test_one_report_may_cover_two_procedures(drawn: Drawn):
    drawn.procedure("left")
    drawn.procedure("right")
    drawn.report("left", "invasive", report_id="R")
    drawn.report("right", "benign", report_id="R")

    assert drawn.built().said(MALIGNANT, 100) == {"left": True, "right": False}


def test_the_first_report_is_the_earliest_version_that_counts(drawn: Drawn):
    drawn.procedure("preliminary first")
    drawn.report("preliminary first", on=1, status="preliminary")
    drawn.report("preliminary first", on=4, version=2)
    drawn.report("preliminary first", on=9, version=3, status="amended")
    drawn.procedure("retracted in between")
    drawn.report("retracted in between", on=2, status="retracted")
    drawn.report("retracted in between", on=6, version=2, status="amended")
    drawn.procedure("first group voided")
    drawn.report("first group voided", on=3)
    drawn.report("first group voided", on=5, version=2, status="retracted")
    drawn.report("first group voided", on=8, report_id="second report")
    drawn.procedure("two reports")
    drawn.report("two reports", on=7)
    drawn.report("two reports", on=5, report_id="second report")

    assert drawn.built().said(DAYS, 100) == {
        "preliminary first": 4,
        "retracted in between": 6,
        "first group voided": 8,
        "two reports": 5,
    }


#: From the least to the worst, as agreed.
WORSE = (
    "insufficient",
    "normal",
    "benign",
    "high_risk",
    "suspicious",
    "in_situ",
    "invasive",
    "other_malignant",
)


@pytest.mark.parametrize(("better", "worse"), list(itertools.pairwise(WORSE)))
def test_the_diagnosis_is_the_worst_of_the_current_reports(drawn: Drawn, better: str, worse: str):
    drawn.procedure("worse first")
    drawn.report("worse first", worse, report_id="R1")
    drawn.report("worse first", better, report_id="R2")
    drawn.procedure("worse second")
    drawn.report("worse second", better, report_id="R1")
    drawn.report("worse second", worse, report_id="R2")
    drawn.built()

    assert drawn.run("SELECT procedure_id, diagnosis FROM procedure_facts ORDER BY procedure_id") == [
        ("worse first", worse),
        ("worse second", worse),
    ]


def test_a_code_of_the_service_itself_has_no_place_in_the_order(drawn: Drawn):
    """A site may add codes to a list; such a diagnosis is reported, and is none of those that count."""
    drawn.procedure("own code")
    drawn.report("own code", "seen_elsewhere")
    drawn.procedure("own code beside another")
    drawn.report("own code beside another", "seen_elsewhere", report_id="R1")
    drawn.report("own code beside another", "high_risk", report_id="R2")
    for key in ("own code", "own code beside another"):
        drawn.excision(key, 30)
    drawn.built()

    assert drawn.said(MALIGNANT, 1000) == {"own code": False, "own code beside another": False}
    assert drawn.said("upgrade_high_risk_excised", 1000) == {
        "own code": "not high-risk",
        "own code beside another": False,
    }
    assert drawn.said("upgrade_high_risk_resolved", 1000)["own code"] == "not high-risk"
    assert drawn.said("upgrade_in_situ", 1000)["own code"] == "not in situ"


def test_an_amendment_that_drops_the_b_category_drops_it(drawn: Drawn):
    drawn.procedure("dropped", 0)
    drawn.report("dropped", b_category="B5")
    drawn.report("dropped", on=2, version=2, status="amended")
    drawn.procedure("kept", 0)
    drawn.report("kept", b_category="B2")
    drawn.report("kept", on=2, version=2, status="amended", b_category="B5b")

    assert drawn.built().said("b_category_accuracy", 400) == {"dropped": "no b category", "kept": "B5"}
