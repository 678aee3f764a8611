"""Two tables of counts of overlapping people: whether one minus the other shows a few of them.

A table can hide its own small cells and still lose them to the next one: patients of 40 to 59
years, then of 40 to 60. Here every count that would be published is compared with every one
that was: by who is counted, not by how it is described.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True)
class Released:
    """The cells of a table, margins included, with who is counted in each.

    ``names`` (cells); ``members`` (units, cells), True where the unit is counted; ``shown``
    (cells). Two tables are compared over the same units in the same order.
    """

    names: tuple[str, ...]
    members: NDArray[np.bool_]
    shown: NDArray[np.bool_]


@dataclass(frozen=True)
class Leak:
    """What the two tables together would show: ``count`` units, 0 for a hidden count shown outright."""

    earlier: str
    later: str
    count: int


def differences(earlier: Released, later: Released, upto: int) -> list[Leak]:
    """What may not be seen from two tables together; empty where nothing may be.

    Refused are: a shown count of the one whose people lie within those of a shown count of
    the other, with 1 to ``upto`` left over; counts of the same description that share people
    and differ by 1 to ``upto`` on either side, nested or not; and a count shown in the one that
    the other hides.
    """
    a, b = (one.members.astype(np.float32) for one in (earlier, later))
    shared = np.rint(a.T @ b).astype(np.int64)
    left = earlier.members.sum(axis=0)[:, None] - shared
    right = later.members.sum(axis=0)[None, :] - shared
    overlap = shared > 0
    few_left, few_right = (left > 0) & (left <= upto), (right > 0) & (right <= upto)
    same = np.array(earlier.names, dtype=object)[:, None] == np.array(later.names, dtype=object)[None, :]
    nested = (few_left & (right == 0)) | (few_right & (left == 0))
    both = earlier.shown[:, None] & later.shown[None, :]
    one = earlier.shown[:, None] ^ later.shown[None, :]
    by_difference = both & overlap & (nested | (same & (few_left | few_right)))
    outright = one & overlap & (left == 0) & (right == 0)
    found = []
    for i, j in np.argwhere(by_difference | outright).tolist():
        few = [int(n) for n in (left[i, j], right[i, j]) if 0 < n <= upto]
        found.append(Leak(earlier.names[i], later.names[j], few[0] if by_difference[i, j] else 0))
    return found
