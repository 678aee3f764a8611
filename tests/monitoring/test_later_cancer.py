"""Cancer after a benign result compared: arithmetic on drawn follow-up, and a published table of curves."""

from __future__ import annotations

from datetime import date
from math import log
from typing import TYPE_CHECKING

import pytest
from scipy.stats import beta, chi2

from registry.errors import UsageProblem
from registry.monitoring import later_cancer_by_group, later_cancer_in_periods
from registry.people import Actor, Role, acting
from tests.measures.build import Drawn, day

if TYPE_CHECKING:
    from collections.abc import Iterator

AS_OF = day(1500)


def benign(scene: Drawn, site: str, on: int, *, cancer: int | None = None, clear: int | None = None) -> None:
    key = scene.key("P")
    scene.procedure(key, on=on, site=site)
    scene.report(key, "benign", on=on + 3)
    if cancer is not None:
        scene.linkage(key, on + cancer, "invasive")
    if clear is not None:
        scene.imaging(key, on + clear)


@pytest.fixture(scope="module")
def scene() -> Iterator[Drawn]:
    """At A one cancer after 300 days, three clear at 700; at B two cancers after 200 days, one clear at 700 and one not seen again."""
    made = Drawn()
    benign(made, "A", 0, cancer=300)
    for _ in range(3):
        benign(made, "A", 0, clear=700)
    for _ in range(2):
        benign(made, "B", 400, cancer=200)
    benign(made, "B", 400, clear=700)
    benign(made, "B", 400)
    made.built()
    yield made
    made.close()


def test_rates_count_cancers_over_years_of_follow_up(scene):
    """A: 300 + 3 * 700 days = 2400, one cancer; B: 2 * 200 + 700 + 0 = 1100, two."""
    first, second = later_cancer_by_group(scene, "site", as_of=AS_OF).groups

    assert (first.name, first.procedures, first.cancers, first.unfollowed) == ("A", 4, 1, 0)
    assert (second.name, second.procedures, second.cancers, second.unfollowed) == ("B", 4, 2, 1)
    assert first.years == pytest.approx(2400 / 365.25)
    assert first.rate == pytest.approx(1000 * 365.25 / 2400)
    # Garwood 1936: chi-square quantiles over twice the time
    assert second.lower == pytest.approx(chi2.ppf(0.025, 4) / 2 * 1000 * 365.25 / 1100)
    assert second.upper == pytest.approx(chi2.ppf(0.975, 6) / 2 * 1000 * 365.25 / 1100)


def test_the_ratio_is_that_of_the_second_over_the_first_with_clopper_pearsons_limits(scene):
    """Given three cancers, the number at B is binomial: ratio = share / (1 - share) * 2400 / 1100."""
    made = later_cancer_by_group(scene, "site", as_of=AS_OF)

    assert made.pair == ("A", "B")
    assert made.ratio is not None
    assert made.ratio.ratio == pytest.approx(2 * 2400 / 1100)
    low, high = beta.ppf(0.025, 2, 2), beta.ppf(0.975, 3, 1)
    assert made.ratio.ci == pytest.approx((low / (1 - low) * 2400 / 1100, high / (1 - high) * 2400 / 1100))


def test_the_test_of_the_curves_is_worked_by_hand(scene):
    """Mantel 1966. Not seen again leaves at day 0, before any cancer.

    Day 200: 7 at risk, 3 at B, 2 cancers: expected at B 6/7, variance 2 (3/7)(4/7)(5/6).
    Day 300: 5 at risk, 1 at B, 1 cancer: expected 1/5, variance (1/5)(4/5). Seen at B: 2.
    """
    expected = 6 / 7 + 1 / 5
    variance = 2 * (3 / 7) * (4 / 7) * (5 / 6) + 4 / 25
    found = later_cancer_by_group(scene, "site", as_of=AS_OF).curves

    assert found.chi2 == pytest.approx((2 - expected) ** 2 / variance)
    assert found.df == 1


def test_periods_split_by_the_start_of_the_procedure(scene):
    made = later_cancer_in_periods(scene, (day(0), day(100)), (day(400), day(500)), as_of=AS_OF)

    assert [one.cancers for one in made.groups] == [1, 2]
    assert made.ratio is not None
    assert made.ratio.ratio == pytest.approx(2 * 2400 / 1100)


def test_periods_that_overlap_are_refused(scene):
    with pytest.raises(UsageProblem, match="overlap"):
        later_cancer_in_periods(scene, (day(0), day(100)), (day(100), day(500)), as_of=AS_OF)


def test_a_period_without_procedures_has_counts_and_no_ratio(scene):
    made = later_cancer_in_periods(
        scene, (date(1990, 1, 1), date(1990, 12, 31)), (day(0), day(100)), as_of=AS_OF
    )

    assert made.groups[0].procedures == 0
    assert made.ratio is None
    assert "counts only" in made.sentences[0]


def test_no_cancer_has_a_one_sided_upper_limit(scene):
    """Two followed 700 days, none with cancer: -ln 0.05 over their years (rule of three's exact form)."""
    made = Drawn()
    for _ in range(2):
        benign(made, "A", 0, clear=700)
    made.built()
    try:
        (one,) = later_cancer_by_group(made, "site", as_of=AS_OF, minimum=2).groups
    finally:
        made.close()

    assert (one.cancers, one.rate, one.lower) == (0, 0.0, 0.0)
    assert one.upper == pytest.approx(-log(0.05) / (1400 / 365.25) * 1000)


def test_few_procedures_give_counts_and_no_ratio_in_words(scene):
    said = later_cancer_by_group(scene, "site", as_of=AS_OF, minimum=10).sentences

    assert said[0] == "A: 1 cancer in 7 years of follow-up of 4 procedures: counts only."
    assert not any("Rate of" in one for one in said)


def test_words_name_ratio_interval_and_method(scene):
    said = later_cancer_by_group(scene, "site", as_of=AS_OF, minimum=4).sentences

    assert any(one.startswith("Rate of B over that of A: 4.36 (95 % interval ") for one in said)
    assert any(one.startswith("Log-rank test over all 2 groups") for one in said)


def test_a_pair_of_which_one_was_not_followed_has_no_ratio_and_says_why(scene):
    """No procedure of site C is there; A has years of follow-up."""
    made = later_cancer_by_group(scene, "site", as_of=AS_OF, pair=("A", "C"), minimum=2)

    assert made.ratio is None
    assert "No ratio of the rates: no benign result of C was followed for a day." in made.sentences


def test_two_stated_groups_are_compared_whatever_is_not_recorded():
    """It stands last, and is no part of the pair."""
    made = Drawn()
    for device in ("vacuum 10", None, "core 14"):
        key = made.key("P")
        made.procedure(key, on=0, device=device)
        made.report(key, "benign", on=3)
        made.imaging(key, 700)
    made.built()
    try:
        found = later_cancer_by_group(made, "device", as_of=AS_OF)
    finally:
        made.close()

    assert found.pair == ("core 14", "vacuum 10")
    assert [one.name for one in found.groups] == ["core 14", "vacuum 10", "not recorded"]


def test_an_operator_is_compared_with_nobody_by_name():
    """Who may see only their own results sees one group."""
    made = Drawn()
    for operator in ("OP1", "OP2"):
        key = made.key("P")
        made.procedure(key, on=0, operator=operator)
        made.report(key, "benign", on=3)
    made.built()
    try:
        with acting(Actor("ines", frozenset({Role.RADIOLOGIST}), "OP2")):
            found = later_cancer_by_group(made, "operator", as_of=AS_OF)
    finally:
        made.close()

    assert ([one.name for one in found.groups], found.pair) == (["OP2"], None)


def test_ten_procedures_in_each_group_are_asked_for_where_nothing_else_is(scene):
    for made in (
        later_cancer_by_group(scene, "site", as_of=AS_OF),
        later_cancer_in_periods(scene, (day(0), day(100)), (day(400), day(500)), as_of=AS_OF),
    ):
        assert (made.minimum, made.confidence) == (10, 0.95)
