"""How many share what can point to a person (k), and whether they share a result too (l).

Both are counted in SQL over the rows as they would leave. Nothing is assumed: on 961 real
masses three coarse columns already put 263 records in classes under 11.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import duckdb
import polars as pl

from registry import store
from registry.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Classes of fewer than so many are easily known again: 11 follows from hiding cells of 1 to 10.
K = 11
#: A class needs so many different results, or who is known to be in it is known to have the result.
L = 2


@dataclass(frozen=True)
class Step:
    """Leaving out one column: ``failing`` records are then still in classes under k, of ``failing_before``."""

    column: str
    failing_before: int
    failing: int


@dataclass(frozen=True)
class Spread:
    """One sensitive column: the fewest different values in a class, and what has fewer than l."""

    column: str
    fewest: int
    failing_classes: int
    failing_records: int


@dataclass(frozen=True)
class Anonymity:
    """What was counted.

    ``k`` is the size of the smallest class, 0 where there is no record; ``unique`` are the
    records alone in their class; ``failing`` the classes under ``threshold``, smallest
    first, with their size in ``units`` and in ``records``; ``steps`` say what to leave out
    first, as far as anything fails.
    """

    quasi: tuple[str, ...]
    records: int
    classes: int
    k: int
    threshold: int
    unique: int
    failing_records: int
    failing: pl.DataFrame
    spreads: tuple[Spread, ...]
    steps: tuple[Step, ...]


def anonymity(
    frame: pl.DataFrame,
    quasi: Sequence[str],
    sensitive: Sequence[str] = (),
    *,
    unit: str | None = None,
    k: int = K,
    diversity: int = L,
) -> Anonymity:
    """Count k and l.

    Parameters
    ----------
    frame
        Rows as they would leave. An empty cell is a value of its own.
    quasi
        Columns that can point to a person together.
    sensitive
        Columns that must not be the same for a whole class.
    unit
        Column that names the person; classes are counted in persons. None counts records.
    k, diversity
        What a class must reach: persons, and different values of each sensitive column.

    Raises
    ------
    UsageProblem
        A column is not in the rows.
    """
    for name in (*quasi, *sensitive, *([unit] if unit else [])):
        if name not in frame.columns:
            raise UsageProblem(f"{name}: is no column of the rows. Name one of {', '.join(frame.columns)}.")
    connection = duckdb.connect(":memory:", config={"threads": 2})
    try:
        connection.register("leaving", frame.to_arrow())
        count = f"count(DISTINCT {_quoted(unit)})" if unit else "count(*)"
        sizes = _sizes(connection, quasi, sensitive, count)
        failing = sizes.filter(pl.col("units") < k)
        now = int(failing["records"].sum())
        return Anonymity(
            tuple(quasi),
            frame.height,
            sizes.height,
            int(min(sizes["units"].to_list(), default=0)),
            k,
            sizes.filter(pl.col("records") == 1).height,
            now,
            failing.select(*quasi, "units", "records").sort("units", *quasi),
            tuple(_spread(sizes, name, diversity) for name in sensitive),
            tuple(_steps(connection, list(quasi), count, k, now)),
        )
    finally:
        connection.close()


def _sizes(
    connection: duckdb.DuckDBPyConnection, quasi: Sequence[str], sensitive: Sequence[str], count: str
) -> pl.DataFrame:
    """One row per class: its values, units, records, and different values of each sensitive column."""
    listed = ", ".join(_quoted(name) for name in quasi)
    # An empty cell counts as one value more: not to know is not to share a result.
    spread = "".join(
        f", count(DISTINCT {_quoted(name)}) + CAST(count(*) > count({_quoted(name)}) AS INTEGER) AS {_quoted('l ' + name)}"
        for name in sensitive
    )
    into = f"{listed}, " if listed else ""
    grouped = f"GROUP BY {listed}" if listed else "HAVING count(*) > 0"
    return store.frame(
        connection, f"SELECT {into}{count} AS units, count(*) AS records{spread} FROM leaving {grouped}"
    )


def _spread(sizes: pl.DataFrame, name: str, wanted: int) -> Spread:
    column = sizes[f"l {name}"]
    below = sizes.filter(pl.col(f"l {name}") < wanted)
    return Spread(name, int(min(column.to_list(), default=0)), below.height, int(below["records"].sum()))


def _steps(
    connection: duckdb.DuckDBPyConnection, quasi: list[str], count: str, k: int, failing: int
) -> list[Step]:
    """Greedy: each time the column without which the fewest records stay in small classes."""
    made = []
    left = list(quasi)
    while failing and left:
        tried = {name: _failing(connection, [one for one in left if one != name], count, k) for name in left}
        best = min(tried, key=lambda name: (tried[name], left.index(name)))
        made.append(Step(best, failing, tried[best]))
        failing = tried[best]
        left.remove(best)
    return made


def _failing(connection: duckdb.DuckDBPyConnection, quasi: Sequence[str], count: str, k: int) -> int:
    sizes = _sizes(connection, quasi, (), count)
    return int(sizes.filter(pl.col("units") < k)["records"].sum())


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
