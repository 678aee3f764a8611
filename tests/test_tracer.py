"""Decay, counting and uptake: published half-lives, hand arithmetic, exact sums."""

from __future__ import annotations

from datetime import date
from math import exp, log, sqrt
from typing import ClassVar

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import binom, norm, poisson

from registry.stats.rates import exact_rate_interval
from registry.tracer import (
    HALF_LIFE_MIN,
    decay_factor,
    effective_dose,
    half_life_source,
    net_rate,
    scan_average_factor,
    source_activity,
    specimen_uptake,
)


class TestHalfLife:
    def test_fluorine(self):
        """European Pharmacopoeia, table 5.7."""
        assert HALF_LIFE_MIN["F-18"] == 109.77

    def test_technetium(self):
        """6.0072(9) h: ENSDF evaluation, Nuclear Data Sheets 145 (2017); within its uncertainty."""
        assert HALF_LIFE_MIN["Tc-99m"] / 60 == pytest.approx(6.0072, abs=0.0009)

    def test_germanium_is_kept_in_minutes(self):
        """270.95(16) d: ENSDF evaluation; ICRP Publication 107."""
        assert HALF_LIFE_MIN["Ge-68"] == pytest.approx(270.95 * 24 * 60)

    def test_every_nuclide_names_its_source(self):
        assert all(half_life_source(nuclide) for nuclide in HALF_LIFE_MIN)

    def test_is_a_mapping(self):
        assert set(HALF_LIFE_MIN) == {"F-18", "Tc-99m", "Ga-68", "Ge-68"}
        assert len(HALF_LIFE_MIN) == 4

    def test_unknown_nuclide_lists_the_known(self):
        with pytest.raises(ValueError, match="no half-life for 'I-124'; known: F-18, Tc-99m"):
            decay_factor("I-124", 1)


class TestDecay:
    @pytest.mark.parametrize(
        ("minutes", "left"), [(30, 0.82743), (60, 0.68463), (90, 0.56648), (120, 0.46872), (180, 0.32090)]
    )
    def test_fluorine(self, minutes, left):
        """2^(-t / 109.77), five digits by hand."""
        assert decay_factor("F-18", minutes) == pytest.approx(left, abs=5e-6)

    def test_half_is_left_after_a_half_life(self):
        assert decay_factor("Ga-68", HALF_LIFE_MIN["Ga-68"]) == pytest.approx(0.5)

    def test_nothing_is_lost_at_once(self):
        assert decay_factor("F-18", 0) == 1

    def test_arrays(self):
        assert decay_factor("F-18", [0, 109.77]) == pytest.approx([1, 0.5])

    @pytest.mark.parametrize("minutes", [-1, float("nan")])
    def test_time_before_the_reference_is_refused(self, minutes):
        with pytest.raises(ValueError, match="minutes must be"):
            decay_factor("F-18", minutes)

    @pytest.mark.parametrize(
        ("minutes", "factor"),
        [(30, 1.20857), (60, 1.46064), (90, 1.76528), (120, 2.13346), (180, 3.11621)],
    )
    def test_back_to_the_injection(self, minutes, factor):
        """2^(t / 109.77), five digits by hand."""
        assert 1 / decay_factor("F-18", minutes) == pytest.approx(factor, abs=5e-6)

    @pytest.mark.parametrize(("minutes", "apart"), [(60, 0.00015), (240, 0.0006)])
    def test_another_evaluation_of_the_half_life_hardly_matters(self, minutes, apart):
        """1.8288 h = 109.728 min in a comparison of standards: 0.68453 left after 60 min, 0.015 % less."""
        other = 0.5 ** (minutes / 109.728)
        assert 1 - other / decay_factor("F-18", minutes) == pytest.approx(apart, rel=0.05)


class TestExpectedActivity:
    """A core of 0.1 g, 185 MBq in 70 kg: ratio times 185/70 kBq/g times 0.1 g, decayed."""

    @pytest.mark.parametrize(("ratio", "minutes", "bq"), [(3, 0, 793), (3, 90, 449), (1, 90, 150)])
    def test_one_core(self, ratio, minutes, bq):
        assert 1000 * ratio * 185 / 70 * 0.1 * decay_factor("F-18", minutes) == pytest.approx(bq, abs=0.5)

    def test_the_scan_of_twelve_cores_gives_the_ratio_back(self):
        """12 cores at ratio 3 hold 5.39 kBq after 90 min, counted at 10 per s and kBq.

        In 600 s the activity falls by the scan factor 1.03190: 5.3897 * 10 * 600 / 1.03190 counts.
        """
        counts = round(12 * 0.449140 * 10 * 600 / 1.03190)
        found = specimen_uptake(
            counts, 600, 0, mass_g=1.2, calibration_cps_per_kbq=10, nuclide="F-18",
            minutes_since_injection=90, activity_mbq=185, body_mass_kg=70,
        )  # fmt: skip
        assert found.ratio == pytest.approx(3, rel=2e-4)


class TestScanAverage:
    @pytest.mark.parametrize(("minutes", "factor"), [(2, 1.00633), (5, 1.01587), (10, 1.03190)])
    def test_fluorine(self, minutes, factor):
        """lambda T / (1 - exp(-lambda T)), five digits by hand."""
        assert scan_average_factor("F-18", 60 * minutes) == pytest.approx(factor, abs=5e-6)

    def test_turns_the_mean_rate_into_the_first(self):
        """Mean of exp(-lambda t) over 20 minutes of Ga-68, by integration."""
        decay = log(2) / HALF_LIFE_MIN["Ga-68"]
        mean = quad(lambda t: exp(-decay * t), 0, 20)[0] / 20
        assert scan_average_factor("Ga-68", 1200) * mean == pytest.approx(1)

    def test_no_duration_needs_no_correction(self):
        assert scan_average_factor("F-18", 0) == 1

    def test_arrays(self):
        assert scan_average_factor("F-18", [0, 600]) == pytest.approx([1, 1.03190], abs=5e-6)

    def test_negative_duration_is_refused(self):
        with pytest.raises(ValueError, match="seconds must be at least 0; got -5"):
            scan_average_factor("F-18", -5)


class TestNetRate:
    """1,000 counts in 60 s against 800 in 60 s."""

    def test_rate_and_uncertainty(self):
        """200/60; sqrt(1800)/60 = 0.7071."""
        found = net_rate(1000, 60, 800, 60)
        assert (found.net_rate, found.standard_uncertainty) == pytest.approx((10 / 3, sqrt(1800) / 60))

    def test_decision_threshold(self):
        """1.6449 * sqrt(800/60 * (1/60 + 1/60)) = 1.6449 * sqrt(1600)/60."""
        found = net_rate(1000, 60, 800, 60)
        assert found.decision_threshold == pytest.approx(1.644853627 * 40 / 60)

    def test_detection_limit(self):
        """With alpha = beta: 2 y* + k^2 / t."""
        found = net_rate(1000, 60, 800, 60)
        expected = 2 * found.decision_threshold + 1.644853627**2 / 60
        assert found.detection_limit == pytest.approx(expected)

    def test_detection_limit_of_unequal_errors_solves_its_equation(self):
        """y = y* + k_beta * sqrt(y / t + r0 (1/t + 1/t0))."""
        found = net_rate(1000, 60, 1600, 120, alpha=0.01, beta=0.1)
        y = found.detection_limit
        spread = sqrt(y / 60 + 1600 / 120 * (1 / 60 + 1 / 120))
        assert y == pytest.approx(found.decision_threshold + norm.ppf(0.9) * spread)

    @pytest.mark.parametrize(("counts", "detected"), [(865, False), (866, True)])
    def test_decision(self, counts, detected):
        """Net 65 and 66 counts against 1.6449 * 40 = 65.8."""
        assert net_rate(counts, 60, 800, 60).detected is detected

    def test_background_time_is_the_same_where_not_given(self):
        assert net_rate(1000, 60, 800) == net_rate(1000, 60, 800, 60)

    def test_interval_far_from_zero_is_the_normal_one(self):
        found = net_rate(1000, 60, 500, 60)
        half = 1.959964 * sqrt(1500) / 60
        assert found.ci == pytest.approx((500 / 60 - half, 500 / 60 + half), abs=1e-6)

    def test_interval_near_zero_holds_the_whole_of_what_is_positive(self):
        """Normal density above 0 only: 95 % of it inside, 2.5 % on either side."""
        found = net_rate(810, 60, 800, 60)
        rate = norm(10 / 60, sqrt(1610) / 60)
        kept = rate.sf(0)
        assert (rate.cdf(found.ci[1]) - rate.cdf(found.ci[0])) / kept == pytest.approx(0.95)
        assert rate.sf(found.ci[1]) / kept == pytest.approx(0.025)
        assert found.ci[0] > 0

    def test_p_is_the_conditional_probability(self):
        assert net_rate(60, 30, 80, 60).p == pytest.approx(binom.sf(59, 140, 1 / 3))

    def test_method_is_named(self):
        assert net_rate(1000, 60, 800, 60).method == "ISO 11929"
        assert net_rate(1000, 60, 19, 60).method == "exact Poisson"
        assert net_rate(1000, 60, 20, 60).method == "ISO 11929"


class TestFewCounts:
    @pytest.mark.parametrize(("counts", "detected"), [(4, False), (5, True)])
    def test_empty_background_needs_five(self, counts, detected):
        """0.5^5 = 0.031 <= 0.05 < 0.5^4."""
        assert net_rate(counts, 60, 0, 60).detected is detected

    @pytest.mark.parametrize(("alpha", "needed"), [(0.5, 1), (0.25, 2), (0.2, 3), (0.1, 4)])
    def test_an_empty_background_needs_the_power_of_one_half_that_reaches_alpha(self, alpha, needed):
        """0.5^k <= alpha: each count falls on either side with one half."""
        below, at = (net_rate(counts, 60, 0, 60, alpha=alpha).detected for counts in (needed - 1, needed))
        assert (below, at) == (False, True)

    def test_detection_limit_counts_the_background_in(self):
        """Background 3: P(at most 3 of 13) = 378/8192 <= 0.05 < P(at most 3 of 12) = 299/4096, so 10 counts."""
        limit = net_rate(0, 60, 3, 60).detection_limit
        assert poisson.sf(9, (limit + 3 / 60) * 60) == pytest.approx(0.95)

    def test_a_short_scan(self):
        """5 counts in half a second less 1 in half a second: 8 a second."""
        assert net_rate(5, 0.5, 1, 0.5).net_rate == pytest.approx(8)

    def test_threshold_is_the_rate_of_the_count_needed(self):
        assert net_rate(0, 60, 0, 60).decision_threshold == pytest.approx(5 / 60)

    def test_detection_limit_reaches_that_count_often_enough(self):
        """P(5 or more) at the limit is 0.95."""
        limit = net_rate(0, 60, 0, 60).detection_limit
        assert poisson.sf(4, limit * 60) == pytest.approx(0.95)

    def test_one_count_more_than_background_is_no_tracer(self):
        found = net_rate(2, 60, 1, 60)
        assert (found.detected, found.p) == (False, pytest.approx(0.5))

    def test_no_counts_have_an_upper_limit(self):
        """Background none as well: Garwood's 3.6889 over 60 s."""
        found = net_rate(0, 60, 0, 60)
        assert found.ci == (0, pytest.approx(3.688879 / 60, abs=1e-7))

    def test_interval_from_the_limits_of_both_counts(self):
        """Square and add, by hand with Garwood's limits of 15 in 60 s and 4 in 120 s."""
        found = net_rate(15, 60, 4, 120)
        low, high = exact_rate_interval(15, 60)
        empty_low, empty_high = exact_rate_interval(4, 120)
        rate, empty = 15 / 60, 4 / 120
        below = sqrt((rate - low) ** 2 + (empty_high - empty) ** 2)
        above = sqrt((high - rate) ** 2 + (empty - empty_low) ** 2)
        assert found.ci == pytest.approx((rate - empty - below, rate - empty + above))

    def test_false_alarms_stay_at_or_below_alpha(self):
        """Exact sum over both counts, no tracer, mean 6 in each: a theorem of the test."""
        chance = poisson.pmf(np.arange(20), 6)
        alarms = sum(
            chance[gross] * chance[empty]
            for gross in range(20)
            for empty in range(20)
            if net_rate(gross, 60, empty, 60).detected
        )
        assert alarms <= 0.05


@pytest.mark.parametrize(
    ("arguments", "options", "said"),
    [
        ((-1, 60, 0), {}, "counts must be at least 0"),
        ((1.5, 60, 0), {}, "counts must be whole numbers"),
        ((1, 0, 0), {}, "seconds must be above 0"),
        ((1, 60, -2), {}, "background_counts must be at least 0"),
        ((1, 60, 0, 0), {}, "background_seconds must be above 0"),
        ((1, 60, 0), {"alpha": 0}, "alpha must lie between 0 and 1"),
        ((1, 60, 0), {"beta": 1}, "beta must lie between 0 and 1"),
        ((1, 60, 0), {"confidence": 95}, "confidence"),
    ],
)
def test_impossible_counts_are_named(arguments, options, said):
    with pytest.raises(ValueError, match=said):
        net_rate(*arguments, **options)


class TestSpecimenUptake:
    GIVEN: ClassVar[dict[str, object]] = {
        "mass_g": 0.5,
        "calibration_cps_per_kbq": 20.0,
        "nuclide": "F-18",
        "minutes_since_injection": 109.77,
        "activity_mbq": 140.0,
        "body_mass_kg": 70.0,
    }

    def test_concentration_by_hand(self):
        """(3000 - 600)/300 = 8 per s over 20 and 0.5 g: 0.8 kBq/g; doubled back one half-life;

        scan of 5 min: 1.01587.
        """
        found = specimen_uptake(3000, 300, 600, **self.GIVEN)
        assert found.concentration == pytest.approx(0.8 * 2 * 1.01587, rel=5e-6)

    def test_ratio_to_injected_activity_per_mass(self):
        """140 MBq in 70 kg are 2 kBq per g."""
        found = specimen_uptake(3000, 300, 600, **self.GIVEN)
        assert found.ratio == pytest.approx(found.concentration / 2)

    def test_interval_scales_with_the_net_rate(self):
        found = specimen_uptake(3000, 300, 600, **self.GIVEN)
        per_rate = found.ratio / found.net.net_rate
        assert found.ci == pytest.approx([limit * per_rate for limit in found.net.ci])
        assert found.concentration_ci == pytest.approx([2 * limit for limit in found.ci])

    def test_interval_is_narrower_at_a_lower_confidence(self):
        """Far from zero the interval is the normal one: half widths as 1.6449 to 1.9600."""
        wide, narrow = (specimen_uptake(3000, 300, 600, **self.GIVEN, confidence=c).ci for c in (0.95, 0.9))
        share = (narrow[1] - narrow[0]) / (wide[1] - wide[0])
        assert share == pytest.approx(norm.ppf(0.95) / norm.ppf(0.975))

    def test_published_order_of_magnitude(self):
        """185 MBq, 70 kg, ratio 3, 0.1 g: 793 Bq at injection, by hand 3 * 185/70 * 0.1 kBq.

        Built back: 0.793 kBq at 10 per s and kBq, decayed 90 min, is 4.49 per s.
        """
        counts = round(0.7929 * 10 * 0.566483 * 1000)
        found = specimen_uptake(
            counts, 1000, 0, mass_g=0.1, calibration_cps_per_kbq=10, nuclide="F-18",
            minutes_since_injection=90, activity_mbq=185, body_mass_kg=70,
        )  # fmt: skip
        assert found.ratio == pytest.approx(3 * scan_average_factor("F-18", 1000), rel=1e-3)

    def test_a_threshold_turns_into_a_ratio(self):
        """Ratio over net rate: 0.8 kBq/g doubled, times 1.01587, over 2 kBq/g, from 8 per s."""
        found = specimen_uptake(3000, 300, 600, **self.GIVEN)
        assert found.ratio_per_rate == pytest.approx(0.8 * 1.01587 / 8, rel=5e-6)

    def test_half_life_used_is_recorded(self):
        assert specimen_uptake(3000, 300, 600, **self.GIVEN).half_life_min == 109.77

    @pytest.mark.parametrize("name", ["mass_g", "calibration_cps_per_kbq", "activity_mbq", "body_mass_kg"])
    @pytest.mark.parametrize("value", [0, -1, float("nan"), float("inf")])
    def test_impossible_input_is_named(self, name, value):
        with pytest.raises(ValueError, match=f"{name} must be above 0"):
            specimen_uptake(3000, 300, 600, **(self.GIVEN | {name: value}))

    def test_scan_before_injection_is_refused(self):
        with pytest.raises(ValueError, match="minutes must be at least 0"):
            specimen_uptake(3000, 300, 600, **(self.GIVEN | {"minutes_since_injection": -5}))


class TestSource:
    @pytest.mark.parametrize(("days", "left"), [(30, 0.92612), (90, 0.79434), (365, 0.39308)])
    def test_germanium(self, days, left):
        """2^(-d / 270.95), five digits by hand."""
        day = date.fromordinal(date(2026, 1, 1).toordinal() + days)
        assert source_activity("Ge-68", 10, date(2026, 1, 1), day) == pytest.approx(10 * left, abs=5e-5)

    def test_reference_day(self):
        assert source_activity("Ge-68", 10, date(2026, 1, 1), date(2026, 1, 1)) == 10

    def test_day_before_the_reference_is_refused(self):
        with pytest.raises(ValueError, match="must not lie before the reference day; got -1 days"):
            source_activity("Ge-68", 10, date(2026, 1, 2), date(2026, 1, 1))

    @pytest.mark.parametrize("activity", [0, -1, float("inf")])
    def test_activity_is_checked(self, activity):
        with pytest.raises(ValueError, match="activity must be above 0; got"):
            source_activity("Ge-68", activity, date(2026, 1, 1), date(2026, 1, 1))

    def test_a_weak_source_in_a_large_unit(self):
        """Half of 0.5 mCi is left after the 270.95 days of the half-life, here rounded to 271."""
        left = source_activity("Ge-68", 0.5, date(2026, 1, 1), date(2026, 9, 29))
        assert left == pytest.approx(0.25, rel=2e-4)


class TestDose:
    @pytest.mark.parametrize(("activity", "msv"), [(185, 3.5), (370, 7.0)])
    def test_glucose(self, activity, msv):
        """0.019 mSv/MBq (ICRP)."""
        assert effective_dose("F-18 FDG", activity).msv == pytest.approx(msv, abs=0.05)

    def test_sestamibi(self):
        """9.0E-03 mSv/MBq at rest (ICRP publications 80 and 128): 740 MBq are 6.66 mSv."""
        assert effective_dose("Tc-99m sestamibi", 740).msv == pytest.approx(6.66)

    def test_coefficient_is_named(self):
        found = effective_dose("F-18 FDG", 185)
        assert (found.coefficient_msv_per_mbq, found.source) == (
            0.019,
            "ICRP coefficient for adults",
        )

    def test_tracer_without_a_coefficient(self):
        with pytest.raises(ValueError, match="no dose coefficient for 'other'"):
            effective_dose("other", 100)

    def test_negative_activity_is_refused(self):
        with pytest.raises(ValueError, match="activity_mbq must be at least 0"):
            effective_dose("F-18 FDG", -1)
