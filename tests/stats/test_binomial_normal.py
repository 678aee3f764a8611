"""The standard error of the mean logit of few small units, by an integral and differences of one's own."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit, logit
from scipy.stats import binom, norm

from registry.stats.binomial_normal import fit, units_with_trials, why_not


def minus_log_likelihood(x, n, mu, sd):
    """Each unit's binomial chance, averaged over its own normal amount between -9 and 9 deviations."""

    def chance(events, trials):
        return quad(
            lambda u: norm.pdf(u) * binom.pmf(events, trials, expit(mu + sd * u)), -9, 9, epsabs=1e-13
        )[0]

    return -sum(np.log(chance(events, trials)) for events, trials in zip(x, n, strict=True))


@pytest.mark.parametrize("x", [[0, 1, 7], [0, 2, 7]])
def test_the_standard_error_of_little_information(x):
    """Three units that differ widely: less than one unit of information on the mean.

    In one of the two drawings mean and spread rise together, in the other against one another.
    """
    n, step = [7, 3, 7], 0.02
    found = fit(*units_with_trials(x, n))
    near = {
        (i, j): minus_log_likelihood(x, n, found.mu + i * step, found.sd + j * step)
        for i in (-1, 0, 1)
        for j in (-1, 0, 1)
    }
    by_mu = (near[1, 0] - 2 * near[0, 0] + near[-1, 0]) / step**2
    by_sd = (near[0, 1] - 2 * near[0, 0] + near[0, -1]) / step**2
    by_both = (near[1, 1] - near[1, -1] - near[-1, 1] + near[-1, -1]) / (4 * step**2)

    assert by_mu < 1
    assert found.se_mu == pytest.approx((by_sd / (by_mu * by_sd - by_both**2)) ** 0.5, rel=2e-3)


@pytest.mark.parametrize(("x", "n"), [([1900, 2000, 2050, 2200], 4000), ([1, 60, 8000], 9000)])
def test_large_units_have_the_spread_of_the_highest_likelihood(x, n):
    """One Newton step from the spread that is found, by an integral of one's own, leads nowhere.

    Large units narrow the integrand to a small part of the range: it is cut there into pieces.
    """
    found = fit(*units_with_trials(x, [n] * len(x)))
    step = found.sd / 100

    def chance(events, sd):
        peak = (logit(events / n) - found.mu) / sd
        width = 1 / (sd * (events * (1 - events / n)) ** 0.5)
        pieces = np.unique(np.clip([0, *(peak + width * np.array([-8, -3, 0, 3, 8]))], -9, 9))
        return sum(
            quad(lambda u: norm.pdf(u) * binom.pmf(events, n, expit(found.mu + sd * u)), low, high, epsabs=0)[
                0
            ]
            for low, high in pairwise(pieces)
        )

    below, here, above = (
        -sum(np.log(chance(events, sd)) for events in x)
        for sd in (found.sd - step, found.sd, found.sd + step)
    )
    newton = step * (above - below) / 2 / (above - 2 * here + below)

    assert newton / found.sd == pytest.approx(0, abs=1e-3)


def test_a_unit_without_trials_is_refused():
    with pytest.raises(ValueError, match="^every unit needs trials; got one with 0$"):
        units_with_trials([0, 1], [0, 3])


def test_units_of_all_or_nothing_show_no_spread():
    assert why_not(*units_with_trials([0, 3, 4], [2, 3, 4])) == "every unit had all or nothing"
