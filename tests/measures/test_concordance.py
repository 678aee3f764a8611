"""Concordance: who was reviewed, when, with which result, and what came of a disagreement.

Expected verdicts are read off the agreed definitions by hand; the shared exclusions are
tested in test_exclusions.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000


def reported(drawn: Drawn, key: str, diagnosis: str = "benign", on: int = 0) -> str:
    drawn.procedure(key, on)
    drawn.report(key, diagnosis)
    return key


def test_review_coverage(drawn: Drawn):
    for determination in ("concordant", "discordant", "indeterminate"):
        drawn.review(reported(drawn, determination), determination, 900)
    drawn.review(reported(drawn, "provisional"), "concordant", 3, stage="provisional")
    reported(drawn, "not reviewed")

    assert drawn.built().said("review_coverage", AS_OF) == {
        "concordant": True,
        "discordant": True,
        "indeterminate": True,
        "provisional": False,
        "not reviewed": False,
    }


def test_timely_review(drawn: Drawn):
    for days in (0, 14, 15):
        drawn.procedure(f"{days} days")
        drawn.report(f"{days} days", on=20)
        drawn.review(f"{days} days", "indeterminate", 20 + days)
    drawn.procedure("before the report")
    drawn.report("before the report", on=20)
    drawn.review("before the report", "concordant", 10)
    drawn.procedure("provisional in time")
    drawn.report("provisional in time", on=20)
    drawn.review("provisional in time", "concordant", 21, stage="provisional")
    drawn.review("provisional in time", "concordant", 90)
    drawn.procedure("second in time")
    drawn.report("second in time", on=20)
    drawn.review("second in time", "concordant", 40)
    drawn.review("second in time", "concordant", 30)

    assert drawn.built().said("timely_review", AS_OF) == {
        "0 days": True,
        "14 days": True,
        "15 days": False,
        "before the report": True,
        "provisional in time": False,
        "second in time": True,
    }


def test_discordance(drawn: Drawn):
    drawn.review(reported(drawn, "concordant"), "concordant", 5)
    drawn.review(reported(drawn, "discordant"), "discordant", 5)
    drawn.review(reported(drawn, "indeterminate"), "indeterminate", 5)
    drawn.review(reported(drawn, "provisional"), "discordant", 5, stage="provisional")
    reported(drawn, "not reviewed")
    drawn.review(reported(drawn, "indeterminate first"), "indeterminate", 5)
    drawn.review("indeterminate first", "discordant", 9)
    drawn.review(reported(drawn, "concordant later"), "discordant", 5)
    drawn.review("concordant later", "concordant", 9)

    assert drawn.built().said("discordance", AS_OF) == {
        "concordant": False,
        "discordant": True,
        "indeterminate": "no conclusive review",
        "provisional": "no conclusive review",
        "not reviewed": "no conclusive review",
        "indeterminate first": True,
        "concordant later": True,
    }


def test_discordant_benign(drawn: Drawn):
    for diagnosis in ("insufficient", "normal", "benign", "high_risk", "suspicious", "invasive"):
        drawn.review(reported(drawn, diagnosis, diagnosis), "discordant", 5)
    drawn.review(reported(drawn, "concordant"), "concordant", 5)
    reported(drawn, "not reviewed", "invasive")
    other = "not a benign result"

    assert drawn.built().said("discordant_benign", AS_OF) == {
        "insufficient": other,
        "normal": True,
        "benign": True,
        "high_risk": other,
        "suspicious": other,
        "invasive": other,
        "concordant": False,
        "not reviewed": "no conclusive review",
    }


def test_discordant_suspicious_benign(drawn: Drawn):
    for category in ("0", "3", "4", "4A", "4B", "4C", "5", "6"):
        drawn.finding(f"finding of {category}", assessment=category)
        drawn.procedure(category, finding=f"finding of {category}")
        drawn.report(category, "benign")
        drawn.review(category, "discordant", 5)
    drawn.review(reported(drawn, "malignant", "invasive"), "discordant", 5)
    other = "assessment not 4, 4a, 4b, 4c or 5"

    assert drawn.built().said("discordant_suspicious_benign", AS_OF) == {
        **dict.fromkeys(("0", "3", "6"), other),
        **dict.fromkeys(("4", "4A", "4B", "4C", "5"), True),
        "malignant": "not a benign result",
    }


def test_discordance_latest(drawn: Drawn):
    drawn.review(reported(drawn, "discordant"), "discordant", 5)
    drawn.review(reported(drawn, "concordant later"), "discordant", 5)
    drawn.review("concordant later", "concordant", 9)
    drawn.review(reported(drawn, "indeterminate later"), "discordant", 5)
    drawn.review("indeterminate later", "indeterminate", 9)
    drawn.review(reported(drawn, "provisional later"), "discordant", 5)
    drawn.review("provisional later", "concordant", 9, stage="provisional")
    reported(drawn, "not reviewed")

    assert drawn.built().said("discordance_latest", AS_OF) == {
        "discordant": True,
        "concordant later": False,
        "indeterminate later": "latest indeterminate",
        "provisional later": True,
        "not reviewed": "not reviewed",
    }


def test_reviews_of_one_day_stand_in_the_order_of_their_keys(drawn: Drawn):
    reported(drawn, "P")
    drawn.review("P", "concordant", 5, review_id="V2")
    drawn.review("P", "discordant", 5, review_id="V10")
    drawn.built()

    # As texts, V10 stands before V2.
    assert drawn.said("discordance", AS_OF) == {"P": True}
    assert drawn.said("discordance_latest", AS_OF) == {"P": False}


def test_a_day_comes_before_a_key(drawn: Drawn):
    reported(drawn, "P")
    drawn.review("P", "concordant", 5, review_id="V9")
    drawn.review("P", "discordant", 6, review_id="V1")
    drawn.built()

    assert drawn.said("discordance", AS_OF) == {"P": False}
    assert drawn.said("discordance_latest", AS_OF) == {"P": True}


def test_a_review_exists_from_its_day_on(drawn: Drawn):
    reported(drawn, "P")
    drawn.review("P", "discordant", 50)
    drawn.built()

    assert drawn.said("discordance", 49) == {"P": "no conclusive review"}
    assert drawn.said("discordance", 50) == {"P": True}


def test_a_review_belongs_to_its_procedure_not_to_the_chain(drawn: Drawn):
    drawn.review(reported(drawn, "first"), "discordant", 5)
    drawn.procedure("second", 10, repeat_of="first")
    drawn.report("second")

    assert drawn.built().said("discordance", AS_OF) == {"first": True, "second": "no conclusive review"}


# --- what came of it ---------------------------------------------------------------------


def discordant(drawn: Drawn, key: str, reviewed: int = 10) -> str:
    """Done and reported on day 0."""
    drawn.review(reported(drawn, key), "discordant", reviewed)
    return key


def test_only_a_discordant_review_at_least_60_days_old_can_be_judged(drawn: Drawn):
    discordant(drawn, "59 days ago", AS_OF - 59)
    discordant(drawn, "60 days ago", AS_OF - 60)
    drawn.review(reported(drawn, "concordant"), "concordant", 10)
    reported(drawn, "not reviewed")
    drawn.review(reported(drawn, "indeterminate"), "indeterminate", 10)

    assert drawn.built().said("discordant_resolved", AS_OF) == {
        "59 days ago": "that review fewer than 60 days before as_of",
        "60 days ago": False,
        "concordant": "not discordant",
        "not reviewed": "not discordant",
        "indeterminate": "not discordant",
    }


def test_discordance_is_resolved_by_tissue_up_to_60_days_after_the_review(drawn: Drawn):
    for day in (70, 71):
        discordant(drawn, f"repeat on day {day}")
        drawn.procedure(f"second {day}", day, repeat_of=f"repeat on day {day}")
        drawn.excision(discordant(drawn, f"excision on day {day}"), day)
    drawn.excision(discordant(drawn, "excision on the day of the biopsy"), 0)
    drawn.excision(discordant(drawn, "excision elsewhere"), 30, same_site="no")
    drawn.excision(discordant(drawn, "site unknown"), 30, same_site="unknown")
    discordant(drawn, "excised after a second discordant review")
    drawn.review("excised after a second discordant review", "discordant", 90)
    drawn.excision("excised after a second discordant review", 100)
    discordant(drawn, "repeat without tissue")
    drawn.procedure("third", 30, repeat_of="repeat without tissue", status="abandoned")
    said = drawn.built().said("discordant_resolved", AS_OF)

    assert {key for key, value in said.items() if value is True} == {
        "repeat on day 70",
        "excision on day 70",
        "excision on the day of the biopsy",
        "site unknown",
    }
    assert said["repeat without tissue"] is said["repeat on day 71"] is said["excision on day 71"] is False


def test_cancer_in_discordant(drawn: Drawn):
    for day in (365, 366):
        drawn.excision(discordant(drawn, f"excision on day {day}"), day, "invasive")
        discordant(drawn, f"repeat on day {day}")
        drawn.procedure(f"second {day}", day, repeat_of=f"repeat on day {day}")
        drawn.report(f"second {day}", "in_situ")
    drawn.excision(discordant(drawn, "benign excision"), 30, "benign")
    discordant(drawn, "repeat not reported")
    drawn.procedure("second", 30, repeat_of="repeat not reported")
    drawn.excision(discordant(drawn, "excision elsewhere"), 30, "invasive", same_site="no")
    drawn.linkage(discordant(drawn, "linkage only"), 30, "invasive")
    none = "no later tissue"
    said = drawn.built().said("cancer_in_discordant", AS_OF)

    assert {key: said[key] for key in said if not key.startswith("second")} == {
        "excision on day 365": True,
        "repeat on day 365": True,
        "excision on day 366": none,
        "repeat on day 366": none,
        "benign excision": False,
        "repeat not reported": none,
        "excision elsewhere": none,
        "linkage only": none,
    }


def test_cancer_in_discordant_counts_cancer_up_to_day_365(drawn: Drawn):
    """Benign tissue on day 30 makes the outcome known; the cancer is found by linkage."""
    for day in (365, 366):
        drawn.excision(discordant(drawn, f"cancer on day {day}"), 30, "benign")
        drawn.linkage(f"cancer on day {day}", day, "invasive")

    assert drawn.built().said("cancer_in_discordant", AS_OF) == {
        "cancer on day 365": True,
        "cancer on day 366": False,
    }


@pytest.mark.parametrize(
    ("determination", "left_out"), [("concordant", True), ("indeterminate", True), ("discordant", False)]
)
def test_cancer_in_discordant_is_about_a_discordant_first_conclusive_review(
    drawn: Drawn, determination: str, left_out: bool
):
    drawn.review(reported(drawn, "P"), determination, 5)
    drawn.excision("P", 30)

    assert (drawn.built().said("cancer_in_discordant", AS_OF)["P"] == "not discordant") == left_out
