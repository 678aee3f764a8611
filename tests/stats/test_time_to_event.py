"""Follow-up: published curves, hand arithmetic, and two independent programs."""

from __future__ import annotations

import json
from math import exp, log, sqrt
from pathlib import Path

import numpy as np
import pytest

from registry.stats.time_to_event import cumulative_incidence, kaplan_meier, logrank, turnbull

ROWS = {
    row["id"]: row["input"]
    for row in json.loads(
        (Path(__file__).parents[1] / "published" / "statistics_checks.json").read_text("utf-8")
    )
}
REMISSION = ROWS["followup.km_loglog.6mp"]
# Freireich et al 1963, placebo arm: all relapsed (from memory).
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
MELANOMA = ROWS["followup.aalen_johansen_se.melanoma"]
CAUSES = [{1: 1, 2: 0, 3: 2}[status] for status in MELANOMA["status"]]

# Ten women, months: events at 2, 5, 5; lost at 3, 5, 9; the rest seen event-free at 12.
TIME = [2, 3, 5, 5, 5, 9, 12, 12, 12, 12]
EVENT = [1, 0, 1, 1, 0, 0, 0, 0, 0, 0]


class TestKaplanMeier:
    def test_product_by_hand(self):
        """9/10 at 2; 8 left at 5, two events before the loss: 9/10 * 6/8 = 0.675."""
        found = kaplan_meier(TIME, EVENT, [0, 1.9, 2, 4.9, 5, 12]).S
        assert found == pytest.approx([1, 1, 0.9, 0.9, 0.675, 0.675])

    def test_greenwood_by_hand(self):
        """0.675^2 * (1/(10*9) + 2/(8*6))."""
        found = kaplan_meier(TIME, EVENT, [5])
        assert found.se[0] == pytest.approx(0.675 * sqrt(1 / 90 + 2 / 48))

    def test_error_while_one_unit_is_left(self):
        """Three women, nobody lost: one of three free of the event, 1/3 * 2/3 / 3."""
        assert kaplan_meier([1, 2, 3], [1, 1, 0], [2]).se[0] == pytest.approx(sqrt(2 / 27))

    def test_limits_by_hand(self):
        """0.675^exp(+-1.96 sqrt(1/90 + 2/48) / log 0.675)."""
        width = 1.959964 * sqrt(1 / 90 + 2 / 48) / abs(log(0.675))
        found = kaplan_meier(TIME, EVENT, [5])
        assert found.lower[0] == pytest.approx(0.675 ** exp(width), abs=1e-7)
        assert found.upper[0] == pytest.approx(0.675 ** exp(-width), abs=1e-7)

    def test_at_risk_counts_those_still_there_at_the_time(self):
        assert list(kaplan_meier(TIME, EVENT, [0, 2, 2.5, 5, 5.1, 12, 13]).at_risk) == [10, 10, 9, 8, 5, 4, 0]

    def test_beyond_starts_after_the_last_look(self):
        assert list(kaplan_meier(TIME, EVENT, [12, 12.1]).beyond) == [False, True]

    def test_between_the_last_two_looks_nothing_is_beyond(self):
        assert kaplan_meier([1, 2, 5], [0, 0, 0], [3, 6]).beyond.tolist() == [False, True]

    def test_counts(self):
        found = kaplan_meier(TIME, EVENT, [5])
        assert (found.n, found.events) == (10, 3)

    def test_no_limits_before_the_first_event(self):
        found = kaplan_meier(TIME, EVENT, [1])
        assert np.isnan([found.lower[0], found.upper[0]]).all()

    def test_bound_before_the_first_event(self):
        """Ten still at risk without an event: 1 - 0.05^(1/10)."""
        assert kaplan_meier(TIME, EVENT, [1]).no_event_bound[0] == pytest.approx(1 - 0.05**0.1)

    def test_no_bound_after_the_first_event(self):
        assert np.isnan(kaplan_meier(TIME, EVENT, [2]).no_event_bound[0])

    def test_all_dead_leaves_zero_without_limits(self):
        found = kaplan_meier([1, 2], [1, 1], [2])
        assert (found.S[0], found.se[0]) == (0.0, 0.0)
        assert np.isnan([found.lower[0], found.upper[0]]).all()

    def test_agrees_with_scipy_on_the_remission_data(self):
        from scipy.stats import CensoredData, ecdf

        time, event = np.array(REMISSION["time"]), np.array(REMISSION["event"])
        curve = ecdf(CensoredData.right_censored(time, event == 0)).sf
        at = np.array([6.0, 7, 10, 13, 16, 22, 23, 30])
        found = kaplan_meier(time, event, at)
        interval = curve.confidence_interval(method="log-log")
        np.testing.assert_allclose(found.S, curve.evaluate(at), atol=1e-14)
        np.testing.assert_allclose(found.lower, interval.low.evaluate(at), atol=1e-14)
        np.testing.assert_allclose(found.upper, interval.high.evaluate(at), atol=1e-14)

    def test_event_on_the_first_day(self):
        assert kaplan_meier([0, 4], [1, 0], [0]).S[0] == 0.5

    def test_one_time_may_be_asked_as_a_number(self):
        assert kaplan_meier(TIME, EVENT, 5).S.shape == (1,)

    def test_without_units_nothing_is_estimated(self):
        found = kaplan_meier([], [], [1])
        assert np.isnan(found.S[0])
        assert (found.at_risk[0], found.n) == (0, 0)

    @pytest.mark.parametrize(
        ("time", "event", "at", "said"),
        [
            ([-1, 2], [0, 1], [1], "time must be at least 0; got -1"),
            ([1, float("nan")], [0, 1], [1], "time must be finite"),
            ([1, 2], [1, 2], [1], "event must be 0 or 1; got 2"),
            ([1, 2], [0], [1], "same length"),
            ([1, 2], [0, 1], [-3], "at must be at least 0; got -3"),
        ],
    )
    def test_impossible_input_is_named(self, time, event, at, said):
        with pytest.raises(ValueError, match=said):
            kaplan_meier(time, event, at)


class TestCumulativeIncidence:
    # Six women: cancer at 1 and 4, another death at 2, lost at 3, the rest seen at 6.
    TIME, STATUS = (1, 2, 3, 4, 6, 6), (1, 2, 0, 1, 0, 0)

    def test_sum_by_hand(self):
        """1/6 at 1; at 4 three are left after surviving 5/6 * 4/5: 1/6 + 2/3 * 1/3."""
        found = cumulative_incidence(self.TIME, self.STATUS, [0, 1, 3, 4, 6])
        assert found.incidence == pytest.approx([0, 1 / 6, 1 / 6, 1 / 6 + 2 / 9, 1 / 6 + 2 / 9])

    def test_other_cause_by_hand(self):
        """5/6 survive to 2, one of five dies: 1/6."""
        assert cumulative_incidence(self.TIME, self.STATUS, [6], cause=2).incidence[0] == pytest.approx(1 / 6)

    def test_counts_of_the_cause_and_the_others(self):
        found = cumulative_incidence(self.TIME, self.STATUS, [6])
        assert (found.events, found.competing, found.n) == (2, 1, 6)

    def test_variance_without_losses_is_binomial(self):
        """All followed: F = share with the cause by then, variance F (1 - F) / n."""
        time, status = list(range(1, 21)), [1, 2, 0, 1] * 4 + [0] * 4
        # a loss only at the very end is no loss by month 16
        status = [0 if month > 16 else cause or 2 for month, cause in zip(time, status, strict=True)]
        found = cumulative_incidence(time, status, [16])
        share = sum(cause == 1 for cause in status) / 20
        assert found.incidence[0] == pytest.approx(share)
        assert found.se[0] == pytest.approx(sqrt(share * (1 - share) / 20))

    def test_variance_while_one_unit_is_left(self):
        """Four women, nobody lost: two of four by 3, when one is left; 1/2 * 1/2 / 4."""
        found = cumulative_incidence([1, 2, 3, 4], [1, 2, 1, 0], [3])
        assert found.se[0] == pytest.approx(sqrt(1 / 16))

    def test_limits_by_hand(self):
        """F^exp(+-z se / (F log F)) from the estimate's own F and se, 90 %."""
        found = cumulative_incidence(MELANOMA["time"], CAUSES, [1826], 0.9)
        f, se = 0.2235396, 0.0294304860716179
        width = 1.644853627 * se / (f * abs(log(f)))
        assert found.lower[0] == pytest.approx(f ** exp(width), abs=1e-6)
        assert found.upper[0] == pytest.approx(f ** exp(-width), abs=1e-6)

    def test_five_year_incidence_is_below_the_naive_one(self):
        """Danish melanoma data: 0.2235 against 0.2313 (R survfit)."""
        honest = cumulative_incidence(MELANOMA["time"], CAUSES, [1826]).incidence[0]
        naive = 1 - kaplan_meier(MELANOMA["time"], [int(c == 1) for c in CAUSES], [1826]).S[0]
        assert (honest, naive) == pytest.approx((0.2235, 0.2313), abs=5e-5)

    def test_agrees_with_statsmodels_at_every_time(self):
        from statsmodels.duration.survfunc import CumIncidenceRight

        theirs = CumIncidenceRight(np.array(MELANOMA["time"], dtype=float), np.array(CAUSES))
        found = cumulative_incidence(MELANOMA["time"], CAUSES, theirs.times[:-1])
        np.testing.assert_allclose(found.incidence, theirs.cinc[0][:-1], atol=1e-12)
        np.testing.assert_allclose(found.se, theirs.cinc_se[0][:-1], atol=1e-10)

    def test_last_unit_dying_leaves_a_finite_error(self):
        """Two women: cancer at 1, death at 2; F = 1/2, variance 1/2 * 1/2 / 2."""
        found = cumulative_incidence([1, 2], [1, 2], [2])
        assert found.se[0] == pytest.approx(sqrt(0.125))

    def test_variance_of_one_event_among_two(self):
        """One of two: sqrt(1/2 x 1/2 / 2); before it there is none."""
        found = cumulative_incidence([1, 2], [1, 0], [0.5, 1])
        assert found.se == pytest.approx([0.0, sqrt(0.125)])

    def test_variance_of_two_events_among_three(self):
        """Without losses binomial: 2/3 x 1/3 / 3, although two are left at the second and one after it."""
        found = cumulative_incidence([1, 2, 3], [1, 2, 1], [3])
        assert found.se == pytest.approx([sqrt(2 / 27)])

    def test_bound_while_the_cause_has_not_come(self):
        """The death at 2 is no cancer: three at risk at 2.5 of four, 1 - 0.05^(1/3)."""
        found = cumulative_incidence([2, 3, 3, 5], [2, 0, 0, 1], [2.5])
        assert found.no_event_bound[0] == pytest.approx(1 - 0.05 ** (1 / 3))
        assert np.isnan(found.lower[0])

    def test_without_units_nothing_is_estimated(self):
        assert np.isnan(cumulative_incidence([], [], [365, 730]).incidence).all()

    def test_cause_must_be_an_event(self):
        with pytest.raises(ValueError, match="cause must be 1 or more; got 0"):
            cumulative_incidence([1], [1], [1], cause=0)

    def test_status_must_be_whole(self):
        with pytest.raises(ValueError, match=r"status must be whole numbers; got 0\.5"):
            cumulative_incidence([1], [0.5], [1])


class TestTurnbull:
    def test_exact_and_lost_times_give_the_kaplan_meier_curve(self):
        """Known times are intervals of no width, losses reach to infinity."""
        left = [2, 3, 5, 5, 5, 9, 12]
        right = [2, np.inf, 5, 5, np.inf, 9, np.inf]
        found = turnbull(left, right)
        curve = kaplan_meier(left, [1, 0, 1, 1, 0, 1, 0], [2, 5, 9])
        assert found.innermost[:3] == ((2, 2), (5, 5), (9, 9))
        assert found.S_after == pytest.approx(curve.S, abs=1e-8)

    def test_intervals_are_open_on_the_left(self):
        """(0, 5] and (5, 9] share no time: each carries half."""
        found = turnbull([0, 5], [5, 9])
        assert found.innermost == ((0, 5), (5, 9))
        assert found.mass == pytest.approx([0.5, 0.5])

    def test_overlap_carries_everything(self):
        """(0, 6] and (4, 9] share (4, 6]."""
        found = turnbull([0, 4], [6, 9])
        assert found.innermost == ((4, 6),)
        assert found.S_after.size == 0

    def test_exact_time_at_the_left_end_lies_outside(self):
        """Event at 5 exactly, and one in (5, 9]: no common time."""
        assert turnbull([5, 5], [5, 9]).innermost == ((5, 5), (5, 9))

    def test_exact_time_at_the_right_end_lies_inside(self):
        assert turnbull([5, 2], [5, 5]).innermost == ((5, 5),)

    def test_masses_add_up_to_one(self):
        found = turnbull(ROWS["followup.turnbull.cosmesis_rt"]["left"], [5.0] * 3 + [60.0] * 43)
        assert found.mass.sum() == pytest.approx(1)

    def test_without_units_there_are_no_intervals(self):
        assert turnbull([], []).innermost == ()

    @pytest.mark.parametrize(
        ("left", "right", "said"),
        [
            ([4], [3], "right must not lie before left; got 4 to 3"),
            ([1, 2], [3], "same length"),
            ([1], [float("nan")], "missing value"),
            ([-1], [3], "left must be at least 0; got -1"),
        ],
    )
    def test_impossible_input_is_named(self, left, right, said):
        with pytest.raises(ValueError, match=said):
            turnbull(left, right)


class TestLogrank:
    def test_remission_data(self):
        """6-MP against placebo: chi-square 16.79 (standard text-book value, from memory)."""
        time = REMISSION["time"] + PLACEBO
        event = REMISSION["event"] + [1] * 21
        found = logrank(time, event, ["6-MP"] * 21 + ["placebo"] * 21)
        assert found.chi2 == pytest.approx(16.79, abs=0.005)
        assert found.df == 1

    def test_agrees_with_scipy(self):
        from scipy.stats import CensoredData
        from scipy.stats import logrank as theirs

        first = CensoredData.right_censored(REMISSION["time"], np.array(REMISSION["event"]) == 0)
        p = theirs(first, CensoredData(PLACEBO)).pvalue
        found = logrank(REMISSION["time"] + PLACEBO, REMISSION["event"] + [1] * 21, [0] * 21 + [1] * 21)
        assert found.p == pytest.approx(p, rel=1e-9)

    def test_three_groups_have_two_degrees(self):
        assert logrank([1, 2, 3, 4, 5, 6], [1] * 6, list("abcabc")).df == 2

    def test_one_group(self):
        assert logrank([1, 2], [1, 1], ["a", "a"]).reason == "needs two groups"

    def test_no_event(self):
        assert logrank([1, 2], [0, 0], ["a", "b"]).reason == "no event in any group"

    def test_event_other_than_yes_or_no(self):
        with pytest.raises(ValueError, match="event must be 0 or 1; got 3"):
            logrank([1, 2], [0, 3], ["a", "b"])

    def test_no_time_lies_before_the_start(self):
        with pytest.raises(ValueError, match="time must be at least 0"):
            logrank([1, -2], [1, 1], ["a", "b"])

    def test_two_is_no_event(self):
        with pytest.raises(ValueError, match="event must be 0 or 1; got 2"):
            logrank([1, 2], [1, 2], ["a", "b"])

    def test_every_unit_has_a_group(self):
        with pytest.raises(ValueError, match="same length; got time 2, event 2, group 1"):
            logrank([1, 2], [1, 1], ["a"])


def test_logrank_agrees_with_another_library_on_ties_and_several_groups():
    """statsmodels, seeded draws: the commands run without pandas, which it needs, so the test here is our own."""
    import numpy as np
    from statsmodels.duration.survfunc import survdiff

    draw = np.random.default_rng(4)
    for groups in (2, 3, 4):
        time, event = draw.integers(0, 12, 60), draw.integers(0, 2, 60)
        label = draw.integers(0, groups, 60)
        chi2, p = survdiff(time, event, label)
        found = logrank(time, event, label)

        assert (found.chi2, found.p) == (pytest.approx(chi2), pytest.approx(p))
