"""Counts of overlapping people in one publication: none may be worked out from the others.

A table can hide its small cells and still lose them to a neighbour: 70 sampled, 67 of them
reported. Here counts are let through one group after another, and a group is held back where
it, together with those let through before, would tell a small count.

What is guaranteed: no sum or difference of any number of the counts that are shown, with
whatever factors, is a **small count**: one of 1 to ``upto`` units that is itself a count of a
group, or what is left of one count when another that lies within it is taken away.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

#: Vectors of zeros and ones: what is shorter than this is nothing but rounding.
_NOTHING = 1e-6


def let_through(groups: Sequence[NDArray[np.bool_]], upto: int) -> tuple[bool, ...]:
    """Which groups of counts may be shown together, the first ones first.

    Parameters
    ----------
    groups
        Each (units, counts), True where the unit is counted, over the same units in the same
        order; the counts of a group are shown together or not at all. In the order of
        their worth.
    upto
        Counts of 1 to so many are small; 0 hides nothing.

    Returns
    -------
    tuple
        One truth a group.
    """
    if not upto or not groups:
        return (True,) * len(groups)
    # Units that are counted alike everywhere are one atom, and a count is a sum of atoms.
    atoms, sizes = np.unique(np.hstack(groups), axis=0, return_counts=True)
    ends = np.cumsum([one.shape[1] for one in groups])
    small = _small(atoms, sizes, upto)
    basis = np.zeros((len(atoms), 0))
    # Squared length of what the counts shown so far leave unknown of each small count.
    unknown = small.sum(axis=0)
    shown = []
    for group in np.split(atoms.astype(np.float64), ends[:-1], axis=1):
        added = _added(basis, group)
        left = unknown - ((added.T @ small) ** 2).sum(axis=0)
        is_safe = not bool((left < _NOTHING).any())
        shown.append(is_safe)
        if is_safe:
            basis, unknown = np.hstack([basis, added]), left
    return tuple(shown)


def _small(atoms: NDArray[np.bool_], sizes: NDArray[np.int64], upto: int) -> NDArray[np.float64]:
    """The small counts (atoms, small counts): counts themselves, and differences of nested ones."""
    counts = np.unique(atoms, axis=1)
    weighted = counts * sizes[:, None].astype(np.float64)
    shared = np.rint(counts.T.astype(np.float64) @ weighted).astype(np.int64)
    own = np.diag(shared)
    # Row: a count; column: one that lies within it. What is left of the row is own - shared.
    left = own[:, None] - shared
    nested = (shared == own[None, :]) & (left > 0) & (left <= upto)
    found = [counts[:, (own > 0) & (own <= upto)]]
    found += [(counts[:, i] & ~counts[:, j])[:, None] for i, j in np.argwhere(nested).tolist()]
    every = np.hstack(found)
    return np.unique(every, axis=1).astype(np.float64) if every.shape[1] else every.astype(np.float64)


def _added(basis: NDArray[np.float64], group: NDArray[np.float64]) -> NDArray[np.float64]:
    """Orthonormal vectors (atoms, new ones) by which a group widens what can be worked out."""
    rest = group
    for _ in range(2):  # Once leaves rounding along the basis, twice does not.
        rest = rest - basis @ (basis.T @ rest)
    vectors, lengths, _ = np.linalg.svd(rest, full_matrices=False)
    return np.asarray(vectors[:, lengths > _NOTHING])
