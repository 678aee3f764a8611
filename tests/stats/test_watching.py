"""Limit of a running sum, the adjusted sum's run length, the weighted mean, the test that agrees.

Expected values are printed elsewhere or come from another program.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2_contingency

from registry.stats.comparison import miettinen_nurminen_difference, miettinen_nurminen_ratio
from registry.stats.cusum import (
    bernoulli_cusum,
    bernoulli_cusum_arl,
    lattice_cusum,
    lattice_step,
    risk_adjusted_scores,
)
from registry.stats.cusum_limit import lowest_limit
from registry.stats.ewma import ewma
from registry.stats.risk_cusum import risk_adjusted_arl, risk_adjusted_cusum
from registry.stats.score_test import score_test

#: Montgomery, Introduction to Statistical Quality Control, the example of the EWMA chapter.
VALUES = [
    *(9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34),
    *(9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84),
    *(10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52),
]
DOUBLED = (0.04 / 0.96) / (0.02 / 0.98)


@pytest.mark.parametrize(("wanted", "limit"), [(850, 90), (851, 91), (4259, 150)])
def test_the_limit_of_two_per_cent_against_four(wanted, limit):
    """Exact linear solve elsewhere: 90 gives 850.6, 150 gives 4260 procedures."""
    assert lowest_limit(34, 0.02, wanted) == limit


@pytest.mark.parametrize(("wanted", "limit"), [(0.5, 1), (1, 1), (3.3, 1), (3.4, 2), (14.4, 2), (14.5, 3)])
def test_the_lowest_limits_by_hand(wanted, limit):
    """At 0.3, one up and one down: a limit of 1 runs 1 / 0.3 = 3.33, of 2 (1 + 0.3) / 0.3^2 = 14.44."""
    assert lowest_limit(2, 0.3, wanted) == limit


def test_a_limit_out_of_reach_is_refused():
    with pytest.raises(ValueError, match="no limit up to 5000"):
        lowest_limit(2, 0.3, 1e300)


@pytest.mark.parametrize(("true", "rate"), [(1.0, 0.02), (DOUBLED, 0.04)])
def test_with_one_risk_the_adjusted_sum_is_the_plain_one(true, rate):
    """Odds doubled from 2 % are 4 %: the plain sum's own run length, 3369 in control elsewhere."""
    found = risk_adjusted_arl([0.02] * 3, DOUBLED, 3.0, true)

    assert found == pytest.approx(bernoulli_cusum_arl(0.02, 0.04, 3.0, rate), rel=0.005)


def test_the_adjusted_path_with_one_risk_is_the_plain_path():
    outcomes = [0, 1, 1, 0, 1, 1, 1, 0, 0, 1]
    adjusted = risk_adjusted_cusum([0.02] * 10, outcomes, DOUBLED, 1.5)
    plain = bernoulli_cusum(outcomes, 0.02, 0.04, 1.5)

    assert adjusted.path == pytest.approx(plain.path)
    assert adjusted.signals == plain.signals != ()


def test_the_run_length_of_mixed_risks_is_that_of_a_simulation():
    risks = np.array([0.02, 0.10, 0.30])
    rng = np.random.default_rng(11)
    lengths = []
    for _ in range(3000):
        height, step = 0.0, 0
        while height < 2.0:
            step += 1
            risk = risks[rng.integers(3)]
            height = max(0.0, height + (rng.random() < risk) * np.log(2.0) - np.log(1.0 + risk))
        lengths.append(step)
    mean, error = np.mean(lengths), np.std(lengths) / np.sqrt(len(lengths))

    assert abs(risk_adjusted_arl(risks, 2.0, 2.0) - mean) < 3.0 * error


def test_the_weighted_mean_of_the_textbook():
    """Printed: 9.945, 9.7495, 9.70355 ...; limits 10.27 at the first and 10.62 at the last; 29 and 30 outside."""
    run = ewma(VALUES, 10.0, 1.0, 0.1, 2.7)

    assert run.path[:3] == pytest.approx([9.945, 9.7495, 9.70355])
    assert run.path[28:] == pytest.approx([10.6468, 10.6341], abs=5e-5)
    assert (run.upper[0], run.upper[-1]) == pytest.approx((10.27, 10.62), abs=0.002)
    assert run.beyond == (29, 30)


def test_a_mean_below_its_lower_limit_lies_outside_too():
    """0.1 * 6 + 0.9 * 10 = 9.6, below 10 - 2.7 * 0.1 = 9.73; its mirror image lies above 10.27."""
    assert ewma([6.0], 10.0, 1.0, 0.1, 2.7).beyond == ewma([14.0], 10.0, 1.0, 0.1, 2.7).beyond == (1,)


def test_a_mean_on_its_limit_lies_within():
    """All weight on the newest value: limits 10 +- 2 * 1.5, both exact in binary."""
    assert ewma([7.0, 13.0], 10.0, 1.5, 1.0, 2.0).beyond == ()


def test_spread_and_width_may_lie_below_one():
    """Each value alone: limits 1 -+ 0.5 * 0.3 = 0.85 and 1.15."""
    assert ewma([0.86, 1.14, 0.84, 1.16], 1.0, 0.3, 1.0, 0.5).beyond == (3, 4)


@pytest.mark.parametrize(
    ("sd", "smoothing", "width"), [(0, 0.1, 2.7), (-1, 0.1, 2.7), (1, 0, 2.7), (1, 1.1, 2.7), (1, 0.1, 0)]
)
def test_an_impossible_weighted_mean_is_refused(sd, smoothing, width):
    with pytest.raises(ValueError, match="sd and width must be above 0, smoothing above 0 and not above 1"):
        ewma(VALUES, 10.0, sd, smoothing, width)


@pytest.mark.parametrize("wanted", [0, -1])
def test_false_signals_must_have_a_distance(wanted):
    with pytest.raises(ValueError, match=f"wanted must be above 0; got {wanted}"):
        lowest_limit(2, 0.3, wanted)


@pytest.mark.parametrize("limit", [0, -1, float("nan")])
def test_an_adjusted_sum_needs_a_limit(limit):
    with pytest.raises(ValueError, match="limit must be above 0"):
        risk_adjusted_cusum([0.02], [1], 2.0, limit)


@pytest.mark.parametrize(
    ("risks", "ratio", "limit", "true", "said"),
    [
        ([], 2, 3, 1, "risks must be given"),
        ([0, 0.1], 2, 3, 1, "risks must be given"),
        ([0.1, 1], 2, 3, 1, "risks must be given"),
        ([0.1], 1, 3, 1, "odds_ratio must be above 1"),
        ([0.1], 2, 0, 1, "odds_ratio must be above 1"),
        ([0.1], 2, 3, 0, "odds_ratio must be above 1"),
    ],
)
def test_an_impossible_adjusted_run_length_is_refused(risks, ratio, limit, true, said):
    with pytest.raises(ValueError, match=said):
        risk_adjusted_arl(risks, ratio, limit, true)


def test_the_first_event_signals_where_one_step_reaches_the_limit():
    """Risks 0.1 and 0.3 in equal parts, limit below both upward steps: 1 / 0.2 units on average."""
    assert risk_adjusted_arl([0.1, 0.3], 3.0, 0.5) == pytest.approx(5.0)


def test_the_score_test_is_pearsons_with_one_less():
    table = [[56, 14], [48, 32]]
    pearson = chi2_contingency(table, correction=False)
    from scipy.stats import chi2

    assert score_test(56, 70, 48, 80) == pytest.approx(chi2.sf(pearson.statistic * 149 / 150, 1))


@pytest.mark.parametrize("counts", [(56, 70, 48, 80), (9, 10, 3, 10), (5, 56, 0, 29), (20, 429, 16, 462)])
def test_the_test_agrees_with_both_intervals(counts):
    """At a confidence of 1 - p the intervals end at no difference."""
    p = score_test(*counts)
    difference = miettinen_nurminen_difference(*counts, confidence=1 - p)
    ratio = miettinen_nurminen_ratio(*counts, confidence=1 - p)

    assert min(abs(one) for one in difference) == pytest.approx(0.0, abs=1e-6)
    assert min(abs(one - 1.0) for one in ratio) == pytest.approx(0.0, abs=1e-5)


def test_nothing_to_test():
    assert score_test(0, 10, 0, 12) is None
    assert score_test(1, 10, 0, 0) is None


@pytest.mark.parametrize("risk", [0.0, 1.0])
def test_a_certain_outcome_has_no_score(risk):
    with pytest.raises(ValueError, match="risks must lie between 0 and 1, both ends excluded"):
        risk_adjusted_scores([0.02, risk], [0, 1], 2.0)


def test_outcomes_come_in_a_column():
    with pytest.raises(ValueError, match="outcomes must be one-dimensional"):
        lattice_cusum([[0, 1], [1, 0]], 34, 90)


def test_the_smallest_whole_step():
    """From 0.3 towards 0.6 the ratio is 2.2, so m = 2: p (1 - p) = 0.3 x 0.7 then, and p = 0.7."""
    step = lattice_step(0.3, 0.6)
    assert (step.m, step.p1) == (2, pytest.approx(0.7))


def test_an_adjusted_limit_that_is_just_reached_signals():
    """Risk 0.1, odds doubled: an event adds log(2 / 1.1) = 0.598."""
    (up,) = risk_adjusted_scores([0.1], [1], 2.0)
    assert risk_adjusted_cusum([0.1], [1], 2.0, up).signals == (1,)
    assert risk_adjusted_cusum([0.1], [1], 2.0, 0.6).signals == ()
    assert risk_adjusted_cusum([0.1], [1], 2.0, 0.59).signals == (1,)


def test_the_run_length_of_a_small_rise():
    """Odds 1.5 times: the first event adds log(1.5 / 1.05) = 0.357 and signals, 1 / 0.1."""
    assert risk_adjusted_arl([0.1], 1.5, 0.3) == pytest.approx(10)
