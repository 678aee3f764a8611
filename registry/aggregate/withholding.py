"""What a file of counts that may go anywhere keeps back, so that no small count follows from the rest.

Every count of a stratum is compared by who is counted: a small one could otherwise be worked
out from those beside it, as the only reason for leaving out that is not named could from all
the others. Strata share no procedure and are looked at one by one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from registry.aggregate.bins import bin_of, binned, coarser
from registry.aggregate.document import SMALL, Cell
from registry.aggregate.pieces import CATEGORIES, INTERVALS, OUTCOMES, TableCell
from registry.disclosure.nested import let_through
from registry.measures import load_measures
from registry.measures.counting import NEVER_MISSING
from registry.measures.curve import ESTIMATES
from registry.measures.definition import PROPORTION, QUANTITY, TABLE, TIME_TO_EVENT
from registry.measures.listing import judged

if TYPE_CHECKING:
    from collections.abc import Iterator

    from registry.aggregate.pieces import Piece
    from registry.measures.counting import Reader
    from registry.measures.definition import Measure
    from registry.measures.strata import Question

UPTO = SMALL - 1
#: The counts of a measure themselves, beside which the others stand.
MAIN = "counts"
_UNKNOWN, _MISSING, _BINS = "bounds", "missing", "bins"
_KEPT = pl.col("excluded_because").is_null()

Key = tuple[str, str, str]
"""Measure, stratum, and the part of its counts."""


def shown(registry: Reader, question: Question) -> frozenset[Key]:
    """Parts of the counts that may stand in the file together.

    First the counts of the proportions, in the order of their names, then those of tables,
    curves and quantities, then what stands beside them.
    """
    measures = [
        one
        for kind in (PROPORTION, TABLE, TIME_TO_EVENT, QUANTITY)
        for one in load_measures().values()
        if one.kind == kind
    ]
    rows = {one.id: judged(registry, one.id, question) for one in measures}
    strata = {name: one.partition_by("stratum", as_dict=True) for name, one in rows.items()}
    found: set[Key] = set()
    for stratum in next(iter(strata.values())):
        groups: dict[tuple[str, str], np.ndarray] = {}
        beside: dict[tuple[str, str], np.ndarray] = {}
        for one in measures:
            for part, counts in _parts(one, strata[one.id][stratum]):
                (groups if part == MAIN else beside)[one.id, part] = counts
        keys = [*groups, *beside]
        allowed = let_through([*groups.values(), *beside.values()], UPTO)
        found |= {
            (name, stratum[0], part) for (name, part), is_shown in zip(keys, allowed, strict=True) if is_shown
        }
    return frozenset(found)


def _parts(measure: Measure, rows: pl.DataFrame) -> Iterator[tuple[str, np.ndarray]]:
    """Counts that are shown together or not at all, (procedures, counts) each."""
    if measure.kind == PROPORTION:
        yield MAIN, _matrix(rows, [_KEPT, _KEPT & pl.col("in_numerator")])
    elif measure.kind == TABLE:
        yield MAIN, _matrix(rows, [_KEPT & one for one in _cells()])
    elif measure.kind == TIME_TO_EVENT:
        yield MAIN, _matrix(rows, [_KEPT & one for one in _steps()])
    else:
        yield MAIN, _matrix(rows, [_KEPT])
    for reason in measure.reasons:
        yield left_out(reason), _matrix(rows, [pl.col("excluded_because") == reason])
    if measure.bounds:
        signs = rows.filter(~_KEPT).get_column("unknown").drop_nulls().unique().sort()
        yield _UNKNOWN, _matrix(rows, [~_KEPT & (pl.col("unknown") == one) for one in signs])
    if measure.kind == QUANTITY:
        could = ~_KEPT & ~pl.col("excluded_because").is_in(NEVER_MISSING)
        yield _MISSING, _matrix(rows, [could & pl.col("counts_as_missing")])
        yield _BINS, _in_bins(rows)


def left_out(reason: str) -> str:
    """Name of the part that counts a reason for leaving out."""
    return f"left out: {reason}"


def _cells() -> Iterator[pl.Expr]:
    for category in CATEGORIES:
        for outcome in OUTCOMES:
            yield (pl.col("b_category") == category) & (pl.col("outcome") == outcome)
        yield (
            (pl.col("b_category") == category)
            & (pl.col("outcome") == "n")
            & ~pl.col("is_resolved").fill_null(value=False)
        )


def _steps() -> Iterator[pl.Expr]:
    """At risk at the start of each interval, and what ended within it, as in an event table."""
    for name in ESTIMATES:
        days, status = pl.col(f"{name}_days"), pl.col(f"{name}_status")
        for first, last in [*INTERVALS, (INTERVALS[-1][1] + 1, None)]:
            at_risk = days >= first if first else pl.lit(value=True)
            yield at_risk
            until = at_risk if last is None else at_risk & (days <= last)
            yield from (until & (status == one) for one in (0, 1, 2))


def _in_bins(rows: pl.DataFrame) -> np.ndarray:
    kept = rows.get_column("excluded_because").is_null().to_numpy()
    values = rows.get_column("measured").to_numpy()[kept]
    counts = []
    for lower, upper, _ in coarser(binned(values.tolist()), SMALL):
        inside = [lower <= low and high <= upper for low, high in map(bin_of, values.tolist())]
        column = np.zeros(rows.height, dtype=np.bool_)
        column[kept] = inside
        counts.append(column)
    return np.array(counts, dtype=np.bool_).reshape(len(counts), rows.height).T


def _matrix(rows: pl.DataFrame, whose: list[pl.Expr]) -> np.ndarray:
    made = rows.select(one.fill_null(value=False).alias(str(i)) for i, one in enumerate(whose))
    return made.to_numpy().astype(np.bool_).reshape(rows.height, len(whose))


def cell_for_anybody(cell: Cell, name: str, stratum: str, told: frozenset[Key]) -> Cell | None:
    """The cell without what is withheld; None where the measure itself is."""

    def is_told(part: str) -> bool:
        return (name, stratum, part) in told

    if not is_told(MAIN):
        return None
    excluded = {reason: count for reason, count in cell.excluded.items() if is_told(left_out(reason))}
    withheld = [left_out(reason) for reason in cell.excluded if reason not in excluded]
    has_bounds, has_missing = not cell.unknown or is_told(_UNKNOWN), not cell.missing or is_told(_MISSING)
    people = None if _is_small(cell.patients) else cell.patients
    bins = coarser(cell.bins, SMALL) if cell.bins is not None and is_told(_BINS) else None
    for part, is_there in (
        (_UNKNOWN, has_bounds),
        (_MISSING, has_missing),
        ("patients", people == cell.patients),
        (_BINS, cell.bins is None or bins is not None),
    ):
        withheld += [] if is_there else [part]
    return replace(
        cell,
        bins=bins,
        excluded=excluded,
        unknown=cell.unknown if has_bounds else None,
        missing=cell.missing if has_missing else 0,
        patients=people,
        withheld=tuple(withheld),
    )


def piece_for_anybody(piece: Piece, name: str, stratum: str, told: frozenset[Key]) -> Piece | None:
    """The piece without what only an internal file holds; None where its counts are withheld.

    One small cell of a table with margins withholds all of it: it could be worked out from
    the others. Reasons for leaving out and patients stand beside it, and go alone.
    """
    if (name, stratum, MAIN) not in told:
        return None
    bare: Piece = replace(piece, groups=None) if isinstance(piece, TableCell) else replace(piece, days=None)
    return replace(
        bare,
        excluded={
            reason: count
            for reason, count in piece.excluded.items()
            if (name, stratum, left_out(reason)) in told
        },
        patients=None if _is_small(piece.patients) else piece.patients,
    )


def _is_small(count: int | None) -> bool:
    return count is not None and 0 < count < SMALL
