"""Agreement of readers: text-book tables, two libraries, degenerate tables."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy.stats import norm

from registry.stats.agreement import cohen_kappa, fleiss_kappa, gwet_ac, gwet_ac_multi, two_reader_summary

ABSTRACTORS = [[13, 0, 0], [0, 20, 7], [0, 4, 56]]


class TestCohenKappa:
    @pytest.mark.parametrize("weights", [None, "linear", "quadratic"])
    def test_agrees_with_statsmodels(self, weights):
        from statsmodels.stats.inter_rater import cohens_kappa

        theirs = cohens_kappa(np.array(ABSTRACTORS), wt=weights)
        ours = cohen_kappa(ABSTRACTORS, weights)
        assert (ours.kappa, ours.se, ours.se_null) == pytest.approx(
            (theirs.kappa, theirs.std_kappa, theirs.std_kappa0)
        )
        assert (ours.z, ours.p) == pytest.approx((theirs.z_value, theirs.pvalue_two_sided))

    @pytest.mark.parametrize("table", [[[7, 5], [4, 6]], [[3, 6], [7, 4]]])
    def test_test_of_weak_agreement_agrees_with_statsmodels(self, table):
        """More than chance in the first table, less in the second: p of both is far from 0."""
        from statsmodels.stats.inter_rater import cohens_kappa

        assert cohen_kappa(table).p == pytest.approx(cohens_kappa(np.array(table)).pvalue_two_sided)

    def test_prevalence_lowers_it_at_the_same_agreement(self):
        """Feinstein and Cicchetti 1990 (from memory): 0.70 and 0.32 at 85 %."""
        assert cohen_kappa([[40, 9], [6, 45]]).kappa == pytest.approx(0.70, abs=0.005)
        assert cohen_kappa([[80, 10], [5, 5]]).kappa == pytest.approx(0.32, abs=0.005)

    def test_confidence_reaches_the_limits(self):
        found = cohen_kappa(ABSTRACTORS, confidence=0.9)
        half = 1.644853627 * found.se
        assert found.ci == pytest.approx((found.kappa - half, min(1, found.kappa + half)))

    def test_one_reader_with_a_single_category(self):
        found = cohen_kappa([[5, 0], [5, 0]])
        assert (found.kappa, found.se, found.ci) == (0, None, (None, None))
        assert found.reason == "one reader used a single category"

    def test_readers_with_one_category_each_that_differ(self):
        assert cohen_kappa([[0, 5], [0, 0]]).kappa == 0

    def test_both_readers_with_the_same_category(self):
        found = cohen_kappa([[5, 0], [0, 0]])
        assert (found.kappa, found.po) == (None, 1)
        assert found.reason == "both readers used one and the same category"

    def test_full_agreement_has_no_interval(self):
        found = cohen_kappa([[5, 0], [0, 5]])
        assert (found.kappa, found.se, found.ci) == (1, None, (None, None))
        assert found.reason.startswith("all units agree")

    def test_full_agreement_is_tested_all_the_same(self):
        """Of two by two, z squared is the chi-square of the table: 10 units on the diagonal give 10."""
        assert cohen_kappa([[5, 0], [0, 5]]).z == pytest.approx(sqrt(10))

    def test_no_units(self):
        assert cohen_kappa([[0, 0], [0, 0]]).reason == "no units"

    def test_few_units_get_a_resampled_interval(self):
        """29 of 30 would: the percentile interval encloses the estimate."""
        low, high = cohen_kappa([[10, 4], [3, 12]]).ci_resampled
        assert low < cohen_kappa([[10, 4], [3, 12]]).kappa < high

    def test_thirty_units_do_not(self):
        assert cohen_kappa([[10, 4], [3, 13]]).ci_resampled is None

    def test_resampling_is_repeatable(self):
        table = [[10, 4], [3, 12]]
        assert cohen_kappa(table).ci_resampled == cohen_kappa(table).ci_resampled
        assert cohen_kappa(table).ci_resampled != cohen_kappa(table, seed=2).ci_resampled

    @pytest.mark.parametrize("table", [[[10, 4], [3, 12]], [[9, 10], [1, 9]]])
    @pytest.mark.parametrize("confidence", [0.8, 0.95])
    def test_resampled_limits_are_percentiles_of_units_drawn_again(self, table, confidence):
        """20,000 drawings of the 29 units one by one: kappa from shares a, b, c, d by its definition."""
        drawn = np.random.default_rng(5).choice(4, size=(20_000, 29), p=np.ravel(table) / 29)
        a, b, c, d = ((drawn == cell).mean(axis=1) for cell in range(4))
        chance = (a + b) * (a + c) + (c + d) * (b + d)
        limits = np.quantile((a + d - chance) / (1 - chance), [(1 - confidence) / 2, (1 + confidence) / 2])
        found = cohen_kappa(table, confidence=confidence).ci_resampled
        assert found == pytest.approx(limits, abs=0.03)

    def test_no_resampled_limits_where_one_drawing_in_ten_has_no_kappa(self):
        """26 of 28 units on one cell: (26/28)^28 = 12.6 % of the drawings hold nothing else."""
        assert cohen_kappa([[26, 1], [1, 0]]).ci_resampled == (None, None)

    @pytest.mark.parametrize("table", [[[1, 2, 3], [4, 5, 6]], [1, 2]])
    def test_table_must_be_square(self, table):
        with pytest.raises(ValueError, match="square"):
            cohen_kappa(table)

    def test_unknown_weights(self):
        with pytest.raises(ValueError, match="got 'cubic'"):
            cohen_kappa(ABSTRACTORS, "cubic")


class TestGwet:
    def test_prevalence_hardly_moves_it(self):
        """Both tables have 85 % raw agreement: 0.70 and 0.81 (R irrCAC)."""
        assert gwet_ac([[40, 9], [6, 45]]).ac1 == pytest.approx(0.70, abs=0.005)
        assert gwet_ac([[80, 10], [5, 5]]).ac1 == pytest.approx(0.81, abs=0.005)

    def test_unweighted_value_by_hand(self):
        """40, 9, 6, 45 of 100: yes 0.475 on average; chance 2 * 0.475 * 0.525 = 0.49875."""
        assert gwet_ac([[40, 9], [6, 45]]).ac1 == pytest.approx((0.85 - 0.49875) / (1 - 0.49875))

    @pytest.mark.parametrize("weights", ["linear", "quadratic"])
    def test_between_two_categories_there_is_no_credit(self, weights):
        """Their distance is the largest there is: weighted and plain agreement are one."""
        table = [[40, 9], [6, 45]]
        assert gwet_ac(table, weights).ac2 == pytest.approx(gwet_ac(table).ac1)

    def test_two_units_have_an_error(self):
        """One agreed yes, one yes and no: share of yes 3/4, chance 3/8, AC1 (1/2 - 3/8) / (5/8) = 1/5; t(1)."""
        found = gwet_ac([[1, 1], [0, 0]])
        assert found.ac1 == pytest.approx(1 / 5)
        assert found.se is not None
        assert found.ci == (-1, 1)

    def test_weights_fill_the_other_field(self):
        found = gwet_ac(ABSTRACTORS, "linear")
        assert found.ac1 is None
        assert found.ac2 is not None

    def test_interval_uses_t(self):
        """t(99) at 0.975 = 1.984217."""
        found = gwet_ac([[40, 9], [6, 45]])
        half = 1.984217 * found.se
        assert found.ci == pytest.approx((found.ac1 - half, found.ac1 + half), abs=1e-7)

    @pytest.mark.parametrize(
        "table", [[[8000, 1000], [500, 500]], [[4000, 500, 300], [100, 2000, 700], [0, 400, 2000]]]
    )
    @pytest.mark.parametrize("weights", [None, "linear", "quadratic"])
    def test_error_is_that_of_leaving_out_each_unit_in_turn(self, table, weights):
        """Jackknife of 10,000 units; both forms have the same limit, the tolerance is 1 in 1,000."""
        cells, counts, n = len(table) ** 2, np.array(table), 10_000
        one_less = [counts - np.eye(cells, dtype=int)[cell].reshape(counts.shape) for cell in range(cells)]
        repeats = counts.ravel()
        left = [gwet_ac(less, weights) for less, many in zip(one_less, repeats, strict=True) if many]
        values = np.array([one.ac1 if weights is None else one.ac2 for one in left])
        mean = np.average(values, weights=repeats[repeats > 0])
        error = sqrt((n - 1) / n * float(repeats[repeats > 0] @ (values - mean) ** 2))
        assert gwet_ac(table, weights).se == pytest.approx(error, rel=1e-3)

    def test_full_agreement_has_no_interval(self):
        found = gwet_ac([[5, 0], [0, 0]])
        assert (found.ac1, found.ci) == (1, (None, None))

    def test_one_unit(self):
        assert gwet_ac([[0, 1], [0, 0]]).reason == "one unit shows no variance"

    def test_no_units(self):
        assert gwet_ac([[0, 0], [0, 0]]).reason == "no unit with two readers"

    def test_one_category_is_no_question(self):
        with pytest.raises(ValueError, match="two categories"):
            gwet_ac([[5]])

    def test_several_readers_of_two_give_the_table_value(self):
        """Two readers per unit, spelled out: the same coefficient as from the table."""
        rows = [[2, 0]] * 40 + [[1, 1]] * 15 + [[0, 2]] * 45
        assert gwet_ac_multi(rows).ac1 == pytest.approx(gwet_ac([[40, 9], [6, 45]]).ac1)

    def test_several_readers_use_n_minus_1(self):
        rows = [[2, 0]] * 40 + [[1, 1]] * 15 + [[0, 2]] * 45
        ratio = gwet_ac_multi(rows).se / gwet_ac([[40, 9], [6, 45]]).se
        assert ratio == pytest.approx((100 / 99) ** 0.5)

    def test_units_without_readers_are_left_out(self):
        rows = [[3, 0], [1, 2], [0, 3], [2, 1]]
        assert gwet_ac_multi([*rows, [0, 0]]) == gwet_ac_multi(rows)

    def test_unit_of_one_reader_counts_towards_the_categories_only(self):
        """Agreement of the others stays 2/3 on average, the mean share of yes moves.

        Shares of yes 1, 1/3, 1: 7/9; chance 2 * 7/9 * 2/9 = 28/81; agreement of the
        two judged by three: (1 + 1/3)/2 = 2/3.
        """
        found = gwet_ac_multi([[3, 0], [1, 2], [1, 0]])
        assert found.po == pytest.approx(2 / 3)
        assert found.ac1 == pytest.approx((2 / 3 - 28 / 81) / (1 - 28 / 81))

    def test_ratings_must_be_a_table(self):
        with pytest.raises(ValueError, match="units x categories"):
            gwet_ac_multi([1, 2])


class TestFleiss:
    def test_two_units_by_hand(self):
        """3 of 3 and 1 of 3 say yes: agreement 1 and 1/3; yes 2/3: 1 - (1/3)/(4/9) = 1/4."""
        found = fleiss_kappa([[3, 0], [1, 2]])
        assert found.po == pytest.approx(2 / 3)
        assert found.kappa == pytest.approx(1 / 4)

    def test_agrees_with_statsmodels(self):
        from statsmodels.stats.inter_rater import fleiss_kappa as theirs

        counts = [[4, 0, 0], [1, 2, 1], [0, 3, 1], [2, 2, 0], [0, 0, 4]]
        assert fleiss_kappa(counts).kappa == pytest.approx(theirs(np.array(counts)))

    # Four readers of four units; totals 8, 4 and 4 of 16.
    SHARES = ([4, 0, 0], [2, 1, 1], [2, 2, 0], [0, 1, 3])

    def test_null_error_by_hand(self):
        """Shares 1/2, 1/4, 1/4: sums of squares A = 3/8, of cubes B = 5/32.

        2 / (n m (m - 1)) (A + A^2 - 2 B) / (1 - A)^2 = 2/48 * 13/64 / (25/64).
        """
        assert fleiss_kappa(self.SHARES).se_null == pytest.approx(sqrt(2 / 48 * 13 / 25))

    def test_null_error_of_two_categories(self):
        """Whatever the shares, 2 / (n m (m - 1)): here two units and three readers."""
        assert fleiss_kappa([[3, 0], [1, 2]]).se_null == pytest.approx(sqrt(2 / 12))

    def test_test_by_hand(self):
        """Pairs agree in 1, 2/12, 4/12, 6/12: half; kappa 1 - (1/2)/(5/8) = 1/5."""
        found = fleiss_kappa(self.SHARES)
        z = 0.2 / sqrt(2 / 48 * 13 / 25)
        assert (found.z, found.p) == pytest.approx((z, 2 * norm.sf(z)))

    def test_less_agreement_than_chance_is_tested_on_both_sides(self):
        """Kappa -1/2 over sqrt(2 / (1 * 3 * 2)): z is negative, p that of its size."""
        assert fleiss_kappa([[2, 1]]).p == pytest.approx(2 * norm.sf(0.5 / sqrt(1 / 3)))

    def test_one_unit_is_enough(self):
        """2 and 1 of 3: agreement 1/3, shares 2/3 and 1/3: 1 - (2/3)/(4/9)."""
        assert fleiss_kappa([[2, 1]]).kappa == pytest.approx(-0.5)

    def test_two_readers_are_enough(self):
        """Agreement 2/3 at shares of one half: (2/3 - 1/2)/(1/2)."""
        assert fleiss_kappa([[2, 0], [1, 1], [0, 2]]).kappa == pytest.approx(1 / 3)

    def test_one_category(self):
        assert fleiss_kappa([[3, 0], [3, 0]]).reason.startswith("all readers used one")

    def test_no_units(self):
        assert fleiss_kappa(np.zeros((0, 2))).reason == "no units"

    @pytest.mark.parametrize("counts", [[[3, 0], [1, 1]], [[1, 0], [0, 1]]])
    def test_readers_must_be_the_same_number_and_two_at_least(self, counts):
        with pytest.raises(ValueError, match="same number of readers"):
            fleiss_kappa(counts)


class TestTwoReaders:
    def test_agreement_on_yes_and_no_by_hand(self):
        """80, 10, 5, 5: yes 160/175, no 10/25 = 0.40 (printed beside the paradox)."""
        found = two_reader_summary([[80, 10], [5, 5]])
        assert (found.p_pos, found.p_neg) == pytest.approx((160 / 175, 0.40))

    def test_prevalence_adjusted_value(self):
        assert two_reader_summary([[80, 10], [5, 5]]).pabak == pytest.approx(0.7)

    def test_counts_are_kept_apart(self):
        found = two_reader_summary([[1, 2], [3, 4]])
        assert (found.both, found.first_only, found.second_only, found.neither) == (1, 2, 3, 4)

    def test_nobody_said_no(self):
        found = two_reader_summary([[6, 0], [0, 0]])
        assert (found.p_pos, found.p_neg) == (1, None)

    def test_nobody_said_yes(self):
        found = two_reader_summary([[0, 0], [0, 6]])
        assert (found.p_pos, found.p_neg) == (None, 1)

    def test_what_readers_never_said_together_has_agreement_zero(self):
        """No unit with two yes, and none with two no: 0 of 2 * 0 + 5, not nothing to tell."""
        found = two_reader_summary([[0, 3], [2, 0]])
        assert (found.p_pos, found.p_neg) == (0, 0)

    def test_confidence_reaches_both_limits(self):
        """Normal 1.644854 for kappa, t(99) 1.660391 for the other coefficient."""
        found = two_reader_summary([[40, 9], [6, 45]], 0.9)
        assert found.kappa_ci[1] - found.kappa == pytest.approx(1.644854 * found.kappa_se, rel=1e-6)
        assert found.ac1_ci[1] - found.ac1 == pytest.approx(1.660391 * found.ac1_se, rel=1e-6)

    def test_no_units(self):
        found = two_reader_summary([[0, 0], [0, 0]])
        assert (found.po, found.pabak, found.reason) == (None, None, "no units")

    def test_three_categories_are_refused(self):
        with pytest.raises(ValueError, match="2 x 2; got 3 x 3"):
            two_reader_summary(ABSTRACTORS)
