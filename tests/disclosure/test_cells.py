"""Hidden cells of a table of counts: none can be pinned from what is published.

The audit is a linear programme of its own: all hidden cells, margins too, are unknowns of at
least 0, every row and column gives one equation, and each cell is made as small and as great
as they allow (the audit of Fischetti and Salazar, "Models and algorithms for the 2-dimensional
cell suppression problem", 1999: from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from registry.disclosure.cells import SMALLEST, Rule, bounds, rule_for_release, suppress, with_margins
from registry.errors import UsageProblem

RULE = Rule(10)


def audited(counts):
    """(cell, least, greatest) of each hidden cell, given all that is shown."""
    values, hidden = counts.values, counts.hidden
    cells = [tuple(one) for one in np.argwhere(hidden).tolist()]
    place = {cell: number for number, cell in enumerate(cells)}
    lines = [[(r, c) for c in range(values.shape[1])] for r in range(values.shape[0])]
    lines += [[(r, c) for r in range(values.shape[0])] for c in range(values.shape[1])]
    left, right = [], []
    for line in lines:
        row, known = np.zeros(len(cells)), 0
        for number, cell in enumerate(line):
            sign = -1 if number == len(line) - 1 else 1  # the last of a line is its total
            if cell in place:
                row[place[cell]] += sign
            else:
                known -= sign * values[cell]
        left.append(row)
        right.append(known)
    found = []
    for cell in cells:
        goal = np.zeros(len(cells))
        goal[place[cell]] = 1
        least = linprog(goal, A_eq=np.array(left), b_eq=right, method="highs")
        most = linprog(-goal, A_eq=np.array(left), b_eq=right, method="highs")
        assert least.status == 0
        found.append((cell, least.fun, -most.fun if most.status == 0 else np.inf))
    return found


def telling(counts, upto=10):
    """Hidden cells that may only be small, or of which fewer than ``upto`` + 1 values are possible."""
    return [one for one in audited(counts) if one[2] <= upto + 1e-6 or one[2] - one[1] < upto - 1e-6]


def test_the_audit_finds_what_primary_hiding_alone_gives_away():
    """One small cell of a table with margins follows by subtraction: 40 - 35 = 5."""
    values = with_margins([[35, 5], [40, 60]])
    counts = suppress([[35, 5], [40, 60]], Rule(0))
    only = type(counts)(values, (values > 0) & (values <= 10))

    assert telling(only) == [((0, 1), 5.0, 5.0)]


def test_a_lone_small_cell_takes_three_others_with_it():
    """Beside it in its row and its column, and the fourth that closes the ring.

    In the ring 5 may lie between 0 and 5 + min(35, 40) = 40: the table has 2 x 2 cells only.
    """
    counts = suppress([[35, 5], [40, 60]], RULE)

    assert counts.hidden.tolist() == [[True, True, False], [True, True, False], [False, False, False]]
    assert bounds(counts.values, counts.hidden, 0, 1) == (0, 40)


def test_zero_is_shown():
    counts = suppress([[0, 40], [60, 80]], RULE)

    assert not counts.hidden.any()


def test_a_small_margin_is_hidden_too():
    counts = suppress([[3, 4], [60, 80]], RULE)

    assert counts.shown(0, -1) is None
    assert telling(counts) == []


@pytest.mark.parametrize("count", [1, 10])
def test_one_to_ten_is_small(count):
    assert suppress([[count, 50], [50, 50]], RULE).hidden[0, 0]


def test_eleven_is_not():
    assert not suppress([[11, 50], [50, 50]], RULE).hidden.any()


def test_no_more_is_hidden_than_it_takes():
    """One column: 7 needs one other, the smallest (20); 27 in both may lie anywhere from 0 to 27."""
    counts = suppress([[200], [100], [50], [20], [7], [0]], RULE)

    assert counts.hidden[:, 0].tolist() == [False, False, False, True, True, False, False]
    assert bounds(counts.values, counts.hidden, 4, 0) == (0, 27)


def test_a_share_of_a_hidden_cell_or_total_is_hidden():
    counts = suppress([[35, 5], [40, 60]], RULE)

    assert counts.share(0, 1) is None
    assert suppress([[11, 50], [50, 50]], RULE).share(0, 0) == (11, 61)


def test_the_range_may_grow_and_not_shrink():
    assert rule_for_release(20).upto == 20
    with pytest.raises(UsageProblem, match="More may be hidden, not fewer"):
        rule_for_release(SMALLEST - 1)


@pytest.mark.parametrize("inner", [[], [[]], [[-1, 3]], [1, 2]])
def test_what_is_no_table_of_counts_is_refused(inner):
    with pytest.raises(UsageProblem, match="A table of counts"):
        with_margins(inner)


tables = st.tuples(st.integers(1, 5), st.integers(1, 5)).flatmap(
    lambda shape: st.lists(
        st.lists(st.one_of(st.integers(0, 15), st.integers(0, 300)), min_size=shape[1], max_size=shape[1]),
        min_size=shape[0],
        max_size=shape[0],
    )
)


@given(tables)
def test_no_hidden_cell_can_be_pinned(inner):
    assert telling(suppress(inner, RULE)) == []


@given(tables, st.integers(11, 30))
def test_nor_where_more_is_hidden(inner, upto):
    assert telling(suppress(inner, Rule(upto)), upto) == []


@given(tables)
def test_every_small_cell_is_hidden_and_every_zero_total_shown(inner):
    counts = suppress(inner, RULE)
    small = (counts.values > 0) & (counts.values <= 10)

    assert counts.hidden[small].all()


@given(tables)
def test_the_bounds_are_those_of_the_linear_programme(inner):
    counts = suppress(inner, RULE)
    for cell, least, most in audited(counts):
        low, high = bounds(counts.values, counts.hidden, *cell)
        assert low == pytest.approx(least, abs=1e-6)
        assert high == pytest.approx(most, abs=1e-6) or (most == np.inf and high > 10**7)
