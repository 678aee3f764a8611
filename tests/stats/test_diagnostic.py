"""Accuracy, partial verification, curves."""

from __future__ import annotations

import json
from math import exp, log, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import mannwhitneyu

from registry.stats.diagnostic import (
    accuracy,
    begg_greenes,
    best_threshold,
    compare_auc,
    likelihood_ratios,
    roc_auc,
    verification_bounds,
)
from registry.stats.proportions import exact_interval, wilson_interval
from registry.stats.roc import roc_points

ROWS = {
    row["id"]: row["input"]
    for row in json.loads(
        (Path(__file__).parents[1] / "published" / "statistics_checks.json").read_text("utf-8")
    )
}
LIVER = ROWS["diag.begg_greenes.liver"]
SAH = ROWS["roc.delong_auc.aSAH"]


class TestAccuracy:
    def test_liver_scan(self):
        """Altman and Bland 1994, BMJ 308:1552 (from memory): 0.90 and 0.63."""
        found = accuracy(231, 32, 27, 54)
        assert (found.sens, found.spec) == pytest.approx((0.90, 0.63), abs=0.005)

    def test_predictive_values(self):
        """BMJ 309:102 (from memory): 0.88 and 0.67 at a prevalence of 0.75."""
        found = accuracy(231, 32, 27, 54)
        assert (found.ppv, found.npv, found.prevalence) == pytest.approx((0.88, 0.67, 0.75), abs=0.005)

    def test_each_has_the_wilson_interval_of_its_own_denominator(self):
        found = accuracy(10, 3, 2, 20, 0.9)
        assert found.sens_ci == wilson_interval(10, 12, 0.9)
        assert found.spec_ci == wilson_interval(20, 23, 0.9)
        assert found.ppv_ci == wilson_interval(10, 13, 0.9)
        assert found.npv_ci == wilson_interval(20, 22, 0.9)

    def test_nobody_with_disease(self):
        found = accuracy(0, 3, 0, 20)
        assert (found.sens, found.sens_ci, found.prevalence) == (None, (None, None), 0)

    def test_nobody(self):
        found = accuracy(0, 0, 0, 0)
        assert (found.spec, found.prevalence, found.n) == (None, None, 0)

    def test_negative_count_is_refused(self):
        with pytest.raises(ValueError, match="counts must be at least 0; got -2"):
            accuracy(1, -2, 3, 4)


class TestLikelihoodRatios:
    def test_no_false_positive(self):
        found = likelihood_ratios(5, 0, 1, 4)
        assert (found.lr_pos, found.lr_pos_ci) == (None, (None, None))
        assert found.lr_neg == pytest.approx(1 / 6)
        assert found.reason.startswith("a count of 0")

    def test_no_false_negative(self):
        found = likelihood_ratios(5, 1, 0, 4)
        assert (found.lr_neg, found.lr_neg_ci) == (0, (None, None))

    def test_interval_by_hand(self):
        """LR+ = (6/10)/(3/20) = 4; log 4 +- 1.645 sqrt(1/6 - 1/10 + 1/3 - 1/20)."""
        half = 1.644853627 * sqrt(1 / 6 - 1 / 10 + 1 / 3 - 1 / 20)
        found = likelihood_ratios(6, 3, 4, 17, 0.9)
        assert found.lr_pos_ci == pytest.approx((exp(log(4) - half), exp(log(4) + half)))

    def test_only_diseased(self):
        assert likelihood_ratios(5, 0, 1, 0).reason == "needs units with and without disease"


class TestPartialVerification:
    def test_bounds_of_the_liver_data(self):
        """By hand: 231/398, 397/424; 54/252, 194/226."""
        found = verification_bounds(**LIVER)
        assert found.sens == pytest.approx((231 / 398, 397 / 424))
        assert found.spec == pytest.approx((54 / 252, 194 / 226))

    def test_naive_values_stand_beside(self):
        found = begg_greenes(**LIVER)
        assert (found.naive_sens, found.naive_spec) == pytest.approx((0.895, 0.628), abs=5e-4)

    def test_everybody_verified_changes_nothing(self):
        found = begg_greenes(231, 32, 0, 27, 54, 0)
        assert (found.sens, found.spec) == pytest.approx((231 / 258, 54 / 86))

    def test_everybody_verified_has_the_binomial_error(self):
        found = begg_greenes(231, 32, 0, 27, 54, 0)
        p = 231 / 258
        assert found.se_sens == pytest.approx(sqrt(p * (1 - p) / 258))

    def test_corrected_value_by_hand(self):
        """n1 f1 = 429 * 231/263, n0 f0 = 221 * 27/81."""
        high, low = 429 * 231 / 263, 221 * 27 / 81
        assert begg_greenes(**LIVER).sens == pytest.approx(high / (high + low))

    def test_half_of_the_verified_positives_ill(self):
        """20 positives, 5 of 10 verified ill, are 10; 20 negatives, 1 of 10 verified ill, are 2: 10 of 12."""
        assert begg_greenes(5, 5, 10, 1, 9, 10).sens == pytest.approx(10 / 12)

    @pytest.mark.parametrize(("cells", "sens"), [((1, 0, 9, 1, 4, 5), 10 / 12), ((4, 1, 5, 1, 0, 9), 8 / 18)])
    def test_one_verified_unit_is_enough(self, cells, sens):
        """10 positive and 10 negative; of the verified ill 1/1 and 1/5, then 4/5 and 1/1."""
        assert begg_greenes(*cells).sens == pytest.approx(sens)

    def test_limits_lie_on_the_logit_scale(self):
        found = begg_greenes(**LIVER)
        centre = log(found.sens / (1 - found.sens))
        half = 1.959964 * found.se_sens / (found.sens * (1 - found.sens))
        assert found.sens_ci == pytest.approx(
            (1 / (1 + exp(half - centre)), 1 / (1 + exp(-half - centre))), abs=1e-7
        )

    def test_the_fraction_it_leans_on_is_shown(self):
        found = begg_greenes(**LIVER)
        assert (found.false_negatives, found.negatives_verified) == (27, 81)

    def test_no_cancer_among_verified_negatives(self):
        """Lower limit with the exact upper limit of 0/20: 17*10/12 over that + 50 u."""
        found = begg_greenes(10, 2, 5, 0, 20, 30)
        high = exact_interval(0, 20)[1]
        mine = 17 * 10 / 12
        assert (found.sens, found.se_sens) == (1, None)
        assert found.sens_ci == (pytest.approx(mine / (mine + 50 * high)), 1)
        assert found.reason == "no usable variance for sensitivity: a count is 0"

    def test_no_cancer_among_verified_positives(self):
        found = begg_greenes(0, 2, 5, 3, 20, 30)
        high = exact_interval(0, 2)[1]
        other = 53 * 3 / 23
        assert found.sens == 0
        assert found.sens_ci == (0, pytest.approx(7 * high / (7 * high + other)))

    def test_no_cancer_at_all(self):
        found = begg_greenes(0, 2, 5, 0, 20, 30)
        assert (found.sens, found.sens_ci) == (None, (None, None))

    def test_nobody_verified_among_negatives(self):
        found = begg_greenes(10, 2, 5, 0, 0, 30)
        assert (found.sens, found.spec) == (None, None)
        assert found.reason.startswith("needs verified units")


class TestRocAuc:
    def test_is_the_mann_whitney_statistic(self):
        ill = np.array(SAH["outcome"]) == 1
        marker = np.array(SAH["ndka"])
        expected = mannwhitneyu(marker[ill], marker[~ill]).statistic / (ill.sum() * (~ill).sum())
        assert roc_auc(SAH["outcome"], SAH["ndka"]).auc == pytest.approx(expected)

    def test_ties_count_half(self):
        """Pairs 1-1, 1-2, 2-1, 2-2 (ill - well): 0.5, 0, 1, 0.5."""
        assert roc_auc([1, 1, 0, 0], [1, 2, 1, 2]).auc == 0.5

    def test_variance_by_the_definition(self):
        """DeLong from the full matrix of pair comparisons."""
        ill = np.array(SAH["outcome"]) == 1
        marker = np.array(SAH["s100b"])
        pairs = np.sign(marker[ill][:, None] - marker[~ill]) / 2 + 0.5
        expected = pairs.mean(axis=1).var(ddof=1) / ill.sum() + pairs.mean(axis=0).var(ddof=1) / (~ill).sum()
        assert roc_auc(SAH["outcome"], SAH["s100b"]).var == pytest.approx(expected)

    def test_reversed_marker_mirrors_area_and_limits(self):
        straight = roc_auc(SAH["outcome"], SAH["s100b"])
        turned = roc_auc(SAH["outcome"], [-value for value in SAH["s100b"]])
        assert turned.auc == pytest.approx(1 - straight.auc)
        assert turned.ci_logit == pytest.approx((1 - straight.ci_logit[1], 1 - straight.ci_logit[0]))

    def test_complete_separation_gives_a_bound_and_no_interval(self):
        """Two well units: the exact interval of 2 of 2."""
        found = roc_auc([0, 0, 1, 1, 1], [1, 2, 3, 4, 5])
        assert (found.auc, found.ci, found.ci_logit) == (1, (None, None), (None, None))
        assert found.exact_bounds == exact_interval(2, 2)
        assert found.reason.startswith("the variance is 0")

    def test_one_outcome_only(self):
        assert roc_auc([1, 1], [1, 2]).reason == "needs both outcomes"

    def test_one_unit_of_an_outcome_has_no_variance(self):
        found = roc_auc([1, 0, 0], [2, 1, 3])
        assert (found.auc, found.var) == (0.5, None)

    @pytest.mark.parametrize(
        ("outcome", "marker", "said"),
        [
            ([0, 2], [1, 2], "outcome must be 0 or 1; got 2"),
            ([0, 1], [1], "same length"),
            ([0, 1], [1, float("nan")], "marker must be finite"),
        ],
    )
    def test_impossible_input_is_named(self, outcome, marker, said):
        with pytest.raises(ValueError, match=said):
            roc_auc(outcome, marker)

    @pytest.mark.parametrize("outcome", [[0, 0], [1, 1]])
    def test_either_outcome_alone_has_no_area(self, outcome):
        found = roc_auc(outcome, [1, 2])
        assert found.auc is None
        assert found.reason

    @pytest.mark.parametrize("outcome", [[0, 0, 1], [1, 1, 0]])
    def test_one_unit_of_either_outcome_has_no_variance(self, outcome):
        found = roc_auc(outcome, [1, 3, 2])
        assert (found.auc, found.var) == (0.5, None)
        assert found.reason

    def test_the_outcome_at_fault_is_named(self):
        with pytest.raises(ValueError, match="outcome must be 0 or 1; got 2"):
            roc_auc([0, 1, 2], [1, 2, 3])

    def test_two_units_of_each_outcome_have_a_variance(self):
        """Ill 1 and 3, well 2 and 0: placements 1/2, 1 and 1/2, 1, variance 1/8 each: 1/8 / 2 + 1/8 / 2."""
        found = roc_auc([1, 1, 0, 0], [1, 3, 2, 0])
        assert (found.auc, found.var) == (0.75, pytest.approx(1 / 8))


class TestRocPoints:
    def test_points_by_hand(self):
        """Ill 3, 2, 2, well 2, 1: from 3 down 1/3 and 0, then 1 and 1/2, then all."""
        false_positive, true_positive = roc_points([1, 1, 1, 0, 0], [3, 2, 2, 2, 1])
        assert false_positive == pytest.approx([0, 0, 1 / 2, 1])
        assert true_positive == pytest.approx([0, 1 / 3, 1, 1])

    @pytest.mark.parametrize("marker", ["s100b", "wfns"])
    def test_the_area_below_them_is_that_of_the_pairs(self, marker):
        """Hanley and McNeil 1982: the trapezoids add up to the Mann-Whitney statistic, ties included."""
        points = roc_points(SAH["outcome"], SAH[marker])
        assert np.trapezoid(points[1], points[0]) == pytest.approx(roc_auc(SAH["outcome"], SAH[marker]).auc)

    @pytest.mark.parametrize("outcome", [[1, 1], [0, 0]])
    def test_one_outcome_has_no_curve(self, outcome):
        assert [points.size for points in roc_points(outcome, [1, 2])] == [0, 0]


class TestCompareAuc:
    def test_order_turns_the_sign(self):
        there = compare_auc(SAH["outcome"], SAH["wfns"], SAH["s100b"])
        back = compare_auc(SAH["outcome"], SAH["s100b"], SAH["wfns"])
        assert (back.diff, back.z, back.p) == pytest.approx((-there.diff, -there.z, there.p))

    def test_same_order_of_units_is_no_difference(self):
        found = compare_auc([0, 0, 1, 1], [1, 3, 2, 4], [10, 30, 20, 40])
        assert (found.diff, found.z) == (0, None)
        assert found.reason.startswith("the markers order")

    def test_one_unit_of_an_outcome(self):
        assert compare_auc([0, 1], [1, 2], [2, 1]).reason == "needs two units of each outcome"

    @pytest.mark.parametrize("outcome", [[1, 1, 0], [0, 0, 1]])
    def test_one_unit_of_either_outcome(self, outcome):
        found = compare_auc(outcome, [1, 2, 3], [3, 1, 2])
        assert found.reason == "needs two units of each outcome"


class TestBestThreshold:
    def test_threshold_by_hand(self):
        """At >= 3: 2 of 3 ill, 0 of 3 well: 0.667; at >= 2: 2/3 - 1/3."""
        found = best_threshold([0, 0, 0, 1, 1, 1], [1, 1, 2, 1, 3, 4], replicates=1)
        assert (found.threshold, found.sens, found.spec) == (3, pytest.approx(2 / 3), 1)
        assert found.youden == pytest.approx(2 / 3)

    def test_of_equals_the_more_sensitive_is_taken(self):
        """>= 2: 2/2 - 1/2; >= 3: 1/2 - 0: both 0.5."""
        found = best_threshold([0, 0, 1, 1], [1, 2, 2, 3], replicates=1)
        assert (found.threshold, found.sens, found.spec) == (2, 1, 0.5)

    def test_optimism_of_the_haemorrhage_data(self):
        """About 0.034 with n = 113 for the protein marker, by an independent simulation."""
        found = best_threshold(SAH["outcome"], SAH["s100b"], replicates=2000)
        assert found.optimism == pytest.approx(0.034, abs=0.005)
        assert found.corrected == pytest.approx(found.youden - found.optimism)

    def test_worthless_marker_shows_its_optimism(self):
        """Noise: the apparent index is all optimism, the corrected one much nearer 0."""
        rng = np.random.default_rng(4)
        found = best_threshold(rng.integers(0, 2, 80), rng.normal(size=80), replicates=500)
        assert found.optimism > found.youden / 3

    def test_seed_makes_it_repeatable(self):
        first, second, third = (best_threshold(SAH["outcome"], SAH["wfns"], 50, seed) for seed in (7, 7, 8))
        assert first == second
        assert first.optimism != third.optimism

    def test_resampling_whole_patients_changes_the_optimism(self):
        """Every unit four times under one label is one patient, not four."""
        outcome, marker = np.repeat(SAH["outcome"], 4), np.repeat(SAH["s100b"], 4)
        label = np.repeat(np.arange(113), 4)
        grouped = best_threshold(outcome, marker, 300, patient=label).optimism
        single = best_threshold(SAH["outcome"], SAH["s100b"], 300).optimism
        assert grouped == pytest.approx(single)
        assert best_threshold(outcome, marker, 300).optimism < grouped / 1.5

    def test_one_outcome_only(self):
        assert best_threshold([1, 1], [1, 2]).reason == "needs both outcomes"

    @pytest.mark.parametrize("outcome", [[0, 0], [1, 1]])
    def test_either_outcome_alone_has_no_threshold(self, outcome):
        found = best_threshold(outcome, [1, 2])
        assert (found.threshold, found.replicates, found.reason) == (None, 0, "needs both outcomes")

    def test_a_threshold_has_no_reason(self):
        assert best_threshold([0, 1] * 20, range(40), replicates=5).reason == ""

    def test_as_many_resamples_as_asked(self):
        """Of 40 ill and 40 well none can be expected to lack one: 2 x 2^-80."""
        assert best_threshold([0, 1] * 40, range(80), replicates=150).replicates == 150

    def test_replicates_must_be_positive(self):
        with pytest.raises(ValueError, match="replicates must be 1 or more; got 0"):
            best_threshold([0, 1], [1, 2], replicates=0)

    def test_labels_must_fit(self):
        with pytest.raises(ValueError, match="same length"):
            best_threshold([0, 1], [1, 2], patient=[1])
