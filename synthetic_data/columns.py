"""Columns of equal length, the codes of the data dictionary, and weighted choice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from registry.dictionary import tables

#: Missing date and missing number of days; far before any date that can occur.
NO_DAY = -1_000_000
#: Missing timestamp, in minutes.
NO_MINUTE = NO_DAY * 1440
MINUTES_PER_DAY = 1440

Rng = np.random.Generator


class Columns(dict[str, np.ndarray]):
    """Arrays of one length by name."""

    @property
    def rows(self) -> int:
        """Number of rows."""
        return int(next(iter(self.values())).shape[0])

    def at(self, chosen: np.ndarray) -> Columns:
        """Rows by number or by mask."""
        return Columns({name: array[chosen] for name, array in self.items()})


def stack(parts: Sequence[Columns]) -> Columns:
    """Columns of the same names, one below the other."""
    return Columns({name: np.concatenate([part[name] for part in parts]) for name in parts[0]})


@cache
def codes(table: str, name: str) -> tuple[str, ...]:
    """Code list of a field; a code is kept as its number in this list, -1 where missing."""
    return tables()[table][name].codes


def code(table: str, name: str, value: str) -> int:
    """Number of one code; ValueError where the list does not have it."""
    return codes(table, name).index(value)


def pick(rng: Rng, weights: Sequence[float], rows: int) -> np.ndarray:
    """Numbers 0, 1, ... drawn with the given weights.

    Raises
    ------
    ValueError
        The weights do not sum to 1.
    """
    return pick_by(rng, [weights], np.zeros(rows, dtype=np.int8))


def pick_by(rng: Rng, weights: Sequence[Sequence[float]] | np.ndarray, group: np.ndarray) -> np.ndarray:
    """As :func:`pick`, with the weights of the group of each row."""
    table = np.asarray(weights, dtype=np.float64)
    if not np.allclose(table.sum(axis=1), 1.0, atol=1e-9):
        raise ValueError(f"weights must sum to 1; got {table.sum(axis=1)}")
    bounds = np.cumsum(table, axis=1)[:, :-1]
    chance = rng.random(group.shape[0])
    chosen = np.zeros(group.shape[0], dtype=np.int64)
    for column in range(bounds.shape[1]):
        chosen += chance >= bounds[group, column]
    return chosen


def draw(rng: Rng, table: str, name: str, weights: Mapping[str, float], rows: int) -> np.ndarray:
    """Codes of a field drawn by name, as numbers in the code list of the dictionary."""
    return draw_by(rng, table, name, [weights], np.zeros(rows, dtype=np.int8))


def draw_by(
    rng: Rng, table: str, name: str, weights: Sequence[Mapping[str, float]], group: np.ndarray
) -> np.ndarray:
    """As :func:`draw`, with the weights of the group of each row."""
    listed = codes(table, name)
    table_of_weights = np.zeros((len(weights), len(listed)))
    for row, one in enumerate(weights):
        for value, weight in one.items():
            table_of_weights[row, listed.index(value)] = weight
    return pick_by(rng, table_of_weights, group)


def blank(rng: Rng, array: np.ndarray, share: float) -> np.ndarray:
    """The array with some values missing by chance: -1, or NaN in a column of decimals."""
    missing = np.nan if array.dtype.kind == "f" else -1
    return np.where(rng.random(array.shape[0]) < share, missing, array)


def rank_within(group: np.ndarray) -> np.ndarray:
    """0, 1, ... of each row within its group, in the order of the rows."""
    order = np.argsort(group, kind="stable")
    ordered = group[order]
    first = np.ones(ordered.shape[0], dtype=bool)
    first[1:] = ordered[1:] != ordered[:-1]
    starts = np.maximum.accumulate(np.where(first, np.arange(ordered.shape[0]), 0))
    rank = np.empty(ordered.shape[0], dtype=np.int64)
    rank[order] = np.arange(ordered.shape[0]) - starts
    return rank
