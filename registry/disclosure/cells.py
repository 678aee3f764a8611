"""Tables of counts that leave: small cells hidden, and all that would give them away.

What is guaranteed of a table of two dimensions with its margins: whoever knows everything
published, and that no count is negative, finds for **every hidden cell** that it may reach
above the hidden range (so it cannot be shown to be small) and that it may take at least as
many further values as the range has (``upto`` + 1 different counts, 11 for cells of 1 to
10). No hidden cell can be pinned. The bounds are exact: a table with margins is a network,
in which the most that a cell can grow or shrink is a maximum flow, and every bound is
reached by whole numbers. ``tests/disclosure`` audits them again by linear programming.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_flow

from registry.errors import UsageProblem
from registry.numerals import grouped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

SMALLEST = 10
"""Cells of 1 to so many are hidden; a service may set more, not fewer."""
HIDDEN = "\u2013"
#: More than any flow that matters: what is not bounded by a count.
_UNBOUNDED = 10**8


@dataclass(frozen=True)
class Rule:
    """Whether cells are hidden, and up to which count; ``upto`` 0 hides nothing."""

    upto: int

    def is_small(self, count: int) -> bool:
        """Whether a count is a small cell; nobody is not."""
        return 0 < count <= self.upto

    def hides(self, x: int, n: int) -> bool:
        """Whether x of n gives a small cell away: x, the rest, or all of them."""
        return self.is_small(x) or self.is_small(n - x) or self.is_small(n)

    def count(self, number: int) -> str:
        """A count, or the sign in its place."""
        return HIDDEN if self.is_small(number) else grouped(number)

    @property
    def words(self) -> str:
        """What a reader is told."""
        if not self.upto:
            return ""
        return f"To be shared: counts of 1 to {self.upto}, and rates, intervals and inner cells that would give one away, are left out ({HIDDEN})."


def rule_for_release(upto: int = SMALLEST) -> Rule:
    """The rule for what leaves the service.

    Raises
    ------
    UsageProblem
        Fewer would be hidden than the smallest range.
    """
    if upto < SMALLEST:
        raise UsageProblem(
            f"Cells of 1 to {upto} hidden: that is fewer than 1 to {SMALLEST}, the least that is hidden in what leaves. "
            "More may be hidden, not fewer."
        )
    return Rule(upto)


@dataclass(frozen=True)
class Counts:
    """A table with its margins: ``values`` (rows + 1, columns + 1), the last row and column are totals.

    ``hidden`` has the same shape.
    """

    values: NDArray[np.int64]
    hidden: NDArray[np.bool_]

    def shown(self, row: int, column: int) -> int | None:
        """A count, None where it is hidden."""
        return None if self.hidden[row, column] else int(self.values[row, column])

    def share(self, row: int, column: int) -> tuple[int, int] | None:
        """Count and total of its row, from which a percentage or interval may be made; None where either is hidden."""
        x, n = self.shown(row, column), self.shown(row, -1)
        return None if x is None or n is None else (x, n)


def with_margins(inner: Sequence[Sequence[int]] | NDArray[np.int64]) -> NDArray[np.int64]:
    """A table of counts with its totals as last row and column.

    Raises
    ------
    UsageProblem
        It is no table, or holds a negative count.
    """
    cells = np.asarray(inner, dtype=np.int64)
    if cells.ndim != 2 or not cells.size or (cells < 0).any():
        raise UsageProblem("A table of counts has rows and columns, and no count below 0.")
    rows = np.hstack([cells, cells.sum(axis=1, keepdims=True)])
    return np.vstack([rows, rows.sum(axis=0, keepdims=True)])


def suppress(
    inner: Sequence[Sequence[int]] | NDArray[np.int64],
    rule: Rule,
    columns_hidden: Sequence[int] = (),
) -> Counts:
    """Hide the small cells of a table, margins included, and as many others as their protection takes.

    Parameters
    ----------
    inner
        Counts without margins (rows, columns).
    rule
        Which counts are small; one that hides nothing leaves all shown.
    columns_hidden
        Columns that are hidden whole, whatever they hold.
    """
    values = with_margins(inner)
    hidden = (values > 0) & (values <= rule.upto)
    if not rule.upto:
        return Counts(values, hidden)
    hidden[:, list(columns_hidden)] = True
    while True:
        line = _lone(hidden)
        if not line:
            telling = unprotected(values, hidden, rule.upto)
            if telling is None:
                return Counts(values, hidden)
            line = _near(hidden, *telling)
        hidden[min(line, key=lambda cell: _cost(values, cell))] = True


def unprotected(values: NDArray[np.int64], hidden: NDArray[np.bool_], upto: int) -> tuple[int, int] | None:
    """The first hidden cell that what is published says too much of; None where there is none."""
    network = _Network(values, hidden)
    for row, column in np.argwhere(hidden).tolist():
        # A cell that grows out of the range and far enough is protected; seldom must it shrink, too.
        up = network.growth(row, column)
        if values[row, column] + up <= upto:
            return row, column
        if up < upto and up + network.shrinkage(row, column) < upto:
            return row, column
    return None


def bounds(values: NDArray[np.int64], hidden: NDArray[np.bool_], row: int, column: int) -> tuple[int, int]:
    """Least and greatest count that a hidden cell may have, given everything published."""
    network = _Network(values, hidden)
    here = int(values[row, column])
    return here - network.shrinkage(row, column), here + network.growth(row, column)


def _lone(hidden: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Shown cells of the first row or column with one hidden cell, which its total gives away."""
    for row in np.flatnonzero(hidden.sum(axis=1) == 1).tolist():
        return [(row, other) for other in np.flatnonzero(~hidden[row]).tolist()]
    for column in np.flatnonzero(hidden.sum(axis=0) == 1).tolist():
        return [(other, column) for other in np.flatnonzero(~hidden[:, column]).tolist()]
    return []


def _near(hidden: NDArray[np.bool_], row: int, column: int) -> list[tuple[int, int]]:
    """Shown cells in the row and the column of a hidden one; those of the table where there is none."""
    shown = [(r, c) for r, c in np.argwhere(~hidden).tolist()]
    return [(r, c) for r, c in shown if r == row or c == column] or shown


def _cost(values: NDArray[np.int64], cell: tuple[int, int]) -> tuple[int, bool, int]:
    """What hiding a cell costs a reader: inner cells before totals, somebody before nobody, few before many."""
    row, column = cell
    totals = int(row == values.shape[0] - 1) + int(column == values.shape[1] - 1)
    return totals, bool(values[cell] == 0), int(values[cell])


class _Network:
    """Hidden cells as arcs between the sums of rows and of columns.

    Every count stands in one sum of a row and one of a column. With the signs of the sums
    chosen so, it leaves the one and enters the other; totals run the other way. A change that
    keeps all published numbers is a circulation over the hidden cells: forward without bound,
    backward by the count that is there.
    """

    def __init__(self, values: NDArray[np.int64], hidden: NDArray[np.bool_]) -> None:
        self._rows, self._columns = values.shape
        self._arcs: dict[tuple[int, int], tuple[int, int]] = {}
        size = self._rows + self._columns
        # Between two sums lies exactly one cell, so a matrix holds all of them.
        self._capacity = np.zeros((size, size), dtype=np.int64)
        for row, column in np.argwhere(hidden).tolist():
            tail, head = row, self._rows + column
            if (row == self._rows - 1) != (column == self._columns - 1):
                tail, head = head, tail
            self._arcs[(row, column)] = (tail, head)
            self._capacity[tail, head] = _UNBOUNDED
            self._capacity[head, tail] = min(int(values[row, column]), _UNBOUNDED)
        self._values = values

    def growth(self, row: int, column: int) -> int:
        """By how much the cell may be greater than it is; very much where nothing bounds it."""
        tail, head = self._arcs[(row, column)]
        return self._flow(head, tail)

    def shrinkage(self, row: int, column: int) -> int:
        """By how much the cell may be less than it is."""
        tail, head = self._arcs[(row, column)]
        return min(int(self._values[row, column]), self._flow(tail, head))

    def _flow(self, source: int, sink: int) -> int:
        """The greatest flow that goes by other cells than the one between the two."""
        capacity = self._capacity.copy()
        capacity[source, sink] = capacity[sink, source] = 0
        graph = csr_array(capacity.astype(np.int32))
        return int(maximum_flow(graph, source, sink).flow_value)
