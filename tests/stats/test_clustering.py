"""Patients with several procedures: hand arithmetic and published data."""

from __future__ import annotations

import json
from math import sqrt
from pathlib import Path

import pytest
from scipy.stats import chi2_contingency, t

from registry.stats.clustering import (
    anova_icc,
    clustered_wilson_interval,
    deflated_wilson_interval,
    rao_scott_test,
    ratio_estimate,
)

ROWS = {
    row["id"]: row["input"]
    for row in json.loads(
        (Path(__file__).parents[1] / "published" / "statistics_checks.json").read_text("utf-8")
    )
}
RATS = ROWS["cluster.gee_independence.rats"]
LIANG = ROWS["cluster.icc_deff.liang"]


class TestRatioEstimate:
    """Three patients, 2/3, 0/1 and 1/1 events: p = 3/5.

    Residuals y - n p: 0.2, -0.6, 0.4, squares sum to 0.56; variance 3/2 * 0.56 / 25 =
    0.0336; binomial variance 0.6 * 0.4 / 5 = 0.048; design effect 0.7.
    """

    Y, N = (2, 0, 1), (3, 1, 1)

    def test_proportion(self):
        assert ratio_estimate(self.Y, self.N).p == pytest.approx(0.6)

    def test_standard_error(self):
        assert ratio_estimate(self.Y, self.N).se == pytest.approx(sqrt(0.0336))

    def test_design_effect(self):
        assert ratio_estimate(self.Y, self.N).deff == pytest.approx(0.7)

    def test_effective_size_never_exceeds_the_size(self):
        assert ratio_estimate(self.Y, self.N).n_eff == 5.0

    def test_counts(self):
        found = ratio_estimate(self.Y, self.N)
        assert (found.x, found.n, found.clusters) == (3, 5, 3)

    def test_patients_without_trials_are_left_out(self):
        assert ratio_estimate((2, 0, 1, 0), (3, 1, 1, 0)) == ratio_estimate(self.Y, self.N)

    def test_design_effect_of_the_sibling_data(self):
        """Liang, Zeger and Qaqish 1992 data: 1.593 by the ratio estimator (R survey)."""
        assert ratio_estimate(LIANG["y"], LIANG["n"]).deff == pytest.approx(1.593, abs=5e-4)

    def test_rat_pups(self):
        """Treated arm: design effect 3.9529, effective size 36.682 (R aod)."""
        found = ratio_estimate(RATS["y"][16:], RATS["n"][16:])
        assert (found.deff, found.n_eff) == pytest.approx((3.9529, 36.682), abs=5e-4)

    def test_no_trials(self):
        found = ratio_estimate([0], [0])
        assert (found.p, found.se, found.deff, found.n_eff) == (None,) * 4
        assert found.reason == "no trials"

    def test_no_patients(self):
        assert ratio_estimate([], []).reason == "no trials"

    def test_one_patient_shows_no_variance(self):
        found = ratio_estimate([1], [4])
        assert (found.p, found.se, found.deff, found.n_eff) == (0.25, None, None, None)
        assert found.reason.startswith("one cluster")

    @pytest.mark.parametrize(("y", "p"), [((0, 0), 0.0), ((2, 3), 1.0)])
    def test_constant_outcome_shows_no_design_effect(self, y, p):
        found = ratio_estimate(y, (2, 3))
        assert (found.p, found.se, found.deff, found.n_eff) == (p, 0.0, None, None)
        assert found.reason.startswith("no variation")

    def test_lengths_must_agree(self):
        with pytest.raises(ValueError, match="same shape"):
            ratio_estimate([1, 0], [1, 1, 1])

    def test_single_numbers_are_refused(self):
        with pytest.raises(ValueError, match="one-dimensional"):
            ratio_estimate(1, 2)

    def test_more_events_than_trials_are_refused(self):
        with pytest.raises(ValueError, match="3 of 2"):
            ratio_estimate([3, 0], [2, 1])


class TestIntraclassCorrelation:
    def test_pairs_that_always_agree(self):
        """Within mean square 0: correlation 1, inflation 2 for pairs."""
        found = anova_icc([2, 0, 2, 0], [2, 2, 2, 2])
        assert (found.icc, found.deff) == (1.0, 2.0)

    def test_pairs_that_always_differ(self):
        """Between mean square 0: correlation -1 / (2 - 1), inflation 0."""
        found = anova_icc([1, 1, 1], [2, 2, 2])
        assert (found.icc, found.deff) == (-1.0, 0.0)

    def test_unequal_sizes_by_hand(self):
        """2/3, 0/1, 1/1: within = 2*1/3 / 2 = 1/3; between = (0.04/3 + 0.36 + 0.16) / 2 = 4/15;

        size = (5 - 11/5) / 2 = 1.4; icc = (4/15 - 1/3) / (4/15 + 0.4/3) = -1/6; mean
        partners 11/5 - 1 = 1.2, inflation 1 - 1.2/6 = 0.8.
        """
        found = anova_icc([2, 0, 1], [3, 1, 1])
        assert found.icc == pytest.approx(-1 / 6)
        assert found.deff == pytest.approx(0.8)

    @pytest.mark.parametrize(("y", "n"), [([1, 0], [1, 1]), ([1], [3]), ([], [])])
    def test_nothing_to_compare(self, y, n):
        found = anova_icc(y, n)
        assert (found.icc, found.deff) == (None, None)
        assert found.reason.startswith("needs two clusters")

    def test_constant_outcome(self):
        found = anova_icc([0, 0], [2, 2])
        assert (found.icc, found.deff) == (None, None)
        assert found.reason.startswith("no variation")


class TestClusteredInterval:
    def test_equals_wilson_with_effective_size_and_t(self):
        """Rat pups, treated arm: design effect 3.9529 (R aod), 16 litters, t(15) = 2.1314.

        Wilson by hand with n = 145 / 3.952861 = 36.6823 and p = 112/145.
        """
        y, n = RATS["y"][16:], RATS["n"][16:]
        size, p, z = 36.6822951, 112 / 145, 2.131449546
        centre = (p + z**2 / (2 * size)) / (1 + z**2 / size)
        half = z * sqrt(p * (1 - p) / size + z**2 / (4 * size**2)) / (1 + z**2 / size)
        assert tuple(clustered_wilson_interval(y, n)) == pytest.approx(
            (centre - half, centre + half), abs=1e-8
        )

    def test_limits_by_name_and_by_order_agree(self):
        found = clustered_wilson_interval([1, 0, 2], [2, 2, 3])
        assert tuple(found) == found.ci == (found.lower, found.upper)

    def test_origin_of_the_design_effect_is_said(self):
        found = clustered_wilson_interval([1, 0, 2], [2, 2, 3])
        assert found.deff_from == "ratio estimator"

    def test_design_effect_below_one_counts_as_one(self):
        """All patients alike: variance between them 0, so the data say less than chance."""
        found = clustered_wilson_interval([1, 1, 1], [2, 2, 2])
        assert (found.deff, found.n_eff) == (1.0, 6.0)

    def test_without_events_the_design_effect_is_planned(self):
        """Sizes 1, 2, 3: 1 + (14/6 - 1) * 0.3 = 1.4; effective size 6 / 1.4."""
        found = clustered_wilson_interval([0, 0, 0], [1, 2, 3])
        assert found.deff == pytest.approx(1.4)
        assert found.n_eff == pytest.approx(6 / 1.4)
        assert found.deff_from == "planned, within-patient correlation 0.3 assumed"

    def test_upper_limit_without_events_by_hand(self):
        """z^2 / (n + z^2) with n = 6 / 1.4 and t(2) = 4.302653: 0.812018."""
        found = clustered_wilson_interval([0, 0, 0], [1, 2, 3])
        square = 4.30265273**2
        assert found.ci == (0.0, pytest.approx(square / (6 / 1.4 + square), abs=1e-8))

    def test_with_nothing_but_events_it_is_the_mirror(self):
        low, high = clustered_wilson_interval([0, 0, 0], [1, 2, 3])
        assert tuple(clustered_wilson_interval([1, 2, 3], [1, 2, 3])) == pytest.approx((1 - high, 1 - low))

    def test_planned_correlation_can_be_chosen(self):
        """(14/6 - 1) * 0.6 + 1 = 1.8."""
        assert clustered_wilson_interval([0, 0, 0], [1, 2, 3], planning_icc=0.6).deff == pytest.approx(1.8)

    def test_single_procedures_without_events_need_no_inflation(self):
        assert clustered_wilson_interval([0] * 9, [1] * 9).deff == 1.0

    def test_confidence_reaches_the_quantile(self):
        """0 events of 10 single procedures: t^2 / (10 + t^2) with t(9) at 0.9."""
        square = t.ppf(0.9, 9) ** 2
        found = clustered_wilson_interval([0] * 10, [1] * 10, 0.8)
        assert found.upper == pytest.approx(square / (10 + square), abs=1e-12)

    def test_one_patient_has_no_interval(self):
        found = clustered_wilson_interval([1], [4])
        assert (found.ci, found.p, found.clusters) == ((None, None), 0.25, 1)
        assert (found.deff, found.n_eff) == (None, None)
        assert found.reason.startswith("one cluster")

    def test_no_patients_have_no_interval(self):
        found = clustered_wilson_interval([], [])
        assert (found.ci, found.p, found.reason) == ((None, None), None, "no trials")

    @pytest.mark.parametrize("planned", [-0.1, 1.1])
    def test_planned_correlation_is_checked(self, planned):
        with pytest.raises(ValueError, match=f"planning_icc.*{planned}"):
            clustered_wilson_interval([0, 0], [1, 2], planning_icc=planned)

    @pytest.mark.parametrize("planned", [0, 1])
    def test_planned_correlation_may_be_at_its_ends(self, planned):
        """(5/3 - 1) * planned + 1."""
        found = clustered_wilson_interval([0, 0], [1, 2], planning_icc=planned)
        assert found.deff == pytest.approx(1 + 2 / 3 * planned)

    def test_confidence_is_checked(self):
        with pytest.raises(ValueError, match="confidence"):
            clustered_wilson_interval([], [], 1.0)


class TestDeflatedInterval:
    def test_no_trials(self):
        assert deflated_wilson_interval(0, 0, 1.2) == (None, None)

    def test_one_cluster(self):
        assert deflated_wilson_interval(1, 4, 1.2, clusters=1) == (None, None)

    @pytest.mark.parametrize("deff", [0, -1])
    def test_design_effect_must_be_positive(self, deff):
        with pytest.raises(ValueError, match=f"deff must be above 0; got {deff}"):
            deflated_wilson_interval(1, 4, deff)

    def test_normal_quantile_without_clusters(self):
        """0 events of 8: 3.841459 / (8 + 3.841459)."""
        assert deflated_wilson_interval(0, 8, 1.0) == (0.0, pytest.approx(3.841459 / 11.841459, abs=1e-7))

    def test_design_effect_may_be_below_one(self):
        """0 events of 4, effectively 8."""
        assert deflated_wilson_interval(0, 4, 0.5)[1] == pytest.approx(3.841459 / 11.841459, abs=1e-7)

    def test_two_clusters_use_t_with_one_degree(self):
        """t(1) at 0.975 = 12.7062; 0 events of 8: z^2 / (8 + z^2)."""
        lower, upper = deflated_wilson_interval(0, 8, 1.0, clusters=2)
        assert (lower, upper) == (0.0, pytest.approx(12.7062047**2 / (8 + 12.7062047**2), abs=1e-8))


class TestRaoScott:
    def test_rat_pups(self):
        """Counts over design effects, then the ordinary chi-square of the 2 x 2 table (scipy)."""
        adjusted = []
        for arm in (slice(0, 16), slice(16, 32)):
            found = ratio_estimate(RATS["y"][arm], RATS["n"][arm])
            deff = max(1.0, found.deff)
            adjusted.append([found.x / deff, (found.n - found.x) / deff])
        expected = chi2_contingency(adjusted, correction=False)
        found = rao_scott_test(RATS["group"], RATS["y"], RATS["n"])
        assert (found.chi2, found.p) == pytest.approx((expected.statistic, expected.pvalue))

    def test_design_effects_of_rat_pups(self):
        """R aod::raoscott: 3.9529 in the treated arm."""
        found = rao_scott_test(RATS["group"], RATS["y"], RATS["n"])
        assert found.deff[1] == pytest.approx(3.9529, abs=5e-5)

    def test_single_procedures_give_the_plain_test(self):
        """Every patient once: design effect m / (m - 1) of the ratio variance only."""
        group, y = ["a"] * 40 + ["b"] * 40, [1] * 10 + [0] * 30 + [1] * 20 + [0] * 20
        found = rao_scott_test(group, y, [1] * 80)
        assert found.deff == pytest.approx((40 / 39, 40 / 39))
        plain = chi2_contingency([[10, 30], [20, 20]], correction=False).statistic
        assert found.chi2 == pytest.approx(plain * 39 / 40)

    def test_degrees_of_freedom(self):
        found = rao_scott_test(list("aabbcc"), [1, 0, 1, 1, 0, 1], [2] * 6)
        assert found.df == 2

    def test_one_group(self):
        found = rao_scott_test(["a", "a"], [1, 0], [1, 1])
        assert (found.chi2, found.p, found.df) == (None, None, 0)
        assert found.reason == "needs two groups with trials"

    def test_groups_without_trials_do_not_count(self):
        assert rao_scott_test(["a", "b"], [1, 0], [1, 0]).reason == "needs two groups with trials"

    def test_constant_outcome(self):
        found = rao_scott_test(["a", "a", "b", "b"], [0] * 4, [1] * 4)
        assert (found.chi2, found.p) == (None, None)
        assert found.reason.startswith("no variation")

    def test_nothing_but_events_do_not_vary(self):
        found = rao_scott_test(["a", "a", "b", "b"], [1, 2, 1, 3], [1, 2, 1, 3])
        assert found.reason.startswith("no variation")

    def test_labels_must_fit(self):
        with pytest.raises(ValueError, match="same length"):
            rao_scott_test(["a"], [1, 0], [1, 1])
