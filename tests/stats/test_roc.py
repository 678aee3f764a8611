"""Areas under a curve by hand: standard errors, limits at their ends, and where there are none."""

from __future__ import annotations

from math import exp, sqrt

import pytest

from registry.stats.roc import AucComparison, RocAuc, Threshold, best_threshold, compare_auc, roc_auc

NO_LIMITS = (None, None)


@pytest.mark.parametrize(("outcome", "ill", "well"), [([1, 1], 2, 0), ([0, 0], 0, 2)])
def test_one_outcome_alone_has_counts_and_a_reason(outcome, ill, well):
    assert roc_auc(outcome, [1, 2]) == RocAuc(
        None, None, None, None, NO_LIMITS, NO_LIMITS, ill, well, NO_LIMITS, "needs both outcomes"
    )


def test_one_unit_of_an_outcome_has_the_error_of_hanley_and_mcneil_alone():
    """Area 1/2, so Q1 = Q2 = 1/3: (1/4 + 0 + 1 (1/3 - 1/4)) / (1 x 2) = 1/6."""
    assert roc_auc([1, 0, 0], [2, 1, 3]) == RocAuc(
        0.5,
        None,
        None,
        pytest.approx(sqrt(1 / 6)),
        NO_LIMITS,
        NO_LIMITS,
        1,
        2,
        NO_LIMITS,
        "needs two units of each outcome for a variance",
    )


def test_a_marker_that_is_the_same_for_all_has_no_limits_and_no_bounds():
    """Every pair is tied: area 1/2, variance 0; (1/4 + 1/12 + 2/12) / (2 x 3) = 1/12."""
    assert roc_auc([1, 1, 0, 0, 0], [5] * 5) == RocAuc(
        0.5,
        0.0,
        None,
        pytest.approx(sqrt(1 / 12)),
        NO_LIMITS,
        NO_LIMITS,
        2,
        3,
        NO_LIMITS,
        "the variance is 0 and gives no interval",
    )


@pytest.mark.parametrize(
    ("marker", "area", "bounds"),
    [
        # 2 of 2 and 0 of 2 at 90 %: the other end is 0.05^(1/2)
        ([4, 5, 1, 2, 3], 1.0, (sqrt(0.05), 1.0)),
        ([1, 2, 3, 4, 5], 0.0, (0.0, 1 - sqrt(0.05))),
    ],
)
def test_complete_separation_either_way_is_bounded_by_the_smaller_group(marker, area, bounds):
    assert roc_auc([1, 1, 0, 0, 0], marker, 0.9) == RocAuc(
        area,
        0.0,
        None,
        None,
        NO_LIMITS,
        NO_LIMITS,
        2,
        3,
        pytest.approx(bounds),
        "the variance is 0 and gives no interval",
    )


@pytest.mark.parametrize(("sign", "area"), [(1, 0.75), (-1, 0.25)])
def test_limits_of_four_units(sign, area):
    """Ill 1 and 3, well 2 and 0: area 3/4, variance 1/8, so 1.96 errors are 0.693.

    The plain limits leave 0..1 and are cut. On the logit scale the odds 3 are multiplied and
    divided by exp(0.693 / (3/4 x 1/4)).
    """
    half = 1.959963985 * sqrt(1 / 8)
    odds = area / (1 - area) * exp(-half / (3 / 16)), area / (1 - area) * exp(half / (3 / 16))
    found = roc_auc([1, 1, 0, 0], [sign * one for one in (1, 3, 2, 0)])

    assert found.auc == area
    assert found.se_delong == pytest.approx(sqrt(1 / 8))
    assert found.ci == pytest.approx((max(0.0, area - half), min(1.0, area + half)))
    assert found.ci_logit == pytest.approx([one / (1 + one) for one in odds])
    assert (found.positives, found.negatives, found.reason) == (2, 2, "")


@pytest.mark.parametrize(
    ("outcome", "marker2", "found"),
    [
        ([0, 1, 1, 1], [1, 2, 3, 4], (None, None, None, NO_LIMITS, "needs two units of each outcome")),
        (
            [0, 0, 1, 1],
            [10, 30, 20, 40],
            (0.0, None, None, NO_LIMITS, "the markers order the units in the same way"),
        ),
    ],
)
def test_two_markers_that_cannot_be_compared_have_a_reason(outcome, marker2, found):
    assert compare_auc(outcome, [1, 3, 2, 4], marker2) == AucComparison(*found)


def test_a_resample_without_one_of_the_outcomes_corrects_nothing():
    """One ill and one well unit, one resample: both are drawn, or the same one twice.

    With both the resample is the data, so that nothing was gained by choosing there.
    """
    found = [best_threshold([0, 1], [1, 2], replicates=1, seed=seed) for seed in range(20)]
    both = Threshold(2.0, 1.0, 1.0, 1.0, 0.0, 1.0, 1, "")
    neither = Threshold(2.0, 1.0, 1.0, 1.0, None, None, 0, "no resample held both outcomes")

    assert {one.replicates for one in found} == {0, 1}
    assert all(one == (both if one.replicates else neither) for one in found)


def test_half_of_the_resamples_of_two_units_hold_both():
    """10 000 of chance 1/2, within five standard deviations of 50."""
    assert abs(best_threshold([0, 1], [1, 2], replicates=10_000).replicates - 5000) < 250


def test_a_negative_outcome_is_named():
    with pytest.raises(ValueError, match="^outcome must be at least 0; got -1$"):
        roc_auc([0, -1], [1, 2])
