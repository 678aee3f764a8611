"""Chance per core over lesions: exact moments, and the beta-binomial fit where containers hold one core."""

from __future__ import annotations

import numpy as np
import pytest

from registry.stats.cores import core_chance, pattern_probability
from registry.stats.shrinkage import any_positive, beta_binomial


def test_no_positive_core_of_three():
    """p ~ Beta(2, 1): E(1-p)^3 = 2 * integral of p (1-p)^3 = 2 B(2, 4) = 1/10; so 0.90, not 1 - (1/3)^3 = 0.963."""
    assert pattern_probability(2, 1, [], 3) == pytest.approx(1 / 10)
    assert any_positive(2, 1, 3)[0] == pytest.approx(9 / 10)


def test_a_positive_container_beside_a_negative_one():
    """1-p ~ Beta(1, 2): E q^m = 2 / ((m+1)(m+2)); q^2 (1 - q^3) gives 2/12 - 2/42."""
    assert pattern_probability(2, 1, [3], 2) == pytest.approx(2 / 12 - 2 / 42)


def test_two_positive_containers():
    """(1 - q)(1 - q^2) = 1 - q - q^2 + q^3 gives 1 - 2/6 - 2/12 + 2/20."""
    assert pattern_probability(2, 1, [1, 2], 0) == pytest.approx(1 - 2 / 6 - 2 / 12 + 2 / 20)


@pytest.mark.parametrize(("a", "b"), [(0.05, 0.2), (40.0, 300.0)])
def test_all_patterns_of_two_containers_add_up_to_one(a, b):
    total = sum(
        pattern_probability(a, b, positive, negative)
        for positive, negative in (([], 7), ([3], 4), ([4], 3), ([3, 4], 0))
    )
    assert total == pytest.approx(1)


def lesions():
    """120 lesions of 3 to 11 cores, chance per core from Beta(0.5, 2), fixed seed."""
    rng = np.random.default_rng(3)
    chance = rng.beta(0.5, 2.0, 120)
    cores = rng.integers(3, 12, 120)
    return rng, cores, rng.binomial(cores, chance)


def test_one_core_a_container_is_the_beta_binomial_fit():
    """The other fit is checked against R; the two share no code but the search."""
    _, cores, positive = lesions()
    expected = beta_binomial(positive, cores)
    label = np.repeat(np.arange(120), cores)
    outcome = np.concatenate([[1] * x + [0] * (n - x) for x, n in zip(positive, cores, strict=True)])
    found = core_chance(label, np.ones(label.size), outcome)

    assert found.mean == pytest.approx(expected.mean, rel=1e-5)
    assert found.size == pytest.approx(expected.size, rel=1e-5)
    assert (found.lesions, found.containers) == (120, label.size)


def test_pooling_cores_in_pairs_leaves_the_chance_per_core():
    """2,000 lesions of four cores in two containers of two: the mean of Beta(0.5, 2) is 0.2, its size 2.5."""
    rng = np.random.default_rng(5)
    chance = np.repeat(rng.beta(0.5, 2.0, 2000), 2)
    positive = rng.binomial(2, chance) > 0
    found = core_chance(np.repeat(np.arange(2000), 2), np.full(4000, 2), positive.astype(int))

    assert found.mean == pytest.approx(0.2, abs=0.02)
    assert found.size == pytest.approx(2.5, abs=0.6)


def test_no_spread_between_lesions_is_said():
    """Two cores each, half of each lesion positive: less spread than chance."""
    found = core_chance(np.repeat(np.arange(30), 2), np.ones(60), [0, 1] * 30)

    assert found.size == np.inf
    assert found.mean == pytest.approx(0.5, abs=1e-3)
    assert found.reason == "the lesions show no spread beyond chance"


def test_lesions_whose_cores_always_agree_have_a_size_near_nothing():
    """Two cores of a lesion correlate by 1 / (1 + size): by 1 where both or none are positive."""
    found = core_chance(np.repeat(np.arange(20), 2), np.ones(40), [0] * 20 + [1] * 20)

    assert 1 / (1 + found.size) == pytest.approx(1, abs=0.01)
    assert found.mean == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(
    ("label", "cores", "positive", "reason"),
    [
        ([1, 1], [1, 1], [0, 1], "needs two lesions"),
        ([1, 2], [1, 1], [0, 0], "no container was positive"),
        ([1, 2], [1, 1], [1, 1], "every container was positive"),
    ],
)
def test_what_cannot_be_fitted_is_said(label, cores, positive, reason):
    found = core_chance(label, cores, positive)
    assert (found.mean, found.reason) == (None, reason)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: core_chance([1, 2], [1, 0], [0, 1]), "cores must be 1 or more; got 0"),
        (lambda: core_chance([1, 2], [1, 1], [0, 2]), "positive must be 0 or 1; got 2"),
        (lambda: core_chance([1, 2], [1, 1, 1], [0, 1]), "same length; got lesion 2, cores 3, positive 2"),
        (lambda: pattern_probability(0, 1, [], 1), "a and b must be above 0"),
        (lambda: pattern_probability(1, 0, [], 1), "a and b must be above 0"),
    ],
)
def test_impossible_input_is_named(call, said):
    with pytest.raises(ValueError, match=said):
        call()
