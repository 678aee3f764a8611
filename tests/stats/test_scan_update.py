"""The scan as a test of having sampled the target: Bayes by hand, Beta by integration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import dblquad, quad
from scipy.stats import beta

from registry.stats.scan_update import residual_cancer, share, updated

MANY = 10**9
"""So many counts that a share is as good as known."""


def counts(rate: float) -> tuple[int, int]:
    return round(rate * MANY), MANY


def test_share_is_the_beta_posterior():
    found = share(3, 10)
    assert found.mean == pytest.approx(4 / 12)
    assert (found.lower, found.upper) == pytest.approx(beta(4, 8).ppf([0.025, 0.975]))


def test_without_counts_the_prior_answers():
    found = share(0, 0)
    assert (found.mean, found.lower, found.upper) == pytest.approx((0.5, 0.025, 0.975))


def test_update_by_hand():
    """0.6 before, seen in 90 % and 30 %: 0.54 / (0.54 + 0.12) = 9/11 after uptake, 0.06 / 0.34 without."""
    seen = updated(0.6, True, counts(0.9), counts(0.3))
    not_seen = updated(0.6, False, counts(0.9), counts(0.3))
    assert seen.mean == pytest.approx(9 / 11, abs=1e-4)
    assert not_seen.mean == pytest.approx(0.06 / 0.34, abs=1e-4)


def test_a_scan_of_which_nothing_is_known_widens_and_moves_little():
    """Uniform shares: mean of 0.5 a / (0.5 a + 0.5 b) is 1/2 by symmetry, limits far apart."""
    found = updated(0.5, True, (0, 0), (0, 0))
    assert found.mean == pytest.approx(0.5, abs=0.01)
    assert found.upper - found.lower > 0.8


def test_update_with_few_counts_agrees_with_integration():
    se, fp = beta(1 + 8, 1 + 2), beta(1 + 1, 1 + 3)
    expected = dblquad(
        lambda a, b: 0.7 * a / (0.7 * a + 0.3 * b) * se.pdf(a) * fp.pdf(b), 0, 1, 0, 1, epsabs=1e-6
    )[0]
    found = updated(0.7, True, (8, 10), (1, 4))
    # 20,000 draws of a spread below 0.2: three standard errors.
    assert found.mean == pytest.approx(expected, abs=3 * 0.2 / np.sqrt(20_000))


@pytest.mark.parametrize("before", [0.0, 1.0])
def test_certainty_is_not_moved(before: float):
    found = updated(before, True, (8, 10), (1, 4))
    assert (found.mean, found.lower, found.upper) == (before, before, before)


def test_residual_by_hand():
    """Yield 30 %, sampled with 80 %: 0.3 * 0.2 / (1 - 0.3 * 0.8) = 0.06 / 0.76."""
    assert residual_cancer(0.8, counts(0.3)).mean == pytest.approx(0.06 / 0.76, abs=1e-4)


def test_residual_after_the_scan_by_hand():
    """Sampled 9/11 after uptake (see above): 0.3 * 2/11 / (1 - 0.3 * 9/11) = 0.6 / 8.3."""
    found = residual_cancer(
        0.6, counts(0.3), uptake=True, seen_if_sampled=counts(0.9), seen_if_not=counts(0.3)
    )
    assert found.mean == pytest.approx(0.6 / 8.3, abs=1e-4)


def test_residual_without_any_count_agrees_with_integration():
    """Yield y and both shares uniform, 0.5 before the scan.

    The chance c = a / (a + b) of two uniform shares has density 1 / (2 max(c, 1 - c)^2), and
    the integral of y (1 - c) / (1 - y c) over y is (1 - c) (-log(1 - c) - c) / c^2.
    """
    expected = quad(
        lambda c: (1 - c) * (-np.log1p(-c) - c) / c**2 / (2 * max(c, 1 - c) ** 2), 0, 1, points=[0.5]
    )[0]
    found = residual_cancer(0.5, (0, 0), uptake=True)
    # 20,000 draws of a spread below 0.35: three standard errors.
    assert found.mean == pytest.approx(expected, abs=3 * 0.35 / np.sqrt(20_000))


def test_not_sampled_leaves_the_yield_and_sampled_leaves_nothing():
    assert residual_cancer(0.0, (30, 100)).mean == pytest.approx(31 / 102, abs=0.002)
    assert residual_cancer(1.0, (30, 100)).mean == 0


def test_credible_limits_of_the_residual_are_those_of_the_yield_where_nothing_was_sampled():
    found = residual_cancer(0.0, (3, 20))
    assert (found.lower, found.upper) == pytest.approx(beta(4, 18).ppf([0.025, 0.975]), abs=0.01)


def test_seeded_draws_give_the_same_answer_twice():
    assert updated(0.7, True, (8, 10), (1, 4)) == updated(0.7, True, (8, 10), (1, 4))


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: updated(1.2, True, (1, 2), (1, 2)), "sampled must be a probability; got 1.2"),
        (lambda: updated(0.5, True, (3, 2), (1, 2)), "events must lie in 0..trials; got 3 of 2"),
        (lambda: residual_cancer(0.5, (-1, 2)), "got -1 of 2"),
        (lambda: share(1, 2, confidence=1.0), "confidence"),
    ],
)
def test_impossible_input_is_named(ask, said: str):
    with pytest.raises(ValueError, match=said):
        ask()
