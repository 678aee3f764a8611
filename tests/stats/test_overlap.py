"""Shares of a sphere to many places: closed forms, integrals of one's own, and what is refused."""

from __future__ import annotations

from itertools import pairwise
from math import cos, inf, nan, pi, radians, sin, sqrt

import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import ncx2, norm

from registry.stats.overlap import (
    probability_at_least,
    sampling_probability,
    sphere_cylinder_fraction,
    wedge_fraction,
)


@pytest.mark.parametrize("height", [0.02, 0.1, 0.3])
def test_a_thin_cap_is_its_closed_form_to_many_places(height: float):
    """Cap of a sphere of 3: h^2 (3 R - h) / (4 R^3) of it."""
    found = sphere_cylinder_fraction(3, 100, 1, (3 - height, 9))
    assert found == pytest.approx(height**2 * (9 - height) / 108, rel=1e-11)


def test_no_more_than_all_of_a_sphere_is_inside():
    assert sphere_cylinder_fraction(5, 20, 3) == 1
    assert wedge_fraction(7, 100, 0, 12, "all") == 1


def test_an_error_leaves_no_more_than_all():
    """Everything is inside whatever the error; and of an end that lies as far off as the sphere reaches."""
    assert sampling_probability(2, 50, 100, sigma_lateral=1, sigma_depth=1).expected_fraction == 1
    assert sampling_probability(5, 50, 10, sigma_lateral=1, sigma_depth=0.5, bias_depth=5).touched == 1


def hour_of_a_cylinder(radius: float, rho: float, offset: float, hour: int) -> float:
    """Share of a sphere towards 12 o'clock in one hour: chords along the needle over distance and angle."""

    def chords(angle: float) -> float:
        reach = radius**2 - (offset * sin(angle)) ** 2
        start = max(0.0, offset * cos(angle) - sqrt(reach))
        stop = min(rho, offset * cos(angle) + sqrt(reach))
        square = lambda r: radius**2 - r**2 - offset**2 + 2 * r * offset * cos(angle)  # noqa: E731
        return quad(lambda r: 2 * r * sqrt(max(square(r), 0.0)), start, stop, epsabs=1e-12)[0]

    middle = radians(30 * hour)
    volume = quad(chords, middle - pi / 12, middle + pi / 12, epsabs=1e-10)[0]
    return volume / (4 / 3 * pi * radius**3)


@pytest.mark.parametrize(("rho", "offset"), [(4.0, 1.0), (4.5, 0.45)])
@pytest.mark.parametrize("hour", [6, 12])
def test_an_hour_is_its_integral_to_seven_places(rho: float, offset: float, hour: int):
    """On the side of the lesion and on the other the cylinder leaves the sphere at other depths."""
    found = wedge_fraction(5, rho, offset, 12, [hour])
    assert found == pytest.approx(hour_of_a_cylinder(5, rho, offset, hour), abs=3e-8)


def test_an_hour_of_a_cylinder_almost_as_wide_as_the_lesion_is_a_twelfth():
    """1 - (1 - 0.99^2)^1.5 of a sphere lies in a cylinder of 0.99 of its radius."""
    found = wedge_fraction(5, 4.95, 0, 12, [3])
    assert found == pytest.approx((1 - (1 - 0.99**2) ** 1.5) / 12, rel=1e-11)


def test_all_hours_named_one_by_one_are_all():
    """The centred closed form: 1 - (1 - 0.8^2)^1.5 = 0.784."""
    assert wedge_fraction(5, 4, 0, 12, range(1, 13)) == pytest.approx(0.784)


def test_hour_0_is_hour_12():
    assert wedge_fraction(5, 4, 3, 0, [2]) == pytest.approx(wedge_fraction(5, 4, 3, 12, [2]))


@pytest.mark.parametrize("depth", [-2.0, 2.0])
@pytest.mark.parametrize("rho", [1.0, 3.0])
def test_past_either_end_of_the_aperture_as_much_is_touched_as_the_sphere_reaches(rho: float, depth: float):
    """At e past an end of 5 a sphere of 5 reaches sqrt(25 - e^2) beyond the cylinder: Rice there."""

    def rice(z: float) -> float:
        reach = rho + sqrt(25 - max(abs(z) - 5, 0) ** 2)
        return ncx2.cdf((reach / 2) ** 2, 2, (3 / 2) ** 2)

    expected = quad(lambda z: norm.pdf(z, depth, 5) * rice(z), -10, 10, points=[-5, 5])[0]
    found = sampling_probability(5, rho, 10, sigma_lateral=2, sigma_depth=5, bias_lateral=3, bias_depth=depth)
    assert found.touched == pytest.approx(expected, abs=1e-6)


def chance_at_least(share, radius, rho, aperture, lateral, depth, off, along):
    """Rice's chance of the distance at which the share is left, over the depths at which it can be."""

    def left(z: float, distance: float) -> float:
        ends = (-aperture / 2 - z, aperture / 2 - z)
        return sphere_cylinder_fraction(radius, rho, distance, ends) - share

    def chance(z: float) -> float:
        distance = brentq(lambda d: left(z, d), 0, radius + rho, xtol=1e-12) if left(z, 0) > 0 else 0
        return ncx2.cdf((distance / lateral) ** 2, 2, (off / lateral) ** 2) * norm.pdf(z, along, depth)

    last, cut = brentq(lambda z: left(z, 0), 0, aperture / 2 + radius), aperture / 2 - radius
    first, final = max(-last, along - 9 * depth), min(last, along + 9 * depth)
    edges = [first, *(one for one in sorted({-cut, cut}) if first < one < final), final]
    return sum(quad(chance, start, stop, epsabs=1e-9)[0] for start, stop in pairwise(edges))


@pytest.mark.parametrize(
    "case",
    [
        # The aperture begins to cut where the depth is likeliest, at one end and at the other.
        (0.5, 3, 2.5, 14, 1.5, 0.5, 1.0, 4.0),
        (0.5, 3, 2.5, 14, 1.5, 0.5, 1.0, -4.0),
        # At most depths the share can no longer be reached.
        (0.5, 3, 2.5, 14, 1.5, 2.0, 1.0, 3.0),
        (0.6, 5, 4.9, 9.2, 1.0, 2.0, 0.5, 0.3),
    ],
)
def test_the_chance_of_a_share_is_its_integral_to_seven_places(case: tuple[float, ...]):
    share, radius, rho, aperture, lateral, depth, off, along = case
    found = probability_at_least(
        share,
        radius,
        rho,
        aperture,
        sigma_lateral=lateral,
        sigma_depth=depth,
        bias_lateral=off,
        bias_depth=along,
    )
    assert found == pytest.approx(chance_at_least(*case), abs=1e-7)


def test_the_chance_of_a_share_that_the_depth_alone_decides():
    """A sphere of 5, half an aperture of 4.6: half a millimetre off, 0.9 of its radius is cut off.

    The cap is 0.9^2 (15 - 0.9) / 500 of it, and on the other side nothing is.
    """
    share = 1 - 0.81 * 14.1 / 500
    found = probability_at_least(share, 5, 100, 9.2, sigma_lateral=1, sigma_depth=2, bias_depth=0.3)
    assert found == pytest.approx(norm.cdf(0.2 / 2) - norm.cdf(-0.8 / 2), abs=1e-7)


@pytest.mark.parametrize("radius", [inf, nan])
def test_a_sphere_has_an_end(radius: float):
    with pytest.raises(ValueError, match=f"^sphere_radius must be above 0; got {radius}$"):
        sphere_cylinder_fraction(radius, 1)


@pytest.mark.parametrize(
    ("rho", "offset", "said"),
    [(inf, 0, "cylinder_radius must be 0 or more"), (1, inf, "lateral_offset must be 0 or more")],
)
def test_a_cylinder_and_its_distance_have_an_end(rho: float, offset: float, said: str):
    with pytest.raises(ValueError, match=f"^{said}; got inf$"):
        sphere_cylinder_fraction(1, rho, offset)


@pytest.mark.parametrize("value", [0.0, inf])
@pytest.mark.parametrize("name", ["sigma_lateral", "sigma_depth"])
def test_a_chance_of_a_share_needs_errors(name: str, value: float):
    errors = {"sigma_lateral": 1.0, "sigma_depth": 1.0, name: value}
    with pytest.raises(ValueError, match=f"^{name} must be above 0; got {value}$"):
        probability_at_least(0.5, 5, 4, 20, **errors)


@pytest.mark.parametrize("value", [-inf, inf, nan])
def test_a_mean_error_along_the_needle_is_a_number(value: float):
    for found in (
        lambda **errors: sampling_probability(5, 4, 20, **errors),
        lambda **errors: probability_at_least(0.5, 5, 4, 20, **errors),
    ):
        with pytest.raises(ValueError, match=f"^bias_depth must be a finite number; got {value}$"):
            found(sigma_lateral=1.0, sigma_depth=1.0, bias_depth=value)
