"""What must hold for every count, checked on all of them or on drawn ones."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.stats.clustering import clustered_wilson_interval, ratio_estimate
from registry.stats.comparison import (
    koopman_ratio,
    mee_difference,
    miettinen_nurminen_difference,
    miettinen_nurminen_ratio,
    newcombe_difference,
    newcombe_paired_difference,
    tango_difference,
)
from registry.stats.estimators import ESTIMATORS
from registry.stats.proportions import exact_interval, midp_interval, wilson_interval
from registry.stats.time_to_event import cumulative_incidence, kaplan_meier

repeatable = settings(derandomize=True, deadline=None, max_examples=40)

# Every count of every size up to 60: 1,890 pairs.
N = np.concatenate([np.full(n + 1, n) for n in range(1, 61)])
X = np.concatenate([np.arange(n + 1) for n in range(1, 61)])

intervals = pytest.mark.parametrize(
    "interval", [each.interval for each in ESTIMATORS.values()], ids=list(ESTIMATORS)
)
differences = pytest.mark.parametrize(
    "difference", [newcombe_difference, mee_difference, miettinen_nurminen_difference]
)
paired = pytest.mark.parametrize("difference", [tango_difference, newcombe_paired_difference])
ratios = pytest.mark.parametrize("ratio", [koopman_ratio, miettinen_nurminen_ratio])

Method = Callable[..., Any]


@intervals
class TestEveryCount:
    def test_limits_lie_inside_the_scale(self, interval: Method) -> None:
        lower, upper = interval(X, N)
        assert (lower >= 0).all()
        assert (upper <= 1).all()

    def test_estimate_lies_inside(self, interval: Method) -> None:
        lower, upper = interval(X, N)
        assert (lower <= X / N).all()
        assert (upper >= X / N).all()

    def test_lower_limit_rises_with_the_count(self, interval: Method) -> None:
        lower, _ = interval(X, N)
        assert (np.diff(lower)[np.diff(N) == 0] > 0).all()

    def test_upper_limit_rises_with_the_count(self, interval: Method) -> None:
        _, upper = interval(X, N)
        assert (np.diff(upper)[np.diff(N) == 0] > 0).all()

    def test_counting_the_others_mirrors_the_interval(self, interval: Method) -> None:
        lower, upper = interval(X, N)
        lower_others, upper_others = interval(N - X, N)
        np.testing.assert_allclose(lower, 1 - upper_others, rtol=0, atol=1e-15)
        np.testing.assert_allclose(upper, 1 - lower_others, rtol=0, atol=1e-15)

    def test_more_trials_at_the_same_fraction_narrow_the_interval(self, interval: Method) -> None:
        lower, upper = interval(X, N)
        lower_more, upper_more = interval(3 * X, 3 * N)
        assert (upper_more - lower_more < upper - lower).all()

    def test_higher_confidence_contains_lower(self, interval: Method) -> None:
        lower, upper = interval(X, N, 0.95)
        wider_lower, wider_upper = interval(X, N, 0.99)
        assert (wider_lower <= lower).all()
        assert (wider_upper >= upper).all()

    def test_ends_are_exact(self, interval: Method) -> None:
        sizes = np.arange(1, 61)
        assert (interval(np.zeros(60), sizes)[0] == 0).all()
        assert (interval(sizes, sizes)[1] == 1).all()

    def test_scalar_and_array_paths_agree(self, interval: Method) -> None:
        lower, upper = interval(X[:500], N[:500])
        one_by_one = np.array([interval(int(x), int(n)) for x, n in zip(X[:500], N[:500], strict=True)])
        np.testing.assert_allclose(np.column_stack([lower, upper]), one_by_one, rtol=0, atol=1e-15)

    def test_no_trials_give_no_interval(self, interval: Method) -> None:
        assert interval(0, 0) == (None, None)

    def test_no_trials_in_an_array_leave_the_rest_alone(self, interval: Method) -> None:
        lower, upper = interval([0, 3], [0, 10])
        assert np.isnan([lower[0], upper[0]]).all()
        assert (lower[1], upper[1]) == pytest.approx(interval(3, 10))

    def test_empty_arrays_stay_empty(self, interval: Method) -> None:
        lower, upper = interval([], [])
        assert (lower.size, upper.size) == (0, 0)

    @pytest.mark.parametrize(
        ("events", "trials", "offender"),
        [(-1, 10, "-1"), (11, 10, "11"), (2.5, 10, "2.5"), (1, 10.5, "10.5"), (float("nan"), 10, "nan")],
    )
    def test_impossible_counts_are_named(
        self, interval: Method, events: float, trials: float, offender: str
    ) -> None:
        with pytest.raises(ValueError, match=offender):
            interval(events, trials)

    @pytest.mark.parametrize("confidence", [0, 1, -0.1, 95])
    def test_impossible_confidence_is_named(self, interval: Method, confidence: float) -> None:
        with pytest.raises(ValueError, match=f"confidence.*{confidence}"):
            interval(1, 10, confidence)


def test_clopper_pearson_contains_midp() -> None:
    lower, upper = exact_interval(X, N)
    inner_lower, inner_upper = midp_interval(X, N)
    assert (lower <= inner_lower).all()
    assert (upper >= inner_upper).all()


def test_clopper_pearson_does_not_always_contain_wilson() -> None:
    """0/50: Wilson 1.96^2 / (50 + 1.96^2) = 0.0713, Clopper-Pearson 1 - 0.025^(1/50) = 0.0711."""
    assert wilson_interval(0, 50)[1] == pytest.approx(3.841459 / 53.841459, abs=1e-7)
    assert exact_interval(0, 50)[1] == pytest.approx(1 - 0.025 ** (1 / 50), abs=1e-12)
    assert wilson_interval(0, 50)[1] > exact_interval(0, 50)[1]


group = st.integers(1, 80).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@differences
class TestEveryDifference:
    @repeatable
    @given(first=group, second=group)
    def test_limits_enclose_the_estimate_on_the_scale(
        self, difference: Method, first: tuple[int, int], second: tuple[int, int]
    ) -> None:
        found = difference(*first, *second)
        lower, upper = found.ci
        assert -1 <= lower <= found.diff <= upper <= 1

    @repeatable
    @given(first=group, second=group)
    def test_swapping_the_groups_mirrors_the_interval(
        self, difference: Method, first: tuple[int, int], second: tuple[int, int]
    ) -> None:
        lower, upper = difference(*first, *second)
        assert tuple(difference(*second, *first)) == pytest.approx((-upper, -lower), abs=1e-9)

    @repeatable
    @given(first=group, second=group)
    def test_counting_the_others_mirrors_the_interval(
        self, difference: Method, first: tuple[int, int], second: tuple[int, int]
    ) -> None:
        (x1, n1), (x2, n2) = first, second
        lower, upper = difference(x1, n1, x2, n2)
        assert tuple(difference(n1 - x1, n1, n2 - x2, n2)) == pytest.approx((-upper, -lower), abs=1e-9)

    def test_a_group_without_trials_gives_a_reason(self, difference: Method) -> None:
        found = difference(0, 0, 1, 5)
        assert (found.diff, found.ci) == (None, (None, None))
        assert found.reason == "no trials in one of the groups"

    def test_counts_above_trials_are_refused(self, difference: Method) -> None:
        with pytest.raises(ValueError, match="6 of 5"):
            difference(6, 5, 1, 5)


@ratios
class TestEveryRatio:
    @repeatable
    @given(first=group, second=group)
    def test_swapping_the_groups_inverts_the_interval(
        self, ratio: Method, first: tuple[int, int], second: tuple[int, int]
    ) -> None:
        if first[0] == 0 or second[0] == 0:
            return
        lower, upper = ratio(*first, *second)
        assert tuple(ratio(*second, *first)) == pytest.approx((1 / upper, 1 / lower), rel=1e-8)

    @repeatable
    @given(first=group, second=group)
    def test_limits_enclose_the_estimate(
        self, ratio: Method, first: tuple[int, int], second: tuple[int, int]
    ) -> None:
        found = ratio(*first, *second)
        if first[0] == second[0] == 0:
            assert found.ratio is None
            assert found.reason == "no events in either group"
        else:
            assert 0 <= found.ci[0] <= found.ratio <= found.ci[1]

    def test_no_event_in_the_second_group_leaves_no_upper_end(self, ratio: Method) -> None:
        found = ratio(5, 10, 0, 10)
        assert found.ci[1] == np.inf
        assert found.ci[0] > 0


pairs = st.tuples(*[st.integers(0, 30)] * 4).filter(lambda cells: sum(cells) > 0)


@paired
class TestEveryPairedDifference:
    @repeatable
    @given(cells=pairs)
    def test_limits_enclose_the_estimate_on_the_scale(
        self, difference: Method, cells: tuple[int, ...]
    ) -> None:
        found = difference(*cells)
        assert -1 <= found.ci[0] <= found.diff + 1e-12
        assert found.diff - 1e-12 <= found.ci[1] <= 1

    @repeatable
    @given(cells=pairs)
    def test_swapping_the_readers_mirrors_the_interval(
        self, difference: Method, cells: tuple[int, ...]
    ) -> None:
        a, b, c, d = cells
        lower, upper = difference(a, b, c, d)
        assert tuple(difference(a, c, b, d)) == pytest.approx((-upper, -lower), abs=1e-9)

    def test_without_discordant_pairs_the_interval_is_not_a_point(self, difference: Method) -> None:
        lower, upper = difference(12, 0, 0, 8)
        assert lower < 0 < upper

    def test_no_pairs_give_a_reason(self, difference: Method) -> None:
        assert difference(0, 0, 0, 0).reason == "no pairs"


patient = st.integers(1, 8).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
clusters = st.lists(patient, min_size=2, max_size=40)


@repeatable
@given(patients=clusters)
def test_clustered_interval_encloses_the_proportion(patients: list[tuple[int, int]]) -> None:
    y, n = zip(*patients, strict=True)
    lower, upper = clustered_wilson_interval(y, n)
    assert 0 <= lower <= sum(y) / sum(n) <= upper <= 1


@repeatable
@given(patients=clusters)
def test_clustered_interval_is_never_narrower_than_the_plain_one(patients: list[tuple[int, int]]) -> None:
    y, n = zip(*patients, strict=True)
    lower, upper = clustered_wilson_interval(y, n)
    plain_lower, plain_upper = wilson_interval(sum(y), sum(n))
    assert lower <= plain_lower + 1e-12
    assert upper >= plain_upper - 1e-12


@repeatable
@given(patients=clusters)
def test_order_of_the_patients_does_not_matter(patients: list[tuple[int, int]]) -> None:
    forward, backward = (ratio_estimate(*zip(*order, strict=True)) for order in (patients, patients[::-1]))
    assert (forward.p, forward.se) == pytest.approx((backward.p, backward.se))


follow_up = st.lists(st.tuples(st.integers(0, 30), st.integers(0, 2)), min_size=1, max_size=60)


@repeatable
@given(units=follow_up)
def test_incidences_and_survival_add_up_to_one(units: list[tuple[int, int]]) -> None:
    """At every time a unit has had cause 1, cause 2 or neither."""
    time, status = zip(*units, strict=True)
    at = np.arange(32)
    first = cumulative_incidence(time, status, at, cause=1).incidence
    second = cumulative_incidence(time, status, at, cause=2).incidence
    neither = kaplan_meier(time, [int(each > 0) for each in status], at).S
    np.testing.assert_allclose(first + second + neither, 1.0, atol=1e-12)


@repeatable
@given(units=follow_up)
def test_without_competing_events_incidence_is_one_minus_survival(units: list[tuple[int, int]]) -> None:
    time, status = zip(*units, strict=True)
    event = [int(each == 1) for each in status]
    at = np.arange(32)
    survival, incidence = kaplan_meier(time, event, at), cumulative_incidence(time, event, at)
    np.testing.assert_allclose(incidence.incidence, 1 - survival.S, atol=1e-12)
    np.testing.assert_allclose(incidence.se, survival.se, atol=1e-7)


@repeatable
@given(units=follow_up)
def test_incidence_is_never_above_one_minus_survival_that_censors_the_competitor(
    units: list[tuple[int, int]],
) -> None:
    """Gooley et al 1999, Stat Med 18:695-706 (from memory): the latter is biased upward."""
    time, status = zip(*units, strict=True)
    at = np.arange(32)
    honest = cumulative_incidence(time, status, at).incidence
    naive = 1 - kaplan_meier(time, [int(each == 1) for each in status], at).S
    assert (honest <= naive + 1e-12).all()
