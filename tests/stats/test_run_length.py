"""Run lengths of charts: by hand where one step decides, and the integral by another rule."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from registry.stats import run_length
from registry.stats.cusum import lattice_cusum_run_length
from registry.stats.run_length import binomial_cusum_arl, ewma_arl, normal_cusum_arl, poisson_cusum_arl


@pytest.mark.parametrize("rate", [0.5, 0.6])
def test_the_median_is_the_first_step_where_half_signal_at_once(rate):
    """m = 2, limit 1: the first event signals."""
    assert lattice_cusum_run_length(2, 1, rate).median == 1


@pytest.mark.parametrize(("longest", "median"), [(68, None), (69, 69)])
def test_the_search_for_the_median_ends_where_it_says(monkeypatch, longest, median):
    """The first event of 1 % signals: 0.99^68 = 0.505 and 0.99^69 = 0.4998; the mean is 1 / 0.01."""
    monkeypatch.setattr(run_length, "LONGEST", longest)
    found = lattice_cusum_run_length(2, 1, 0.01)
    assert found.median == median
    assert found.arl == pytest.approx(100)


def test_one_trial_a_step():
    """k = 1/2, h = 1/2: the first event signals, 1 / p."""
    assert binomial_cusum_arl(1, 0.5, 0.5, 0.2) == pytest.approx(5)


@pytest.mark.parametrize(("k", "shift"), [(0.0, 0.0), (0.0, 1.0), (0.5, 0.2)])
def test_a_normal_chart_without_height_judges_each_value_alone(k, shift):
    """Whatever exceeds k signals: 1 over the tail beyond k - shift."""
    assert normal_cusum_arl(k, 1e-7, shift) == pytest.approx(1 / norm.sf(k - shift), rel=1e-5)


def test_the_integral_equation_of_the_normal_chart_by_simpsons_rule():
    """L(u) = 1 + L(0) P(X < k - u) + integral over 0..h of L(x) phi(x + k - u), at 401 even places."""
    k, h, shift, size = 0.5, 4.0, 0.25, 401
    place = np.linspace(0, h, size)
    weight = np.where(np.arange(size) % 2, 4.0, 2.0) * h / (size - 1) / 3
    weight[[0, -1]] /= 2
    kernel = weight * norm.pdf(place[None, :] + k - place[:, None] - shift)
    kernel[:, 0] += norm.cdf(k - place - shift)
    expected = np.linalg.solve(np.eye(size) - kernel, np.ones(size))[0]
    assert normal_cusum_arl(k, h, shift) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: binomial_cusum_arl(2.5, 1, 1, 0.1), "n must be a whole number of 1 or more; got 2.5"),
        (lambda: binomial_cusum_arl(5, 1, 1, 1.0), "p must lie between 0 and 1"),
        (lambda: poisson_cusum_arl(1, 0, 1), "k and h must be above 0; got 1 and 0"),
        (lambda: ewma_arl(1.5, 3), "not above 1; got 1.5"),
    ],
)
def test_what_no_chart_can_have_is_named(call, said):
    with pytest.raises(ValueError, match=said):
        call()
