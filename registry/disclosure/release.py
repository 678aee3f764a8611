"""A table of counts released: small cells hidden, compared with all before it, written down."""

from __future__ import annotations

import hashlib
import hmac
import json
import threading
from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from registry import audit, release_ledger, store
from registry.disclosure.cells import HIDDEN, SMALLEST, Counts, rule_for_release, suppress
from registry.disclosure.differencing import Released, differences
from registry.engine import rollback
from registry.errors import UsageProblem
from registry.people import Action, require

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.store import Registry

#: What an empty cell of a column is called among its levels.
NOT_RECORDED = "not recorded"
TOTAL = "all"
_OWNERS = (
    "SELECT p.procedure_id AS unit_key, f.patient AS patient "
    "FROM main.procedures AS p JOIN main.findings AS f ON f.finding_id = p.finding_id"
)


#: The comparison with what was released, and the new line of the ledger, belong together.
_RELEASING = threading.Lock()


@dataclass(frozen=True)
class Release:
    """A released table: ``levels`` of its rows and columns, and the counts with margins."""

    number: int
    rows: str
    columns: str | None
    row_levels: tuple[str, ...]
    column_levels: tuple[str, ...]
    counts: Counts
    upto: int

    def frame(self) -> pl.DataFrame:
        """The table as text, hidden counts as a sign, totals last."""
        heads = [*self.column_levels, TOTAL] if self.columns else [TOTAL]
        made: dict[str, list[str]] = {self.rows: [*self.row_levels, TOTAL]}
        for place, head in enumerate(heads):
            column = place if self.columns else -1
            shown = [self.counts.shown(row, column) for row in range(len(self.row_levels) + 1)]
            made[head] = [HIDDEN if one is None else str(one) for one in shown]
        return pl.DataFrame(made)


def release(
    registry: Registry,
    units: pl.DataFrame,
    rows: str,
    columns: str | None = None,
    *,
    purpose: str,
    author: str,
    upto: int = SMALLEST,
) -> Release:
    """Release a table of counts.

    Parameters
    ----------
    registry
        Open for writing: the release is kept, and an entry of the trail.
    units
        One row per procedure counted: ``procedure_id``, and the columns of the table.
    rows, columns
        Names of the columns whose levels make the rows and columns of the table.
    purpose, author
        What for, and who.
    upto
        Cells of 1 to so many are hidden, 10 or more.

    Raises
    ------
    UsageProblem
        No purpose, a column that is not there, or a table that together with an earlier one
        would show 1 to ``upto``. Nothing is released then.
    """
    author = require(Action.EXPORT, registry, kind="counts", confirmed=True).author(author)
    rule = rule_for_release(upto)
    if not purpose.strip():
        raise UsageProblem("A release needs a purpose, which is kept in the trail. Give one with --reason.")
    names = [rows, *([columns] if columns else [])]
    for name in names:
        if name not in units.columns or name == "procedure_id":
            raise UsageProblem(
                f"{name}: cannot be counted by. Name a column of the cohort, such as diagnosis."
            )
    if units.is_empty():
        raise UsageProblem("No procedure is left to count. Widen the cohort.")
    levels = units.select(
        "procedure_id", *(pl.col(name).cast(pl.String).fill_null(NOT_RECORDED) for name in names)
    )
    row_levels, column_levels, inner = _table(levels, names)
    counts = suppress(inner, rule)
    made = Release(0, rows, columns, row_levels, column_levels, counts, upto)
    members = _members(registry, levels, names)
    shown = _shown(made)
    with _RELEASING:
        _refuse_differences(registry, members, shown, upto)
        units_counted = levels["procedure_id"].to_list()
        number = _keep(registry, made, members, shown, purpose, author, units_counted)
    return Release(number, rows, columns, row_levels, column_levels, counts, upto)


def _table(
    levels: pl.DataFrame, names: Sequence[str]
) -> tuple[tuple[str, ...], tuple[str, ...], np.ndarray[Any, np.dtype[np.int64]]]:
    row_levels = tuple(sorted(levels[names[0]].unique().to_list()))
    column_levels = tuple(sorted(levels[names[1]].unique().to_list())) if len(names) > 1 else (TOTAL,)
    counted = dict.fromkeys(((r, c) for r in row_levels for c in column_levels), 0)
    for *key, count in levels.group_by(names).len().iter_rows():
        counted[(key[0], key[1] if len(key) > 1 else TOTAL)] = count
    inner = np.array([[counted[(r, c)] for c in column_levels] for r in row_levels], dtype=np.int64)
    return row_levels, column_levels, inner


def _cell(of: dict[str, str]) -> str:
    """What a cell is called: the levels that make it, none for the total."""
    return json.dumps(of, sort_keys=True, ensure_ascii=False)


def _shown(made: Release) -> dict[str, int | None]:
    """Cell -> its count, None where it is hidden."""
    found: dict[str, int | None] = {}
    for r, row in enumerate([*made.row_levels, None]):
        for c, column in enumerate([*made.column_levels, None] if made.columns else [None]):
            of = {made.rows: row} if row is not None else {}
            if made.columns and column is not None:
                of[made.columns] = column
            found[_cell(of)] = made.counts.shown(r, c if made.columns else -1)
    return found


def _members(registry: Registry, levels: pl.DataFrame, names: Sequence[str]) -> pl.DataFrame:
    """cell, unit_key, patient: every unit in its cell and in the margins."""
    parts = []
    for kept in {(), *((name,) for name in names), tuple(names)}:
        distinct = levels.select(kept).unique() if kept else pl.DataFrame({"_": [0]})
        called = (
            [_cell(dict(zip(kept, row, strict=True))) for row in distinct.iter_rows()]
            if kept
            else [_cell({})]
        )
        named = distinct.with_columns(pl.Series("cell", called))
        joined = (
            levels.join(named, on=list(kept), how="left")
            if kept
            else levels.with_columns(pl.lit(called[0]).alias("cell"))
        )
        parts.append(joined.select("cell", pl.col("procedure_id").alias("unit_key")))
    return pl.concat(parts).join(registry.frame(_OWNERS), on="unit_key", how="left")


# -- against what was released before ----------------------------------------------


def _refuse_differences(
    registry: Registry, members: pl.DataFrame, shown: dict[str, int | None], upto: int
) -> None:
    before = registry.rows("SELECT release_no, released_at, hidden_up_to FROM release ORDER BY release_no")
    if not before:
        return
    identity = registry.identity
    try:
        kept = store.frame(identity, "SELECT release_no, cell, unit_key FROM release_member")
    finally:
        identity.close()
    cells = registry.rows("SELECT release_no, cell, is_shown FROM release_cell")
    for number, at, hidden_before in before:
        earlier = kept.filter(pl.col("release_no") == number).select("cell", "unit_key")
        seen = {cell: is_shown for one, cell, is_shown in cells if one == number}
        old, new = _aligned(
            earlier, seen, members, {cell: count is not None for cell, count in shown.items()}
        )
        leaks = differences(old, new, max(upto, hidden_before))
        if leaks:
            first = leaks[0]
            how = (
                f"would show {first.count} people by its difference"
                if first.count
                else "would show what one of the two hides"
            )
            raise UsageProblem(
                f"Not released: together with release {number} of {at:%Y-%m-%d} the count of {_words(first.later)} {how} "
                f"({len(leaks)} such pairs of counts). Release the same population again, one that "
                f"differs by more than {upto} in every cell, or coarser cells."
            )


def _words(cell: str) -> str:
    of = json.loads(cell)
    return ", ".join(f"{name} {level}" for name, level in of.items()) or "all"


def _aligned(
    earlier: pl.DataFrame, seen: dict[str, bool], members: pl.DataFrame, shown: dict[str, bool]
) -> tuple[Released, Released]:
    """Both tables over the same units."""
    units = pl.concat([earlier["unit_key"], members["unit_key"]]).unique().sort()
    place = pl.DataFrame({"unit_key": units, "_unit": np.arange(units.len())})

    def matrix(rows: pl.DataFrame, is_shown: dict[str, bool]) -> Released:
        names = tuple(sorted(is_shown))
        made = np.zeros((units.len(), len(names)), dtype=np.bool_)
        number = pl.DataFrame({"cell": list(names), "_cell": np.arange(len(names))})
        found = rows.join(place, on="unit_key").join(number, on="cell")
        made[found["_unit"].to_numpy(), found["_cell"].to_numpy()] = True
        return Released(names, made, np.array([is_shown[name] for name in names], dtype=np.bool_))

    return matrix(earlier, seen), matrix(members, shown)


# -- written down ------------------------------------------------------------------


def _keep(
    registry: Registry,
    made: Release,
    members: pl.DataFrame,
    shown: dict[str, int | None],
    purpose: str,
    author: str,
    units: list[str],
) -> int:
    """Members first: a release without its ledger line was never offered."""
    joined = "\n".join(sorted(units))
    digest = hmac.new(registry.key, f"release\n{joined}".encode(), hashlib.sha256).hexdigest()
    dimensions = json.dumps([made.rows, *([made.columns] if made.columns else [])])
    number = int(registry.rows("SELECT coalesce(max(release_no), 0) + 1 FROM release")[0][0])
    identity = registry.identity
    try:
        identity.execute("BEGIN")
        identity.execute("DELETE FROM release_member WHERE release_no = ?", [number])
        identity.register("released_members", members.to_arrow())
        identity.execute(
            "INSERT INTO release_member SELECT ?, cell, unit_key, patient FROM released_members", [number]
        )
        identity.unregister("released_members")
        identity.execute("COMMIT")
    except BaseException:
        rollback(identity)
        raise
    finally:
        identity.close()
    now = registry.clock()
    line = [number, author, purpose, digest, len(units), dimensions, made.upto]
    cells = [[cell, count is not None, count] for cell, count in shown.items()]
    details = {
        "release": number,
        "reason": purpose,
        "population_digest": digest,
        "units": len(units),
        "columns": json.loads(dimensions),
        "hidden_up_to": made.upto,
        "cells": len(shown),
        "hidden": sum(count is None for count in shown.values()),
        "ledger": release_ledger.digest(line, cells),
    }
    with registry.writing() as cursor:
        cursor.execute(
            "INSERT INTO release VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            [number, now.astimezone(UTC).replace(tzinfo=None), *line[1:]],
        )
        cursor.executemany(
            "INSERT INTO release_cell VALUES (?, ?, ?, ?)", [[number, *cell] for cell in cells]
        )
        audit.append(
            cursor,
            registry.key,
            now,
            audit.Entry(author, "export", release_ledger.KIND, f"release {number}", details),
        )
    return number
