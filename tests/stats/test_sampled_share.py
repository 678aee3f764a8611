"""Share of a target inside: closed forms, another integral, and a simulation of its own."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import numpy as np
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
from registry.stats.sampled_share import MANY, ONE, Placed, Rule, Sectors, _spread, sampled_shares

#: Radius, aperture, place across (two) and along, standard deviations across (two) and along.
_EXAMPLES = np.array(
    [
        [5.0, 20.0, 1.0, 2.0, 1.0, 1.5, 1.5, 2.0],
        [8.0, 12.0, -3.0, 0.5, 4.0, 2.0, 2.0, 1.0],
        [3.0, 20.0, 0.6, -0.4, 0.0, 1.0, 1.0, 1.0],
        [6.0, 12.0, 4.0, -4.0, -7.0, 2.5, 2.5, 2.5],
    ]
)
RADII = np.array([[2.0] * 4, [3.5] * 4, [5.0] * 4])


def placed(rows: np.ndarray = _EXAMPLES) -> Placed:
    return Placed(*(np.array(column) for column in rows.T))


def exactly(rows: np.ndarray = _EXAMPLES) -> Placed:
    """The same places without error."""
    found = placed(rows)
    none = np.zeros(found.size)
    return replace(found, sd_first=none, sd_second=none, sd_along=none)


def window(one: np.ndarray) -> tuple[float, float]:
    return -one[4] - one[1] / 2, -one[4] + one[1] / 2


@pytest.mark.parametrize(("rule", "within"), [(MANY, 0.015), (ONE, 0.0015)])
def test_without_error_the_share_is_the_closed_integral(rule: Rule, within: float):
    found = sampled_shares(exactly(), RADII, 0.5, rule=rule).expected
    expected = [
        [sphere_cylinder_fraction(one[0], rho, np.hypot(one[2], one[3]), window(one)) for one in _EXAMPLES]
        for rho in RADII[:, 0]
    ]
    assert found == pytest.approx(np.array(expected), abs=within)


@pytest.mark.parametrize(("rule", "within"), [(MANY, 0.02), (ONE, 0.002)])
def test_mean_share_agrees_with_quadrature_where_both_directions_err_alike(rule: Rule, within: float):
    found = sampled_shares(placed(), RADII, 0.5, rule=rule).expected
    expected = [
        [
            sampling_probability(
                one[0],
                rho,
                one[1],
                sigma_lateral=one[5],
                sigma_depth=one[7],
                bias_lateral=np.hypot(one[2], one[3]),
                bias_depth=one[4],
            ).expected_fraction
            for one in _EXAMPLES
        ]
        for rho in RADII[:, 0]
    ]
    assert found == pytest.approx(np.array(expected), abs=within)


@pytest.mark.parametrize("share", [0.1, 0.5])
def test_probability_agrees_with_quadrature_within_its_own_error(share: float):
    found = sampled_shares(placed(), RADII, share, rule=ONE)
    expected = np.array(
        [
            [
                probability_at_least(
                    share,
                    one[0],
                    rho,
                    one[1],
                    sigma_lateral=one[5],
                    sigma_depth=one[7],
                    bias_lateral=np.hypot(one[2], one[3]),
                    bias_depth=one[4],
                )
                for one in _EXAMPLES
            ]
            for rho in RADII[:, 0]
        ]
    )
    # Eight repeats tell their spread roughly: six times the error, and what the rings add.
    assert (np.abs(found.probability - expected) <= 6 * found.probability_error + 0.003).all()


def test_probability_with_a_long_aperture_is_that_of_one_distance():
    """Without ends the share falls with the distance alone: Rice's distribution at one distance."""
    furthest = brentq(lambda r: sphere_cylinder_fraction(5, 4, r) - 0.5, 0, 9)
    expected = ncx2.cdf((furthest / 2) ** 2, 2, (1.5 / 2) ** 2)
    found = probability_at_least(0.5, 5, 4, 1000, sigma_lateral=2, sigma_depth=1, bias_lateral=1.5)
    assert found == pytest.approx(expected, abs=1e-6)


def test_a_precise_depth_at_the_end_of_the_aperture_touches_as_a_step():
    """Along the needle 10 of 10 +- 0.01: half lies short of the end, and past it nothing changes yet."""
    found = sampling_probability(5, 4, 20, sigma_lateral=2, sigma_depth=0.01, bias_depth=10)
    assert found.touched == pytest.approx(ncx2.cdf((9 / 2) ** 2, 2, 0), abs=1e-5)
    assert found.centre_inside == pytest.approx(ncx2.cdf((4 / 2) ** 2, 2, 0) / 2, abs=1e-6)


@pytest.mark.parametrize("aperture", [11.0, 1000.0])
@pytest.mark.parametrize("furthest", [0.5, 3.0])
def test_probability_without_bias_is_that_of_rayleigh(furthest: float, aperture: float):
    """The share that is left at one distance is reached within it: 1 - exp(-(distance / sigma)^2 / 2).

    An aperture of 11 cuts nothing off a sphere of 5 that is 0.5 off at most, ten deviations here.
    """
    share = sphere_cylinder_fraction(5, 4, furthest)
    found = probability_at_least(share, 5, 4, aperture, sigma_lateral=2, sigma_depth=0.05)
    assert found == pytest.approx(1 - np.exp(-((furthest / 2) ** 2) / 2), abs=1e-6)


def test_any_of_a_lesion_is_touched_within_both_radii_where_the_aperture_has_no_end():
    """Rice's distribution at 2 + 3, one and a half off, spread 2."""
    found = sampling_probability(3, 2, 1000, sigma_lateral=2, sigma_depth=1, bias_lateral=1.5)
    assert found.touched == pytest.approx(ncx2.cdf((5 / 2) ** 2, 2, (1.5 / 2) ** 2), abs=1e-6)


def test_past_the_end_of_the_aperture_as_much_is_touched_as_the_sphere_reaches():
    """At a depth e past an end of 5 a sphere of 5 reaches sqrt(25 - e^2) around the needle: Rice there."""
    rice = lambda z: ncx2.cdf((25 - max(abs(z) - 5, 0) ** 2) / 0.5**2, 2, (3 / 0.5) ** 2)  # noqa: E731
    expected = quad(lambda z: norm.pdf(z, 1, 5) * rice(z), -10, 10, points=[-5, 5])[0]
    found = sampling_probability(5, 0, 10, sigma_lateral=0.5, sigma_depth=5, bias_lateral=3, bias_depth=1)
    assert found.touched == pytest.approx(expected, abs=1e-6)


def test_probability_of_all_of_a_small_lesion_in_a_wide_cylinder():
    """All of a sphere of 2 lies in a cylinder of 50 when its ends are 2 inside: |depth| <= 8 of 10."""
    found = probability_at_least(1.0, 2, 50, 20, sigma_lateral=1, sigma_depth=5, bias_depth=3)
    assert found == pytest.approx(norm.cdf((8 - 3) / 5) - norm.cdf((-8 - 3) / 5), abs=1e-4)


def test_small_targets_and_short_apertures_by_hand():
    """Radius 0.5 in a cylinder as wide, aperture 0.5: the slab |z| <= R / 2 has 3/4 - 1/16 of a sphere.

    A cylinder of no width holds nothing.
    """
    row = np.array([[0.5, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]])
    found = sampled_shares(placed(row), np.array([[0.0], [0.5]]), 0.5).expected
    assert found[:, 0] == pytest.approx([0.0, 11 / 16], abs=0.005)


def test_a_target_that_lies_inside_whatever_the_error_is_sampled_whole():
    """Radius 2, spread 1, in a cylinder of 20 and an aperture of 40."""
    row = np.array([[2.0, 40.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0]])
    found = sampled_shares(placed(row), np.array([[20.0]]), 1.0)
    assert (found.probability[0, 0], found.probability_error[0, 0]) == (1.0, 0.0)


def test_numerical_error_is_the_standard_error_over_the_repeats():
    """1, 2, 3 and 4: variance 5/3, over the root of 4."""
    repeated = np.array([[[1.0], [2.0], [3.0], [4.0]], [[5.0]] * 4])
    assert _spread(repeated) == pytest.approx(np.array([[sqrt(5 / 3) / 2], [0.0]]))


@pytest.mark.parametrize("share", [0.0, 1.1])
def test_a_share_out_of_range_is_named(share: float):
    with pytest.raises(ValueError, match="share must lie above 0, at most 1"):
        probability_at_least(share, 5, 4, 20, sigma_lateral=1, sigma_depth=1)


# -- sectors ---------------------------------------------------------------------------------


def clock(hour: float) -> float:
    """Angle from hour 3 towards hour 12, in degrees."""
    return 90.0 - 30.0 * hour


def sectors(*hours: int) -> Sectors:
    """Each hour as a sector of its own, the same for all targets."""
    start = np.array([[clock(hour) - 15.0 for hour in hours]] * 4)
    return Sectors(start, np.full_like(start, 30.0))


@pytest.mark.parametrize("hours", [(3,), (12, 1, 2, 3), (6, 9), tuple(range(1, 9))])
def test_hours_agree_with_the_integral_over_hours(hours: tuple[int, ...]):
    found = sampled_shares(exactly(), RADII, 0.5, sectors(*hours), ONE).expected
    expected = []
    for rho in RADII[:, 0]:
        row = []
        for one in _EXAMPLES:
            towards = (90.0 - np.degrees(np.arctan2(one[3], one[2]))) / 30.0 % 12.0
            offset = np.hypot(one[2], one[3])
            row.append(wedge_fraction(one[0], rho, offset, towards, hours, axial_window=window(one)))
        expected.append(row)
    assert found == pytest.approx(np.array(expected), abs=0.003)


def test_one_wide_sector_is_its_hours_one_by_one():
    """Hours 1 to 8 are 240 degrees: more than half a turn."""
    apart = sampled_shares(placed(), RADII, 0.5, sectors(*range(1, 9)))
    start = np.full((4, 1), clock(8) - 15.0)
    whole = sampled_shares(placed(), RADII, 0.5, Sectors(start, np.full((4, 1), 240.0)))
    assert whole.expected == pytest.approx(apart.expected, abs=1e-4)


def test_twelve_hours_are_the_whole_cylinder():
    around = sampled_shares(placed(), RADII, 0.5)
    assert sampled_shares(placed(), RADII, 0.5, sectors(*range(1, 13))).expected == pytest.approx(
        around.expected, abs=1e-4
    )


def test_a_whole_turn_is_the_whole_cylinder():
    turn = Sectors(np.full((4, 1), 70.0), np.full((4, 1), 360.0))
    around = sampled_shares(placed(), RADII, 0.5)
    assert sampled_shares(placed(), RADII, 0.5, turn).expected == pytest.approx(around.expected, abs=1e-4)


def test_a_narrow_sector_is_its_part_of_a_target_around_the_needle():
    """Centred on the needle every direction is alike: half a degree is 1/720 of the whole."""
    row = np.array([[3.0, 20.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]])
    narrow = Sectors(np.array([[20.0]]), np.array([[0.5]]))
    found = sampled_shares(placed(row), np.array([[5.0]]), 0.5, narrow).expected
    assert found[0, 0] == pytest.approx(1 / 720, abs=1e-5)


def test_a_sector_that_is_not_there_adds_nothing():
    one = sectors(3)
    padded = Sectors(
        np.hstack([one.start, np.full((4, 1), np.nan)]), np.hstack([one.width, np.full((4, 1), np.nan)])
    )
    assert sampled_shares(placed(), RADII, 0.5, padded).expected == pytest.approx(
        sampled_shares(placed(), RADII, 0.5, one).expected
    )


def test_unequal_errors_and_hours_agree_with_simulation():
    """Seeded: 1,500 errors, the exact share at each; hours 2 and 3, spread 1, 3 and 2 mm: four standard errors."""
    rng = np.random.default_rng(7)
    shares = []
    for x, y, z in rng.normal(size=(1500, 3)) * [1, 3, 2] + [1.5, 1.0, 3.0]:
        towards = (90.0 - np.degrees(np.arctan2(y, x))) / 30.0 % 12.0
        shares.append(wedge_fraction(5, 4, np.hypot(x, y), towards, [2, 3], axial_window=(-z - 10, -z + 10)))
    row = np.array([[5.0, 20.0, 1.5, 1.0, 3.0, 1.0, 3.0, 2.0]])
    cut = Sectors(np.array([[clock(3) - 15.0]]), np.array([[60.0]]))
    found = sampled_shares(placed(row), np.array([[4.0]]), 0.15, cut, ONE)
    reached = np.mean(np.array(shares) >= 0.15)
    assert found.expected[0, 0] == pytest.approx(np.mean(shares), abs=4 * np.std(shares) / sqrt(1500))
    assert found.probability[0, 0] == pytest.approx(reached, abs=4 * sqrt(reached * (1 - reached) / 1500))


# -- shapes ----------------------------------------------------------------------------------


def test_no_targets_give_no_shares():
    none = placed(np.empty((0, 8)))
    assert sampled_shares(none, np.empty((3, 0)), 0.5).expected.shape == (3, 0)


def test_many_targets_are_worked_out_as_one_by_one():
    """More than the chunk that is worked out at once."""
    rows = np.repeat(_EXAMPLES, 40, axis=0)
    many = sampled_shares(placed(rows), np.full((1, 160), 3.5), 0.5).expected
    one = sampled_shares(placed(), np.full((1, 4), 3.5), 0.5).expected
    assert many == pytest.approx(np.repeat(one, 40, axis=1), abs=1e-6)


def test_the_same_question_has_the_same_answer():
    first, second = (sampled_shares(placed(), RADII, 0.5).probability for _ in range(2))
    assert (first == second).all()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"sphere_radius": np.zeros(4)}, "must be above 0"),
        ({"aperture_length": np.zeros(4)}, "must be above 0"),
        ({"sd_along": np.full(4, -1.0)}, "sd_along must be finite numbers, 0 or more"),
        ({"first": np.full(4, np.nan)}, "first must be finite numbers"),
        ({"second": np.zeros(3)}, r"second must have shape \(4,\)"),
    ],
)
def test_impossible_targets_are_named(change: dict[str, np.ndarray], said: str):
    with pytest.raises(ValueError, match=said):
        sampled_shares(replace(placed(), **change), RADII, 0.5)


@pytest.mark.parametrize(
    ("radii", "share", "rule", "said"),
    [
        (-RADII, 0.5, MANY, "cylinder_radii must be 0 or more"),
        (RADII[:, :2], 0.5, MANY, "cylinder_radii"),
        (RADII[0], 0.5, MANY, "cylinder_radii"),
        (RADII, 0.0, MANY, "at_least must lie above 0"),
        (RADII, 1.1, MANY, "at_least must lie above 0, at most 1; got 1.1"),
        (RADII, 0.5, Rule(across=20), "Fibonacci"),
        (RADII, 0.5, Rule(repeats=1), "repeats 2 or more"),
    ],
)
def test_impossible_questions_are_named(radii: np.ndarray, share: float, rule: Rule, said: str):
    with pytest.raises(ValueError, match=said):
        sampled_shares(placed(), radii, share, rule=rule)


def test_two_repeats_are_enough_to_tell_their_spread():
    found = sampled_shares(placed(), RADII, 0.5, rule=Rule(repeats=2))
    assert np.isfinite(found.expected_error).all()


@pytest.mark.parametrize(
    ("start", "width", "said"),
    [
        (np.zeros((4, 1)), np.full((4, 1), 361.0), "at most 360 degrees"),
        (np.zeros((4, 1)), np.array([[30.0], [0.0], [30.0], [30.0]]), "above 0, at most 360 degrees"),
        (np.zeros((4, 1)), np.array([[30.0], [361.0], [30.0], [30.0]]), "above 0, at most 360 degrees"),
        (np.zeros((4, 1)), np.full((4, 2), 30.0), "one row per target"),
        (np.zeros((3, 1)), np.full((3, 1), 30.0), "one row per target"),
    ],
)
def test_impossible_sectors_are_named(start: np.ndarray, width: np.ndarray, said: str):
    with pytest.raises(ValueError, match=said):
        sampled_shares(placed(), RADII, 0.5, Sectors(start, width))
