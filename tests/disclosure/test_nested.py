"""Counts of overlapping people shown together: an attacker who adds and subtracts finds none of 1 to 10.

The attacker solves by least squares, not by the orthogonal basis of the code under test.
"""

from __future__ import annotations

import numpy as np
import pytest

from registry.disclosure.nested import let_through

UPTO = 10


def first(count, of=100):
    return np.arange(of) < count


def group(*counts):
    return np.stack(counts, axis=1)


@pytest.mark.parametrize(("inner", "shown"), [(70, True), (69, False), (60, False), (59, True)])
def test_what_is_left_of_seventy(inner, shown):
    """70 - 60 = 10 is small, 70 - 59 = 11 is not, and the same 70 again leave nobody."""
    assert let_through([group(first(70)), group(first(inner))], UPTO) == (True, shown)


def test_counts_of_others_may_be_close():
    """40 people and 38 others: the difference is of nobody."""
    others = ~first(40) & first(78)

    assert let_through([group(first(40)), group(others)], UPTO) == (True, True)


def test_a_sum_of_several_is_seen():
    """All are 100; the parts are 30, 30 and 36: together they leave 4, no pair does."""
    a, b, c = first(30), first(60) & ~first(30), first(96) & ~first(60)
    four = ~first(96)

    assert let_through([group(first(100)), group(a), group(b), group(c), group(four)], UPTO) == (
        True,
        True,
        True,
        False,
        False,
    )


def test_without_a_rule_all_is_shown():
    assert let_through([group(first(3)), group(first(2))], 0) == (True, True)


@pytest.mark.parametrize("seed", range(20))
def test_no_attacker_finds_a_small_count(seed):
    random = np.random.default_rng(seed)
    ages = random.integers(0, 60, 400)
    # Two that leave 5, whatever is drawn.
    groups = [group(first(205, 400)), group(first(200, 400))]
    groups += [group(ages < random.integers(1, 61)) for _ in range(12)]
    groups += [group((ages >= low) & (ages < low + 15)) for low in random.integers(0, 45, 12).tolist()]

    shown = let_through(groups, UPTO)

    every = np.hstack(groups)
    known = np.hstack([one for one, is_shown in zip(groups, shown, strict=True) if is_shown]).astype(float)
    tried = 0
    for i in range(every.shape[1]):
        for inside in (np.zeros(400, dtype=bool), *every.T):
            few = every[:, i] & ~inside
            if (inside & ~every[:, i]).any() or not 1 <= few.sum() <= UPTO:
                continue
            tried += 1
            solved = np.linalg.lstsq(known, few.astype(float), rcond=None)[0]
            assert np.abs(known @ solved - few).max() > 1e-4
    assert tried
    assert sum(shown) > 3
