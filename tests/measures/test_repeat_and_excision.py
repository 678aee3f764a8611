"""Repeat biopsy, and what excision or time made of a high-risk or in situ result."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000


def reported(drawn: Drawn, key: str, diagnosis: str) -> str:
    drawn.procedure(key)
    drawn.report(key, diagnosis)
    return key


def test_repeat_biopsy(drawn: Drawn):
    drawn.procedure("never repeated")
    for day in (1, 365, 366):
        drawn.procedure(f"repeated on day {day}")
        drawn.procedure(f"repeat {day}", day, repeat_of=f"repeated on day {day}")
    drawn.procedure("repeated later that day", 0, "09:00")
    drawn.procedure("repeat that day", 0, "10:00", repeat_of="repeated later that day")
    drawn.procedure("repeated without tissue")
    drawn.procedure("cancelled", 10, repeat_of="repeated without tissue", status="cancelled")
    said = drawn.built().said("repeat_biopsy", AS_OF)

    assert {key: value for key, value in said.items() if not key.startswith(("repeat ", "cancelled"))} == {
        "never repeated": False,
        "repeated on day 1": True,
        "repeated on day 365": True,
        "repeated on day 366": False,
        "repeated later that day": True,
        "repeated without tissue": False,
    }


def test_the_chain_has_siblings_and_grandchildren(drawn: Drawn):
    """Two procedures repeat the first; each is a repeat of the chain, none of another finding."""
    drawn.procedure("first", 0, status="abandoned")
    drawn.procedure("second", 10, repeat_of="first")
    drawn.procedure("sibling", 20, repeat_of="first")
    drawn.procedure("grandchild", 30, repeat_of="sibling")
    drawn.procedure("same finding, no chain", 40, finding="finding of first")

    assert drawn.built().said("repeat_biopsy", AS_OF) == {
        "first": "not sampled",
        "second": True,
        "sibling": "repeat procedure",
        "grandchild": "repeat procedure",
        "same finding, no chain": False,
    }


def test_procedures_of_one_moment_repeat_nothing(drawn: Drawn):
    drawn.procedure("one", 0, "09:00")
    drawn.procedure("other", 0, "09:00", repeat_of="one")

    assert drawn.built().said("repeat_biopsy", AS_OF) == {"one": False, "other": False}


def test_which_came_first_is_asked_of_the_moment(drawn: Drawn):
    """02:30 two hours ahead of UTC is 00:30 UTC; 02:15 one hour ahead, after the clocks changed, is 01:15 UTC."""
    drawn.procedure("before the change", 0, "02:30", started_at_offset_min=120)
    drawn.procedure("after the change", 0, "02:15", started_at_offset_min=60, repeat_of="before the change")

    assert drawn.built().said("repeat_biopsy", AS_OF) == {
        "before the change": True,
        "after the change": "repeat procedure",
    }


@pytest.mark.parametrize(
    ("measure", "result", "other", "upgrades"),
    [
        (
            "upgrade_high_risk_excised",
            "high_risk",
            "not high-risk",
            {"in_situ", "invasive", "other_malignant"},
        ),
        ("upgrade_in_situ", "in_situ", "not in situ", {"invasive", "other_malignant"}),
    ],
)
def test_upgrade_at_excision(drawn: Drawn, measure: str, result: str, other: str, upgrades: set[str]):
    found = (
        "insufficient",
        "normal",
        "benign",
        "high_risk",
        "suspicious",
        "in_situ",
        "invasive",
        "other_malignant",
    )
    for diagnosis in found:
        drawn.excision(reported(drawn, f"then {diagnosis}", result), 30, diagnosis)
    for diagnosis in found:
        drawn.excision(reported(drawn, diagnosis, diagnosis), 30, "invasive")
    said = drawn.built().said(measure, AS_OF)

    assert {diagnosis: said[f"then {diagnosis}"] for diagnosis in found} == {
        diagnosis: diagnosis in upgrades for diagnosis in found
    }
    assert {diagnosis: said[diagnosis] for diagnosis in found} == {
        diagnosis: True if diagnosis == result else other for diagnosis in found
    }


@pytest.mark.parametrize(
    ("measure", "result"), [("upgrade_high_risk_excised", "high_risk"), ("upgrade_in_situ", "in_situ")]
)
def test_an_upgrade_needs_an_excision_of_the_site_on_day_0_to_365(drawn: Drawn, measure: str, result: str):
    for day in (0, 365, 366):
        drawn.excision(reported(drawn, f"on day {day}", result), day, "invasive")
    for site in ("yes", "no", "unknown", None):
        drawn.excision(reported(drawn, f"same site {site}", result), 30, "invasive", same_site=site)
    drawn.linkage(reported(drawn, "linkage only", result), 30, "invasive")
    drawn.excision(reported(drawn, "worst of two", result), 30, "invasive")
    drawn.excision("worst of two", 60, "benign")
    drawn.excision(reported(drawn, "worst too late", result), 30, "benign")
    drawn.excision("worst too late", 366, "invasive")
    none = "not excised"

    assert drawn.built().said(measure, AS_OF) == {
        "on day 0": True,
        "on day 365": True,
        "on day 366": none,
        "same site yes": True,
        "same site no": none,
        "same site unknown": True,
        "same site None": True,
        "linkage only": none,
        "worst of two": True,
        "worst too late": False,
    }


def test_an_excision_counts_on_any_procedure_of_the_chain(drawn: Drawn):
    """Recorded with the first procedure, ten days after it: before the second began on day 20."""
    reported(drawn, "first", "benign")
    drawn.procedure("second", 20, repeat_of="first")
    drawn.report("second", "high_risk")
    drawn.excision("first", 10, "benign")
    drawn.excision("second", 40, "invasive")
    drawn.built()

    assert drawn.run("SELECT first_excision_on - started_on FROM procedure_facts ORDER BY procedure_id") == [
        (10,),
        (20,),
    ]
    assert drawn.run("SELECT excision_diagnosis FROM procedure_facts") == [("invasive",), ("invasive",)]


def test_upgrade_of_resolved_high_risk_lesions(drawn: Drawn):
    for day in (730, 731):
        drawn.linkage(reported(drawn, f"cancer by linkage on day {day}", "high_risk"), day, "invasive")
        drawn.excision(reported(drawn, f"benign excision on day {day}", "high_risk"), day, "insufficient")
    for day in (668, 669):
        drawn.imaging(reported(drawn, f"clear on day {day}", "high_risk"), day)
    drawn.imaging(reported(drawn, "cancer after it was clear", "high_risk"), 700)
    drawn.linkage("cancer after it was clear", 731, "invasive")
    drawn.imaging(reported(drawn, "benign", "benign"), 700)

    assert drawn.built().said("upgrade_high_risk_resolved", AS_OF) == {
        "cancer by linkage on day 730": True,
        "benign excision on day 730": False,
        "cancer by linkage on day 731": "not resolved",
        "benign excision on day 731": "not resolved",
        "clear on day 668": "not resolved",
        "clear on day 669": False,
        "cancer after it was clear": False,
        "benign": "not high-risk",
    }


def test_days_are_counted_between_calendar_days(drawn: Drawn):
    """From 23:50 to 00:10 on day 365 is less than 365 times 24 hours, and 365 days."""
    drawn.procedure("late at night", 0, "23:50")
    drawn.procedure("early in the morning", 365, "00:10", repeat_of="late at night")
    drawn.procedure("early", 0, "00:10")
    drawn.procedure("late", 365, "23:50", repeat_of="early")
    said = drawn.built().said("repeat_biopsy", AS_OF)

    assert (said["late at night"], said["early"]) == (True, True)
