"""Sentences on cancer after a benign result, from numbers made by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import inf, log

import numpy as np
import pytest
from scipy.stats import chi2

from registry.monitoring.later_cancer import Followed, LaterCancer, _group
from registry.stats.rates import RateRatio
from registry.stats.time_to_event import LogrankTest

A = Followed("A", 40, 3, 2, 1, 120.4, 16.61, 2.01, 60.0)
B = Followed("B", 30, 0, 1, 0, 90.0, 11.11, 0.28, 61.91)
MADE = LaterCancer(
    (A, B),
    ("A", "B"),
    RateRatio(0.669, (0.0113, 12.855), 0.7445),
    LogrankTest(0.1104, 1, 0.7397),
    10,
    0.95,
    date(2026, 6, 30),
    "stamp",
)


def said(**changed: object) -> tuple[str, ...]:
    return replace(MADE, **changed).sentences  # type: ignore[arg-type]


def test_rates_are_given_with_their_limits():
    assert said()[0] == (
        "A: 2 cancers in 120 years of follow-up of 40 procedures (3 of them without a day of it): "
        "16.6 in 1 000 years (95 % interval 2.0 to 60.0, exact Poisson)."
    )
    assert said()[1] == (
        "B: 1 cancer in 90 years of follow-up of 30 procedures: "
        "11.1 in 1 000 years (95 % interval 0.3 to 61.9, exact Poisson)."
    )


def test_ratio_and_curves():
    assert said()[2] == (
        "Rate of B over that of A: 0.67 (95 % interval 0.01 to 12.86, exact given the number of cancers); p 0.74."
    )
    assert said()[3] == (
        "Log-rank test over all 2 groups: chi-square 0.11, p 0.74: no difference of the curves is shown."
    )
    assert said()[4].startswith("Years count from the biopsy to cancer")


def test_without_a_cancer_there_is_a_one_sided_limit():
    none = replace(B, cancers=0, rate=0.0, lower=0.0, upper=33.29)
    assert said(groups=(A, none))[1] == (
        "B: 0 cancers in 90 years of follow-up of 30 procedures: "
        "at most 33.3 in 1 000 years (95 % one-sided, exact Poisson)."
    )


def test_one_procedure_below_the_minimum_has_counts_only():
    one = replace(B, procedures=1, cancers=1, years=0.6)
    assert said(groups=(A, one))[1] == "B: 1 cancer in 1 years of follow-up of 1 procedure: counts only."


def test_the_minimum_itself_is_enough():
    assert "11.1 in 1 000 years" in said(groups=(A, replace(B, procedures=10)))[1]
    assert "counts only" in said(groups=(A, replace(B, procedures=9)))[1]


@pytest.mark.parametrize("missing", ["rate", "lower", "upper"])
def test_without_follow_up_there_are_counts_only(missing: str):
    assert "counts only" in said(groups=(A, replace(B, **{missing: None})))[1]


@pytest.mark.parametrize(("procedures", "given"), [(10, True), (9, False)])
def test_the_ratio_needs_the_minimum_in_both_groups(procedures: int, given: bool):
    for groups in ((A, replace(B, procedures=procedures)), (replace(A, procedures=procedures), B)):
        assert any(one.startswith("Rate of") for one in said(groups=groups)) is given


def test_a_small_group_outside_the_pair_does_not_stop_the_ratio():
    third = Followed("C", 2, 0, 0, 0, 1.0, 0.0, 0.0, 2995.7)
    assert any(one.startswith("Rate of B over that of A") for one in said(groups=(A, B, third)))


def test_without_a_pair_no_ratio_is_spoken_of():
    told = said(pair=None, ratio=None)
    assert not any("atio" in one or "Rate of" in one for one in told)
    assert all(told)


def test_why_there_is_no_ratio():
    assert "No ratio of the rates: neither group has events." in said(
        ratio=RateRatio(None, (None, None), None, "neither group has events")
    )
    unfollowed = [replace(one, years=0.0, rate=None, lower=None, upper=None) for one in (A, B)]
    assert "No ratio of the rates: no benign result of A and B was followed for a day." in said(
        groups=tuple(unfollowed), ratio=None
    )


def test_an_endless_ratio_is_any_number():
    assert said(ratio=RateRatio(inf, (0.52, inf), 0.21))[2] == (
        "Rate of B over that of A: any number (95 % interval 0.52 to any number, exact given the number of cancers); p 0.21."
    )


@pytest.mark.parametrize(("p", "differ"), [(0.049, True), (0.051, False)])
def test_curves_differ_below_the_level(p: float, differ: bool):
    (told,) = [one for one in said(curves=LogrankTest(4.0, 2, p)) if "Log-rank" in one]
    assert told.startswith("Log-rank test over all 3 groups: chi-square 4.00")
    assert ("differ by more than chance" in told) is differ


def test_why_there_is_no_test_of_the_curves():
    told = LogrankTest(None, 0, None, "one group only")
    assert "No test of the curves: one group only." in said(curves=told)


def test_nobody_with_a_benign_result():
    nobody = replace(A, procedures=0, cancers=0, years=0.0, rate=None, lower=None, upper=None)
    assert said(groups=(nobody,)) == ("No procedures with a benign result.",)


def test_one_group_of_two_with_a_benign_result_is_told():
    nobody = replace(A, procedures=0, cancers=0, years=0.0, rate=None, lower=None, upper=None)
    assert len(said(groups=(nobody, B))) > 1


def test_it_can_be_written_down():
    written = MADE.to_dict()

    assert (written["as_of"], written["sentences"]) == ("2026-06-30", list(MADE.sentences))
    assert written["groups"][0]["cancers"] == 2


class TestGroup:
    """Days of follow-up, and 0 for one still clear, 1 for a cancer, 2 for a death."""

    def test_counts_and_rate(self):
        """730.5 days are two years; Garwood's limits from chi-square quantiles over twice the time."""
        found = _group("A", np.array([[365, 1], [0, 0], [365, 0], [0, 2]]), 0.9)
        years = 730 / 365.25

        assert (found.procedures, found.unfollowed, found.cancers, found.deaths) == (4, 2, 1, 1)
        assert (found.years, found.rate) == pytest.approx((years, 1000 / years))
        assert found.lower == pytest.approx(chi2.ppf(0.05, 2) / 2 / years * 1000)
        assert found.upper == pytest.approx(chi2.ppf(0.95, 4) / 2 / years * 1000)

    def test_without_a_cancer_the_limit_is_one_sided(self):
        found = _group("A", np.array([[365, 0], [365, 0]]), 0.9)

        assert (found.cancers, found.rate, found.lower) == (0, 0.0, 0.0)
        assert found.upper == pytest.approx(-log(0.1) / (730 / 365.25) * 1000)

    def test_without_a_day_of_follow_up_there_is_no_rate(self):
        found = _group("A", np.array([[0, 0]]), 0.95)

        assert (found.procedures, found.unfollowed, found.years, found.rate) == (1, 1, 0.0, None)
