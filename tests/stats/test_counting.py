"""Net counts where there are few or none: the conditional test by hand."""

from __future__ import annotations

from math import inf

import pytest
from scipy.stats import binom

from registry.stats.counting import net_rate


def test_without_a_count_nothing_speaks_for_tracer():
    """Any count is 0 or more: probability 1."""
    found = net_rate(0, 60, 5, 60)
    assert (found.p, found.detected) == (1.0, False)


def test_the_threshold_is_that_of_the_count_that_would_be_needed():
    """4 in the background, both of a minute: the fewest counts n with P(X >= n of n + 4 at 1/2) at most 5 %."""
    needed = next(n for n in range(1, 100) if binom.sf(n - 1, n + 4, 0.5) <= 0.05)
    found = net_rate(5, 60, 4, 60)
    assert found.decision_threshold == pytest.approx((needed - 4) / 60)


@pytest.mark.parametrize("seconds", [0, -1, inf])
def test_impossible_durations_are_named(seconds):
    with pytest.raises(ValueError, match="seconds must be above 0"):
        net_rate(5, seconds, 4)
    with pytest.raises(ValueError, match="background_seconds must be above 0"):
        net_rate(5, 60, 4, seconds)
