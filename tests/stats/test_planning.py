"""How many procedures: text-book sizes and searches."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from registry.stats import planning
from registry.stats.planning import (
    half_width_at,
    power_at,
    rule_of_three,
    trials_for_half_width,
    trials_to_detect,
    two_group_trials,
)
from registry.stats.proportions import wilson_interval


class TestHalfWidth:
    def test_wilson_at_a_half(self):
        """381 against the text-book's 385 (R and Python searches)."""
        assert trials_for_half_width(0.5, 0.05, method="wilson").n == 381

    def test_wilson_at_two_per_cent(self):
        assert trials_for_half_width(0.02, 0.01, method="wilson").n == 792

    def test_wilson_size_is_the_first_that_is_narrow_enough(self):
        """At 50 % of an even number: 190/380 is too wide, 191/382 is not."""
        for n, narrow in ((380, False), (382, True)):
            lower, upper = wilson_interval(n // 2, n)
            assert ((upper - lower) / 2 <= 0.05) is narrow

    def test_a_rare_rate_needs_more_than_the_textbook_says(self):
        """Of a rate of nothing Wilson's interval ends at z^2 / (n + z^2): n = z^2 (1 / 0.2 - 1) = 15.4, not 0.4."""
        found = trials_for_half_width(0.001, 0.1, method="wilson").n
        assert found == pytest.approx(15.4, abs=1)
        assert half_width_at(0.001, found) <= 0.1 < half_width_at(0.001, found - 1)

    @pytest.mark.parametrize(
        ("p", "half", "method", "said"),
        [
            (0, 0.1, "wald", "p must lie"),
            (0.5, 0.5, "wald", "half_width"),
            (0.5, 0.1, "exact", "'wald' or 'wilson'"),
        ],
    )
    def test_impossible_input_is_named(self, p, half, method, said):
        with pytest.raises(ValueError, match=said):
            trials_for_half_width(p, half, method=method)


class TestDetection:
    def test_doubling_from_two_per_cent(self):
        """424 with 14 events; the power stays above 80 % from 507 (independent search)."""
        found = trials_to_detect(0.02, 0.04)
        assert (found.n, found.critical, found.n_stays) == (424, 14, 507)

    def test_power_at_the_size_and_one_below(self):
        found = trials_to_detect(0.05, 0.15)
        assert found.power == pytest.approx(binom.sf(found.critical - 1, found.n, 0.15))
        critical = binom.ppf(0.95, found.n - 1, 0.05) + 1
        assert found.power >= 0.8 > binom.sf(critical - 1, found.n - 1, 0.15)

    @pytest.mark.parametrize(
        ("p0", "p1", "n", "critical"),
        [
            # 7 or 8 of 8: 9/256 = 3.5 %, and 0.9^8 + 8 * 0.9^7 * 0.1 = 81 %; 5 of 5 59 %, 6 of 6 53 %, 7 of 7 48 %
            (0.5, 0.9, 8, 7),
            # all of five: 1/32 = 3.1 %, and 0.99^5 = 95 %; all of four 1/16 = 6.3 %
            (0.5, 0.99, 5, 5),
            # one of one: 1 %, and 99 %
            (0.01, 0.99, 1, 1),
        ],
    )
    def test_small_numbers_by_hand(self, p0, p1, n, critical):
        found = trials_to_detect(p0, p1)
        assert (found.n, found.critical) == (n, critical)

    @pytest.mark.parametrize(
        ("p0", "p1"), [(0.01, 0.99), (0.02, 0.055), (0.02, 0.07), (0.05, 0.1), (0.5, 0.9)]
    )
    def test_power_stays_from_where_a_plain_search_says(self, p0, p1):
        """All numbers up to 2,000 one by one, by scipy's binomial distribution."""
        n = np.arange(1, 2001)
        critical = binom.ppf(0.95, n, p0) + 1
        enough = binom.sf(critical - 1, n, p1) >= 0.8
        short = n[~enough]
        found = trials_to_detect(p0, p1)
        assert (found.n, found.n_stays) == (n[enough][0], short[-1] + 1 if short.size else 1)

    def test_size_of_the_test(self):
        found = trials_to_detect(0.05, 0.15)
        assert binom.sf(found.critical - 1, found.n, 0.05) <= 0.05
        assert binom.sf(found.critical - 2, found.n, 0.05) > 0.05

    def test_higher_power_needs_more(self):
        assert trials_to_detect(0.02, 0.04, 0.9).n > trials_to_detect(0.02, 0.04).n

    @pytest.mark.parametrize(
        ("p0", "p1", "power", "said"),
        [
            (0.1, 0.05, 0.8, "p1 must be above p0"),
            (0.1, 0.2, 1, "power"),
            (0.1, 0.1001, 0.8, "more than 100000"),
        ],
    )
    def test_impossible_input_is_named(self, p0, p1, power, said):
        with pytest.raises(ValueError, match=said):
            trials_to_detect(p0, p1, power)


class TestOneYear:
    def test_half_width_on_both_sides_of_the_size(self):
        """792 is the first number with one point at 2 % (as above)."""
        assert half_width_at(0.02, 792) <= 0.01 < half_width_at(0.02, 791)

    def test_power_on_both_sides_of_the_size(self):
        """424 is the first number with 80 % (as above)."""
        assert power_at(424, 0.02, 0.04).power >= 0.8 > power_at(423, 0.02, 0.04).power

    def test_the_smallest_rise_that_is_shown(self):
        found = power_at(200, 0.02, 0.04)
        assert found.critical == 8
        assert binom.sf(7, 200, found.shown) == pytest.approx(0.8)

    def test_all_of_them_can_be_enough(self):
        """Five of five: 1/32 = 3.1 %; at 90 % that is 0.9^5."""
        assert power_at(5, 0.5, 0.9).power == pytest.approx(0.9**5)

    def test_too_few_to_reject_at_all(self):
        """0.5^3 = 12.5 % is above 5 %: three of three prove nothing."""
        found = power_at(3, 0.5, 0.9)
        assert (found.power, found.shown) == (0.0, None)

    @pytest.mark.parametrize("p", [0, 1, 1.5])
    def test_rate_is_checked(self, p):
        with pytest.raises(ValueError, match="p must lie"):
            half_width_at(p, 10)

    def test_no_procedures(self):
        assert (power_at(0, 0.02, 0.04), half_width_at(0.02, 0)) == (None, None)


class TestTwoGroups:
    @pytest.mark.parametrize(("power", "whole"), [(0.8, 1141), (0.9, 1527)])
    def test_doubling_from_two_per_cent(self, power, whole):
        """R power.prop.test."""
        assert two_group_trials(0.02, 0.04, power).per_group == whole

    def test_order_does_not_matter(self):
        assert two_group_trials(0.02, 0.04).n == pytest.approx(two_group_trials(0.04, 0.02).n)

    def test_equal_rates_are_refused(self):
        with pytest.raises(ValueError, match="must differ"):
            two_group_trials(0.1, 0.1)


class TestRuleOfThree:
    def test_no_procedures(self):
        found = rule_of_three(0)
        assert (found.exact, found.approx) == (None, None)

    def test_three_over_two_is_no_proportion(self):
        assert rule_of_three(2).approx == 1

    def test_rule_goes_with_95_per_cent_only(self):
        """1 - 0.1^(1/50) at 90 %."""
        found = rule_of_three(50, 0.9)
        assert (found.exact, found.approx) == (pytest.approx(1 - 0.1 ** (1 / 50)), None)


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: planning.trials_for_half_width(0.1, 0.0), "half_width must lie between 0 and 0.5"),
        (lambda: planning.trials_for_half_width(0.1, 0.5), "half_width must lie between 0 and 0.5"),
        (lambda: planning.power_at(10, 0.3, 0.2), "p1 must be above p0; got 0.3 and 0.2"),
        (lambda: planning.power_at(10, 0.2, 0.2), "p1 must be above p0; got 0.2 and 0.2"),
        (lambda: planning.trials_to_detect(0.2, 0.2), "p1 must be above p0"),
        (lambda: planning.two_group_trials(0.0, 0.2), "p1 must lie between 0 and 1"),
        (lambda: planning.two_group_trials(0.1, 0.2, power=1.0), "power must lie between 0 and 1"),
    ],
)
def test_what_no_plan_can_have_is_named(ask, said):
    with pytest.raises(ValueError, match=said):
        ask()
