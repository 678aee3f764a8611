"""Two releases of overlapping people: none of 100,000 pairs of filters shows 1 to 10 of them.

The attacker here is not the guard: it knows only which filter lies within which by their
definitions (ages, years, side), and the published numbers, and subtracts.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from registry.disclosure.cells import Rule, suppress
from registry.disclosure.differencing import Leak, Released, differences

UPTO = 10
PATIENTS, FILTERS = 800, 460  # 460 * 459 / 2 = 105,570 pairs


def released(*, total, shown=True, name="{}"):
    members = np.array(total, dtype=bool)[:, None]
    return Released((name,), members, np.array([shown]))


def people(count, of=40):
    return [number < count for number in range(of)]


def test_one_more_year_of_age_is_refused():
    """20 people, then the same and 3 more: the difference is 3."""
    assert differences(released(total=people(20)), released(total=people(23)), UPTO) == [Leak("{}", "{}", 3)]


def test_eleven_more_are_not():
    assert differences(released(total=people(20)), released(total=people(31)), UPTO) == []


def test_the_same_people_again_are_not():
    assert differences(released(total=people(20)), released(total=people(20)), UPTO) == []


def test_nobody_in_common_is_not():
    others = [not one for one in people(20)]

    assert differences(released(total=people(20)), released(total=others), UPTO) == []


def test_a_hidden_count_shown_by_the_next_table_is_refused():
    hidden = released(total=people(15), shown=False, name='{"a": "x"}')

    assert differences(hidden, released(total=people(15)), UPTO) == [Leak('{"a": "x"}', "{}", 0)]


def test_hidden_in_both_is_not():
    assert (
        differences(released(total=people(15), shown=False), released(total=people(18), shown=False), UPTO)
        == []
    )


@pytest.fixture(scope="module")
def cohort():
    """An invented cohort: age, year, side, and a result that every eighth or so has."""
    rng = np.random.default_rng(20260630)
    return {
        "age": rng.integers(30, 90, PATIENTS),
        "year": rng.integers(2019, 2026, PATIENTS),
        "side": rng.integers(0, 2, PATIENTS),
        "result": rng.choice(3, PATIENTS, p=[0.6, 0.27, 0.13]),
    }


@pytest.fixture(scope="module")
def filters():
    """(youngest, oldest, first year, last year, sides), many of them a year apart."""
    rng = np.random.default_rng(7)
    made = set()
    while len(made) < FILTERS:
        low = int(rng.integers(30, 60))
        first = int(rng.integers(2019, 2022))
        sides = [(0, 1), (0, 1), (0,), (1,)][int(rng.integers(4))]
        made.add((low, low + int(rng.integers(10, 40)), first, int(rng.integers(2023, 2026)), sides))
    return sorted(made)


def table(cohort, chosen):
    """The released table of a filter: results and their total, small ones hidden."""
    low, high, first, last, sides = chosen
    inside = (
        (cohort["age"] >= low)
        & (cohort["age"] <= high)
        & (cohort["year"] >= first)
        & (cohort["year"] <= last)
        & np.isin(cohort["side"], sides)
    )
    members = np.column_stack([inside & (cohort["result"] == level) for level in range(3)] + [inside])
    counts = suppress(members[:, :3].sum(axis=0)[None, :], Rule(UPTO))
    shown = ~counts.hidden[0]
    return Released(("0", "1", "2", "all"), members, shown), np.where(shown, counts.values[0], -1)


def lies_within(one, other):
    return (
        one[0] >= other[0]
        and one[1] <= other[1]
        and one[2] >= other[2]
        and one[3] <= other[3]
        and set(one[4]) <= set(other[4])
    )


def subtracted(small, large):
    """What the attacker reads off two tables of which one lies within the other."""
    both = (small >= 0) & (large >= 0)
    return [int(n) for n in (large - small)[both] if 0 < n <= UPTO]


def test_no_pair_of_a_hundred_thousand_leaks(cohort, filters):
    tables = [table(cohort, one) for one in filters]
    pairs = leaks = would_have = 0
    for i, j in itertools.combinations(range(len(filters)), 2):
        pairs += 1
        nested = [(a, b) for a, b in ((i, j), (j, i)) if lies_within(filters[a], filters[b])]
        shown = [n for a, b in nested for n in subtracted(tables[a][1], tables[b][1])]
        if shown:
            would_have += 1
            leaks += not differences(tables[i][0], tables[j][0], UPTO)

    assert pairs >= 100_000
    assert would_have > 500  # otherwise the attacker found nothing to look at
    assert leaks == 0


def test_releases_that_are_far_apart_pass(cohort, filters):
    """Refusing everything would pass the test above."""
    tables = [table(cohort, one)[0] for one in filters[:120]]
    passed = sum(
        not differences(tables[i], tables[j], UPTO) for i, j in itertools.combinations(range(120), 2)
    )

    assert passed > 1000
