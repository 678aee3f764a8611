"""Bounds of measures that leave out what is not known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.measures import evaluate
from tests.measures.build import day
from tests.measures.test_follow_up import AS_OF, concordant, reported

if TYPE_CHECKING:
    from tests.measures.build import Drawn


# --- bounds ------------------------------------------------------------------------------


def bounds(drawn: Drawn, measure: str):
    (result,) = evaluate(drawn.built(), [measure], as_of=day(AS_OF))
    return (result.numerator, result.denominator), (
        result.bounds.lower,
        result.bounds.upper,
        result.bounds.unknown,
    )


def test_bounds_where_the_outcome_is_not_known(drawn: Drawn):
    """x = 1 of n = 3, u = 2: from 1/5 to 3/5."""
    drawn.linkage(reported(drawn, "cancer"), 100, "invasive")
    drawn.imaging(reported(drawn, "clear"), 700)
    drawn.imaging(reported(drawn, "clear too"), 700)
    reported(drawn, "not known")
    reported(drawn, "not known either")

    assert bounds(drawn, "false_omission") == ((1, 3), (1 / 5, 3 / 5, 2))


def test_bounds_with_chance_run_from_wilsons_lower_limit_to_his_upper(drawn: Drawn):
    """None of two unknown: 1 of 5; both: 3 of 5. Wilson 1927: (p + z2/2n -+ z sqrt(p(1-p)/n + z2/4n2)) / (1 + z2/n)."""
    drawn.linkage(reported(drawn, "cancer"), 100, "invasive")
    drawn.imaging(reported(drawn, "clear"), 700)
    drawn.imaging(reported(drawn, "clear too"), 700)
    reported(drawn, "not known")
    reported(drawn, "not known either")

    def wilson(p: float, sign: int) -> float:
        z2 = 1.959963984540054**2
        return (p + z2 / 10 + sign * (z2 * (p * (1 - p) / 5 + z2 / 100)) ** 0.5) / (1 + z2 / 5)

    (result,) = evaluate(drawn.built(), ["false_omission"], as_of=day(AS_OF))
    assert result.bounds.interval_lower == pytest.approx(wilson(1 / 5, -1))
    assert result.bounds.interval_upper == pytest.approx(wilson(3 / 5, 1))


def test_bounds_of_missed_at_biopsy(drawn: Drawn):
    """x = 1 missed of n = 2 cancers, u = 3 without cancer and not resolved: from 1/2 to 4/5."""
    drawn.linkage(reported(drawn, "missed"), 100, "invasive")
    reported(drawn, "found", "invasive")
    for number, diagnosis in enumerate(("benign", "high_risk", "insufficient")):
        reported(drawn, f"not known {number}", diagnosis)
    drawn.imaging(reported(drawn, "clear"), 700)

    assert bounds(drawn, "missed_at_biopsy") == ((1, 2), (1 / 2, 4 / 5, 3))


def test_bounds_of_false_negatives(drawn: Drawn):
    """x = 1 of n = 2, u = 1 benign and v = 2 others not resolved: from 1/4 to 2/3."""
    drawn.linkage(reported(drawn, "missed"), 100, "invasive")
    reported(drawn, "found", "invasive")
    for number, diagnosis in enumerate(("benign", "high_risk", "insufficient")):
        reported(drawn, f"not known {number}", diagnosis)
    drawn.imaging(reported(drawn, "clear"), 700)

    assert bounds(drawn, "false_negative_benign") == ((1, 2), (1 / 4, 2 / 3, 1))


def test_bounds_of_discordance_count_those_without_a_conclusive_review(drawn: Drawn):
    drawn.review(reported(drawn, "discordant"), "discordant", 5)
    drawn.review(reported(drawn, "concordant"), "concordant", 5)
    drawn.review(reported(drawn, "indeterminate"), "indeterminate", 5)
    reported(drawn, "not reviewed", "invasive")
    drawn.procedure("not reported")

    assert bounds(drawn, "discordance") == ((1, 2), (1 / 4, 3 / 4, 2))
    # The malignant one is not among the benign results that could have been discordant.
    assert bounds(drawn, "discordant_benign") == ((1, 2), (1 / 3, 2 / 3, 1))
    assert bounds(drawn, "discordance_latest") == ((1, 2), (1 / 4, 3 / 4, 2))


@pytest.mark.parametrize(
    ("measure", "result"), [("upgrade_high_risk_excised", "high_risk"), ("upgrade_in_situ", "in_situ")]
)
def test_bounds_of_upgrades_count_those_not_excised(drawn: Drawn, measure: str, result: str):
    drawn.excision(reported(drawn, "upgraded", result), 30, "invasive")
    reported(drawn, "not excised", result)
    reported(drawn, "another result", "benign")

    assert bounds(drawn, measure) == ((1, 1), (1 / 2, 1.0, 1))


def test_bounds_of_cancer_in_discordant_count_those_without_later_tissue(drawn: Drawn):
    drawn.review(reported(drawn, "excised"), "discordant", 5)
    drawn.excision("excised", 30, "benign")
    drawn.review(reported(drawn, "nothing after"), "discordant", 5)
    drawn.review(reported(drawn, "concordant"), "concordant", 5)

    assert bounds(drawn, "cancer_in_discordant") == ((0, 1), (0.0, 1 / 2, 1))


@pytest.mark.parametrize(
    "measure",
    ["later_cancer_after_concordant", "later_cancer_after_not_sampled", "upgrade_high_risk_resolved"],
)
def test_bounds_count_those_not_resolved(drawn: Drawn, measure: str):
    for key in ("clear", "not known"):
        if measure == "later_cancer_after_concordant":
            concordant(drawn, key)
        elif measure == "upgrade_high_risk_resolved":
            reported(drawn, key, "high_risk")
        else:
            drawn.procedure(key, status="cancelled")
    drawn.imaging("clear", 700)

    assert bounds(drawn, measure) == ((0, 1), (0.0, 1 / 2, 1))
