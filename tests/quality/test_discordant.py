"""Every discordant result and how it ended, and discordance over its three denominators; drawn rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.measures import evaluate
from registry.quality import denominators, discordant, not_conclusive
from tests.measures.build import day

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = day(400)


def discord(drawn: Drawn, key: str = "P1", diagnosis: str = "benign", on: int = 10, **cells: object) -> str:
    """A procedure on day 0, reported on day 3, discordant on day 10."""
    drawn.procedure(key, 0)
    drawn.report(key, diagnosis, on=3)
    drawn.review(
        key, "discordant", on, reason="target_not_sampled", **{"management": "repeat_biopsy", **cells}
    )
    return key


def only(drawn: Drawn, as_of=AS_OF) -> dict[str, object]:
    (row,) = discordant(drawn.built(), as_of=as_of).to_dicts()
    return row


def again(drawn: Drawn, on: int, diagnosis: str | None, key: str = "R1") -> None:
    drawn.procedure(key, on, repeat_of="P1", repeat_reason="discordant")
    if diagnosis:
        drawn.report(key, diagnosis, on=on)


def test_cancer_by_a_repeat(drawn: Drawn):
    discord(drawn)
    again(drawn, 25, "invasive")
    row = only(drawn)

    assert row["ended"] == "cancer came to light"
    assert (row["tissue_on"], row["days_to_tissue"]) == (day(25), 15)
    assert (row["later_diagnosis"], row["later_cancer_on"]) == ("invasive", day(25))


def test_cancer_by_linkage_without_tissue_here(drawn: Drawn):
    discord(drawn)
    drawn.linkage("P1", 200, "invasive")
    row = only(drawn)

    assert (row["ended"], row["tissue_on"]) == ("cancer came to light", None)


def test_an_excision_without_cancer(drawn: Drawn):
    discord(drawn)
    drawn.excision("P1", 40, "benign")

    assert only(drawn)["ended"] == "excised, no cancer"


def test_an_excision_elsewhere_is_none(drawn: Drawn):
    discord(drawn)
    drawn.excision("P1", 40, "benign", same_site="no")
    row = only(drawn)

    assert (row["ended"], row["tissue_on"], row["later_diagnosis"]) == ("nothing recorded yet", None, None)


def test_a_repeat_without_cancer(drawn: Drawn):
    discord(drawn)
    again(drawn, 25, "benign")

    assert only(drawn)["ended"] == "sampled again, no cancer"


def test_a_repeat_without_a_report(drawn: Drawn):
    discord(drawn)
    again(drawn, 25, None)

    assert only(drawn)["ended"] == "sampled again, report awaited"


def test_the_worst_of_all_later_tissue_stands_there(drawn: Drawn):
    discord(drawn)
    again(drawn, 25, "high_risk")
    drawn.excision("R1", 60, "benign")

    assert only(drawn)["later_diagnosis"] == "high_risk"


def test_a_malignant_result_without_later_tissue(drawn: Drawn):
    discord(drawn, diagnosis="invasive")

    assert only(drawn)["ended"] == "malignant at the biopsy, no later tissue"


def test_a_later_review_that_agrees(drawn: Drawn):
    discord(drawn)
    drawn.review("P1", "concordant", 20)
    row = only(drawn)

    assert row["ended"] == "called concordant at a later review"
    assert (row["first_conclusive"], row["latest_determination"]) == ("discordant", "concordant")


def test_a_provisional_review_changes_nothing(drawn: Drawn):
    discord(drawn)
    drawn.review("P1", "concordant", 20, stage="provisional")

    assert only(drawn)["ended"] == "nothing recorded yet"


def test_discordant_only_later_is_listed_too(drawn: Drawn):
    drawn.procedure("P1", 0)
    drawn.report("P1", on=3)
    drawn.review("P1", "concordant", 5)
    drawn.review("P1", "discordant", 30)

    assert only(drawn)["discordant_on"] == day(30)


def test_imaging_counts_after_the_review_only(drawn: Drawn):
    discord(drawn)
    drawn.imaging("P1", 10)
    before = only(drawn)["ended"]
    drawn.imaging("P1", 190)

    assert (before, only(drawn)["ended"]) == ("nothing recorded yet", "clear on later imaging")


def test_declined_and_booked(drawn: Drawn):
    discord(drawn, declined_on=day(20))
    declined = only(drawn)["ended"]
    drawn.rows["reviews"][0] |= {"declined_on": None, "booked_for": day(30)}

    assert declined == "declined by the patient"
    assert only(drawn, day(30))["ended"] == "booked"
    assert only(drawn, day(31))["ended"] == "nothing recorded yet"


def test_death_before_the_step(drawn: Drawn):
    drawn.patient("Q", died=30)
    drawn.finding("F", "Q")
    drawn.procedure("P1", 0, finding="F")
    drawn.report("P1", on=3)
    drawn.review("P1", "discordant", 10)

    assert only(drawn)["ended"] == "died"


@pytest.mark.parametrize(
    ("on", "as_of", "said"),
    [(70, 400, "yes"), (71, 400, "no"), (None, 69, "time not over"), (None, 70, "no")],
)
def test_sixty_days_from_the_review(drawn: Drawn, on, as_of, said):
    """The review was on day 10: day 70 is the sixtieth."""
    discord(drawn)
    if on is not None:
        drawn.excision("P1", on)

    assert only(drawn, day(as_of))["tissue_within_60_days"] == said


def test_nothing_after_the_as_of_date_counts(drawn: Drawn):
    discord(drawn)
    again(drawn, 50, "invasive")

    assert only(drawn, day(40))["ended"] == "nothing recorded yet"
    assert discordant(drawn.built(), as_of=day(9)).height == 0


def test_the_period_bounds_the_day_of_the_procedure(drawn: Drawn):
    discord(drawn)

    assert discordant(drawn.built(), as_of=AS_OF, start=day(1)).height == 0
    assert discordant(drawn.built(), as_of=AS_OF, end=day(0)).height == 1


def test_the_list_agrees_with_the_measure(drawn: Drawn):
    """Three discordant at first, two acted on within 60 days."""
    for number, on in enumerate((30, 70, 90)):
        drawn.procedure(f"P{number}", 0)
        drawn.report(f"P{number}", on=3)
        drawn.review(f"P{number}", "discordant", 10)
        drawn.excision(f"P{number}", on)
    (measure,) = evaluate(drawn.built(), ["discordant_resolved"], as_of=AS_OF)
    listed = discordant(drawn, as_of=AS_OF)

    assert (measure.numerator, measure.denominator) == (2, 3)
    assert (listed.get_column("tissue_within_60_days") == "yes").sum() == 2


# -- the three denominators ----------------------------------------------------------------

#: Key, category, diagnosis, determination.
RESULTS = (
    ("A", "4B", "benign", "discordant"),
    ("B", "5", "benign", "concordant"),
    ("C", "3", "benign", "concordant"),
    ("D", "4", "invasive", "concordant"),
    ("E", "4", "high_risk", "discordant"),
    ("F", "4A", "benign", None),
    ("G", "3", "benign", "indeterminate"),
    ("H", "4C", "invasive", None),
)


def draw_results(drawn: Drawn) -> Drawn:
    for key, category, diagnosis, determination in RESULTS:
        drawn.finding(f"F{key}", assessment=category)
        drawn.procedure(key, 0, finding=f"F{key}")
        drawn.report(key, diagnosis, on=3)
        if determination:
            drawn.review(key, determination, 10)
    return drawn.built()


def test_three_denominators_side_by_side(drawn: Drawn):
    """All: A, E of A to E. Benign: A of A, B, C. Benign of category 4 or 5: A of A, B."""
    found = denominators(draw_results(drawn), as_of=AS_OF)

    assert [(one.result.numerator, one.decided, one.due) for one in found] == [
        (2, 5, 8),
        (1, 3, 5),
        (1, 2, 3),
    ]


def test_what_was_not_decided_is_told_apart(drawn: Drawn):
    """F and H were not reviewed, G without a decision; G is of category 3, H malignant."""
    assert not_conclusive(draw_results(drawn), as_of=AS_OF) == {
        "discordance": (2, 1),
        "discordant_benign": (1, 1),
        "discordant_suspicious_benign": (1, 0),
    }


def test_bounds_take_the_undecided_as_none_or_all_discordant(drawn: Drawn):
    """All 2/8 and 5/8; benign 1/5 and 3/5; benign of category 4 or 5 1/3 and 2/3."""
    found = denominators(draw_results(drawn), as_of=AS_OF)

    assert [(one.result.bounds.lower, one.result.bounds.upper) for one in found] == [
        (2 / 8, 5 / 8),
        (1 / 5, 3 / 5),
        (1 / 3, 2 / 3),
    ]


def test_coverage_has_an_interval(drawn: Drawn):
    """Wilson for 5 of 8: 0.3057 to 0.8632 (by hand from the score equation)."""
    first = denominators(draw_results(drawn), as_of=AS_OF)[0]

    assert first.coverage == pytest.approx(5 / 8)
    assert (first.coverage_lower, first.coverage_upper) == pytest.approx((0.3057, 0.8632), abs=5e-5)


def test_an_empty_registry_has_no_rate(drawn: Drawn):
    assert [(one.due, one.coverage) for one in denominators(drawn.built(), as_of=AS_OF)] == [(0, None)] * 3
