"""Needle geometry: hand arithmetic, closed forms, seeded simulation, a second integral."""

from __future__ import annotations

from math import erf, exp, inf, pi, sqrt
from typing import ClassVar

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import maxwell, ncx2, norm, rayleigh

from registry.targeting import (
    decompose_error,
    probability_within,
    radius_within,
    sampling_probability,
    slice_sd,
    sphere_cylinder_fraction,
    wedge_fraction,
)


class TestDecomposeError:
    def test_parts_by_hand(self):
        """Error (3, 4, 12): 13 long, 5 across z, 12 along it."""
        found = decompose_error([10, 20, 30], [13, 24, 42], "z")
        assert (found.total, found.lateral, found.depth) == pytest.approx((13, 5, 12))

    def test_unpacks_as_total_lateral_depth_motion(self):
        assert tuple(decompose_error([0, 0, 0], [3, 4, 12], "z", seen=[0, 0, 0])) == (13, 5, 12, 0)

    @pytest.mark.parametrize(
        ("axis", "lateral", "depth"), [("x", sqrt(160), 3), ("y", sqrt(153), 4), ("z", 5, 12)]
    )
    def test_each_axis(self, axis, lateral, depth):
        found = decompose_error([0, 0, 0], [3, 4, 12], axis)
        assert (found.lateral, found.depth) == pytest.approx((lateral, depth))

    def test_positive_is_deeper_whichever_way_the_needle_goes(self):
        """Advance towards minus: 2 mm short of the target at z = -40 is z = -38."""
        found = decompose_error([0, 0, -40], [0, 0, -38], "z", "minus")
        assert found.depth == pytest.approx(-2)

    def test_direction_not_given_reads_as_plus(self):
        assert decompose_error([0, 0, 0], [0, 0, 5], "z", None).depth == 5

    def test_target_seen_again_is_the_reference(self):
        """Target moved 1 mm deeper: 12 mm becomes 11, 13 becomes sqrt(25 + 121)."""
        found = decompose_error([0, 0, 0], [3, 4, 12], "z", seen=[0, 0, 1])
        assert (found.depth, found.total, found.motion) == pytest.approx((11, sqrt(146), 1))

    def test_motion_is_the_way_from_the_plan_to_where_it_was_seen(self):
        """Planned at (10, 20, 30), seen at (10, 22, 31): sqrt(4 + 1)."""
        found = decompose_error([10, 20, 30], [10, 20, 30], "z", seen=[10, 22, 31])
        assert found.motion == pytest.approx(sqrt(5))

    @pytest.mark.parametrize("seen", [None, [0, 0, None], [float("nan"), 0, 1]])
    def test_target_not_fully_seen_leaves_the_plan(self, seen):
        found = decompose_error([0, 0, 0], [3, 4, 12], "z", seen=seen)
        assert (found.depth, found.motion) == (12, None)

    def test_oblique_needle_has_no_parts(self):
        found = decompose_error([0, 0, 0], [3, 4, 12], "oblique")
        assert (found.total, found.lateral, found.depth) == (13, None, None)

    def test_oblique_needles_have_no_parts_one_by_one(self):
        found = decompose_error(np.zeros((2, 3)), [[3, 4, 12], [0, 3, 4]], "oblique")
        assert found.depth == pytest.approx([np.nan, np.nan], nan_ok=True)
        assert found.total == pytest.approx([13, 5])

    def test_point_not_recorded_has_no_error(self):
        found = decompose_error([0, 0, 0], [3, None, 12], "z", seen=[0, 3, 4])
        assert (found.total, found.lateral, found.depth, found.motion) == (None, None, None, 5)

    def test_many_procedures_at_once(self):
        found = decompose_error(np.zeros((2, 3)), [[3, 4, 12], [np.nan, 0, 0]], "z")
        assert found.total == pytest.approx([13, np.nan], nan_ok=True)
        assert found.depth == pytest.approx([12, np.nan], nan_ok=True)

    @pytest.mark.parametrize(
        ("arguments", "said"),
        [
            (([0, 0, 0], [1, 1, 1], "w"), "needle_axis must be x, y, z or oblique; got 'w'"),
            (([0, 0, 0], [1, 1, 1], "z", "up"), "needle_direction must be plus or minus; got 'up'"),
            (([0, 0], [1, 1], "z"), "planned must hold three coordinates"),
            (([0, 0, 0], [[1, 1, 1]], "z"), "one shape"),
            (([0, 0, "left"], [1, 1, 1], "z"), "planned must be coordinates"),
            (([[[0, 0, 0]]], [[[1, 1, 1]]], "z"), "planned must hold three coordinates"),
        ],
    )
    def test_impossible_input_is_named(self, arguments, said):
        with pytest.raises(ValueError, match=said):
            decompose_error(*arguments)

    def test_each_procedure_has_its_own_reference(self):
        """The first target was seen again 1 mm deeper, the second was not: 11 and 12 mm deeper, 5 across."""
        seen = [[0, 0, 1], [np.nan, 0, 0]]
        found = decompose_error(np.zeros((2, 3)), [[3, 4, 12], [3, 4, 12]], "z", seen=seen)
        assert found.depth == pytest.approx([11, 12])
        assert found.lateral == pytest.approx([5, 5])


class TestSlices:
    def test_uniform_within_the_slice(self):
        """Variance of a uniform place over 3.3 mm by integration."""
        variance = quad(lambda place: place**2 / 3.3, -1.65, 1.65)[0]
        assert slice_sd(3.3) == pytest.approx(sqrt(variance))

    @pytest.mark.parametrize(("thickness", "sd"), [(0, 0), (0.6, 0.6 / sqrt(12))])
    def test_thin_slices(self, thickness, sd):
        assert slice_sd(thickness) == pytest.approx(sd)

    @pytest.mark.parametrize("thickness", [-1, float("nan"), inf])
    def test_thickness_is_checked(self, thickness):
        with pytest.raises(ValueError, match="slice_mm must be 0 or more"):
            slice_sd(thickness)


class TestProbabilityWithin:
    def test_three_axes_alike(self):
        assert probability_within(5, 3) == pytest.approx(maxwell.cdf(5, scale=3))

    def test_two_axes_alike(self):
        assert probability_within(5, 3, (0, 0)) == pytest.approx(rayleigh.cdf(5, scale=3))

    def test_one_axis(self):
        """erf(r / (sigma sqrt 2))."""
        assert probability_within(2, 1.5, [0]) == pytest.approx(erf(2 / (1.5 * sqrt(2))))

    def test_bias_may_lie_anywhere(self):
        """Only its length matters where the axes are alike."""
        assert probability_within(5, 3, (2, 0, 0)) == pytest.approx(
            probability_within(5, [3, 3, 3], (0, sqrt(2), -sqrt(2)))
        )

    @pytest.mark.parametrize(
        ("sigma", "bias", "radius"),
        [((1, 2, 3), (1, -1, 2), 4), ((2, 2, 3), (0, 0, 0), 1), ((0.5, 2, 4), (3, 0, 1), 6)],
    )
    def test_unequal_axes_agree_with_the_characteristic_function(self, sigma, bias, radius):
        """Imhof 1961, Biometrika 48:419-426: inversion for a sum of weighted chi-squares."""
        weight = np.square(sigma).astype(float)
        shift = np.square(bias) / weight

        def integrand(u):
            scaled = weight * u
            angle = np.sum(np.arctan(scaled) + shift * scaled / (1 + scaled**2)) / 2 - radius**2 * u / 2
            damp = np.prod((1 + scaled**2) ** 0.25)
            return np.sin(angle) / (u * damp * exp(np.sum(shift * scaled**2 / (1 + scaled**2)) / 2))

        # the integrand falls like u^-2.5: the rest beyond 200 is below 1e-4 of its start
        value = quad(integrand, 1e-12, 200, limit=4000)[0]
        assert probability_within(radius, sigma, bias) == pytest.approx(0.5 - value / pi, abs=2e-5)

    def test_unequal_axes_nearly_alike_agree_with_the_chi_square(self):
        nearly = probability_within(5, (3, 3 + 1e-9, 3), (2, 1, 0))
        assert nearly == pytest.approx(probability_within(5, 3, (2, 1, 0)), abs=1e-9)

    def test_very_flat_spread(self):
        """Spread of 0.001 across leaves one axis: Phi(r) - Phi(-r)."""
        assert probability_within(1, (1, 0.001, 0.001)) == pytest.approx(2 * norm.cdf(1) - 1, abs=1e-5)

    def test_axis_without_spread_is_fixed_at_its_bias(self):
        """3 mm off for certain leaves sqrt(25 - 9) = 4 on the other axis."""
        assert probability_within(5, (0, 2), (3, 0)) == pytest.approx(2 * norm.cdf(2) - 1)
        assert probability_within(2, (0, 2), (3, 0)) == 0

    def test_lengths_in_another_unit_give_the_same_probability(self):
        """Everything a hundred times smaller: a narrow spread within a radius below 1."""
        large = probability_within(50, (2, 3), (40, 0))
        assert probability_within(0.5, (0.02, 0.03), (0.4, 0)) == pytest.approx(large, rel=1e-9)

    @pytest.mark.parametrize(("radius", "inside"), [(4.9, 0), (5, 1), (5.05, 1)])
    def test_no_spread_at_all(self, radius, inside):
        assert probability_within(radius, 0, (3, 4, 0)) == inside

    def test_arrays_of_radii(self):
        found = probability_within([1, 2], (1, 2), (0, 1))
        assert found == pytest.approx([probability_within(r, (1, 2), (0, 1)) for r in (1, 2)])

    def test_no_radius_holds_nothing(self):
        assert probability_within(0, 3) == 0

    @pytest.mark.parametrize(
        ("arguments", "said"),
        [
            ((-1, 3), "radius must be 0 or more"),
            (([1, -1], 3), "radius must be 0 or more"),
            ((1, -3), "sigma must be 0 or more"),
            ((1, (1, -3, 1)), "sigma must be 0 or more"),
            ((1, (1, 2)), "sigma must be one number or 3; got 2"),
            ((1, 1, (0, 0, 0, 0)), "1 to 3 axes"),
            ((1, 1, [[0, 0, 0]]), "1 to 3 axes"),
            ((1, 1, (0, float("nan"))), "bias must be finite"),
        ],
    )
    def test_impossible_input_is_named(self, arguments, said):
        with pytest.raises(ValueError, match=said):
            probability_within(*arguments)


class TestRadiusWithin:
    def test_turns_the_probability_back(self):
        for sigma, bias in ((3, (2, 0, 0)), ((1, 2, 3), (1, 0, -2))):
            radius = radius_within(0.95, sigma, bias)
            assert probability_within(radius, sigma, bias) == pytest.approx(0.95, abs=1e-9)

    def test_three_axes_without_bias_where_none_is_given(self):
        """The 95 % point of Maxwell's distribution, 2.7955 standard deviations."""
        assert radius_within(0.95, 3) == pytest.approx(maxwell.ppf(0.95, scale=3))

    def test_radius_below_a_millimetre(self):
        assert radius_within(0.95, 0.1) == pytest.approx(maxwell.ppf(0.95, scale=0.1))

    def test_one_axis_with_a_spread_is_enough(self):
        """Half of a normal error of 2 mm lies within 0.67449 standard deviations."""
        assert radius_within(0.5, (0, 2), (0, 0)) == pytest.approx(2 * norm.ppf(0.75))

    def test_bias_far_beyond_the_spread(self):
        """The squared length over sigma squared is chi-square, off centre by (3 / 0.5)^2."""
        expected = 0.5 * sqrt(ncx2.ppf(0.95, 3, 36))
        assert radius_within(0.95, 0.5, (3, 0, 0)) == pytest.approx(expected)

    @pytest.mark.parametrize("probability", [0, 1])
    def test_probability_is_checked(self, probability):
        with pytest.raises(ValueError, match="probability must lie between 0 and 1"):
            radius_within(probability, 1)

    def test_needs_a_spread(self):
        with pytest.raises(ValueError, match="sigma must be above 0"):
            radius_within(0.5, 0)


class TestSphereAndCylinder:
    def test_centred_closed_form(self):
        """1 - (1 - rho^2/R^2)^1.5 for rho 4, R 5: 1 - 0.36^1.5 = 0.784."""
        assert sphere_cylinder_fraction(5, 4) == pytest.approx(0.784)

    def test_window_alone_is_a_slab(self):
        """Slab of half width 2 in R 3: (3 * 9 * 2 - 8) / (2 * 27) = 46/54."""
        assert sphere_cylinder_fraction(3, 100, 0, 4) == pytest.approx(46 / 54)

    def test_window_to_one_side_is_a_cap(self):
        """Cap of height 1 of R 3: h^2 (3 R - h) / (4 R^3) = 8/108."""
        assert sphere_cylinder_fraction(3, 100, 1, (2, 9)) == pytest.approx(8 / 108)

    def test_window_and_offset_together(self):
        """Seeded simulation, 400,000 points in the sphere: four standard errors."""
        rng = np.random.default_rng(1)
        points = rng.uniform(-5, 5, (800_000, 3))
        points = points[(points**2).sum(axis=1) <= 25]
        inside = (np.hypot(points[:, 0] - 3, points[:, 1]) <= 4) & (np.abs(points[:, 2] - 1) <= 2)
        error = sqrt(inside.mean() * (1 - inside.mean()) / len(points))
        assert sphere_cylinder_fraction(5, 4, 3, (-1, 3)) == pytest.approx(inside.mean(), abs=4 * error)

    @pytest.mark.parametrize(("rho", "offset", "share"), [(8, 4, 1), (1, 9, 0), (0, 0, 0), (4, 7, 0)])
    def test_all_or_nothing(self, rho, offset, share):
        assert sphere_cylinder_fraction(3, rho, offset) == pytest.approx(share)

    def test_falls_with_the_offset(self):
        shares = [sphere_cylinder_fraction(5, 4, offset) for offset in np.linspace(0, 9, 30)]
        assert (np.diff(shares) <= 1e-12).all()

    @pytest.mark.parametrize(
        ("arguments", "said"),
        [
            ((0, 1), "sphere_radius must be above 0"),
            ((1, -1), "cylinder_radius must be 0 or more"),
            ((1, 1, -1), "lateral_offset must be 0 or more"),
            ((1, 1, 0, 0), "axial_window"),
            ((1, 1, 0, (2, 1)), "axial_window"),
        ],
    )
    def test_impossible_input_is_named(self, arguments, said):
        with pytest.raises(ValueError, match=said):
            sphere_cylinder_fraction(*arguments)


class TestWedge:
    def test_centred_lesion_gives_each_hour_a_twelfth(self):
        assert wedge_fraction(5, 4, 0, 12, [3]) == pytest.approx(0.784 / 12)

    def test_all_hours_give_the_cylinder(self):
        for offset in (1, 3, 6):
            whole = sphere_cylinder_fraction(5, 4, offset)
            assert wedge_fraction(5, 4, offset, 2, "all") == pytest.approx(whole, abs=1e-5)

    def test_hours_add_up(self):
        parts = [wedge_fraction(5, 4, 3, 2, [hour]) for hour in range(1, 13)]
        assert sum(parts) == pytest.approx(wedge_fraction(5, 4, 3, 2, "all"))

    def test_hour_towards_the_lesion_takes_most(self):
        parts = [wedge_fraction(5, 4, 3, 2, [hour]) for hour in range(1, 13)]
        assert np.argmax(parts) + 1 == 2

    def test_hours_lie_evenly_on_both_sides(self):
        left, right = wedge_fraction(5, 4, 3, 12, [10]), wedge_fraction(5, 4, 3, 12, [2])
        assert left == pytest.approx(right)

    def test_only_the_difference_of_hours_matters(self):
        there, here = wedge_fraction(5, 4, 3, 11, [12, 1]), wedge_fraction(5, 4, 3, 3, [4, 5])
        assert there == pytest.approx(here)

    def test_simulation_of_two_hours_with_a_window(self):
        """Seeded, lesion 3 mm towards 3 o'clock, hours 2 and 3 sampled: four standard errors.

        Clock angle runs from 12 o'clock: hours 2 and 3 are 45 to 105 degrees.
        """
        rng = np.random.default_rng(2)
        points = rng.uniform(-5, 5, (800_000, 3))
        points = points[(points**2).sum(axis=1) <= 25] + [3, 0, 0]
        clock = np.degrees(np.arctan2(points[:, 0], points[:, 1])) % 360
        inside = (clock >= 45) & (clock <= 105) & (np.hypot(points[:, 0], points[:, 1]) <= 4)
        inside &= np.abs(points[:, 2]) <= 3
        error = sqrt(inside.mean() * (1 - inside.mean()) / len(points))
        found = wedge_fraction(5, 4, 3, 3, [2, 3], axial_window=6)
        assert found == pytest.approx(inside.mean(), abs=4 * error)

    def test_hour_given_twice_counts_once(self):
        assert wedge_fraction(5, 4, 3, 3, [2, 2]) == wedge_fraction(5, 4, 3, 3, [2])

    def test_no_hour_samples_nothing(self):
        assert wedge_fraction(5, 4, 0, 12, []) == 0

    @pytest.mark.parametrize(
        ("hour", "hours", "said"),
        [
            (3, [0], "hours 1 to 12"),
            (3, [13], "hours 1 to 12"),
            (3, "most", "got 'most'"),
            (12.5, [1], "offset_hour"),
        ],
    )
    def test_impossible_input_is_named(self, hour, hours, said):
        with pytest.raises(ValueError, match=said):
            wedge_fraction(5, 4, 0, hour, hours)


class TestSamplingProbability:
    SHAPE = (5, 4, 20)
    ERROR: ClassVar[dict[str, object]] = {
        "sigma_lateral": 2.0,
        "sigma_depth": 6.0,
        "bias_lateral": 1.5,
        "bias_depth": 3.0,
    }

    def _simulated(self):
        rng = np.random.default_rng(3)
        size = 400_000
        points = rng.normal(size=(size, 3))
        points *= (5 * rng.random(size) ** (1 / 3) / np.linalg.norm(points, axis=1))[:, None]
        errors = rng.normal(size=(size, 3)) * [2, 2, 6] + [1.5, 0, 3]
        return points, errors

    def test_mean_share_agrees_with_simulation(self):
        points, errors = self._simulated()
        away = points - errors
        inside = (np.hypot(away[:, 0], away[:, 1]) <= 4) & (np.abs(away[:, 2]) <= 10)
        found = sampling_probability(*self.SHAPE, **self.ERROR).expected_fraction
        assert found == pytest.approx(inside.mean(), abs=4 * sqrt(0.25 / len(points)))

    def test_centre_agrees_with_simulation(self):
        _, errors = self._simulated()
        inside = (np.hypot(errors[:, 0], errors[:, 1]) <= 4) & (np.abs(errors[:, 2]) <= 10)
        found = sampling_probability(*self.SHAPE, **self.ERROR).centre_inside
        assert found == pytest.approx(inside.mean(), abs=4 * sqrt(0.25 / len(errors)))

    def test_touch_agrees_with_simulation(self):
        """Distance of the sphere's centre from the cylinder at most its radius."""
        _, errors = self._simulated()
        across = np.maximum(np.hypot(errors[:, 0], errors[:, 1]) - 4, 0)
        along = np.maximum(np.abs(errors[:, 2]) - 10, 0)
        touched = np.hypot(across, along) <= 5
        found = sampling_probability(*self.SHAPE, **self.ERROR).touched
        assert found == pytest.approx(touched.mean(), abs=4 * sqrt(0.25 / len(errors)))

    def test_small_error_gives_the_share_without_error(self):
        found = sampling_probability(5, 4, 6, sigma_lateral=0.01, sigma_depth=0.01, bias_lateral=2)
        assert found.expected_fraction == pytest.approx(sphere_cylinder_fraction(5, 4, 2, 6), abs=1e-3)

    def test_mean_share_is_not_the_share_at_the_mean_offset(self):
        """Concave near the middle: the error costs."""
        found = sampling_probability(5, 4, 1000, sigma_lateral=3, sigma_depth=1)
        assert found.expected_fraction < sphere_cylinder_fraction(5, 4) - 0.1

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"sigma_lateral": 0}, "sigma_lateral must be above 0"),
            ({"sigma_lateral": inf}, "sigma_lateral must be above 0"),
            ({"sigma_depth": -1}, "sigma_depth must be above 0"),
            ({"bias_depth": inf}, "bias_depth"),
            ({"bias_lateral": -1}, "lateral_offset"),
        ],
    )
    def test_impossible_input_is_named(self, change, said):
        with pytest.raises(ValueError, match=said):
            sampling_probability(*self.SHAPE, **(self.ERROR | change))
