"""Table one in a package: as it is, or with its small cells hidden where the profile says so."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from registry.cohorts.table_one import ALL
from registry.disclosure.cells import HIDDEN, Rule, suppress

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from registry.cohorts.table_one import TableOne

_FIGURES = ("share", "median", "q1", "q3", "mean", "sd")


def table_one_rows(table: TableOne, rule: Rule) -> pl.DataFrame:
    """One row per variable, level and group, as text; what a rule hides carries its sign.

    A count is hidden with everything made of it: share, quantiles, mean, difference. Groups
    that are small, or would give a small one away, are hidden whole.
    """
    groups = [one for one in table.groups if one.name != ALL]
    # The sizes of the groups stand beside every variable, so they are hidden alike in all of them.
    sizes = suppress([[one.units for one in groups]] if groups else [[table.groups[0].units]], rule)
    out = {one.name for place, one in enumerate(groups) if sizes.hidden[0, place]}
    rows: list[dict[str, str]] = []
    for _, part in table.frame.group_by("variable", maintain_order=True):
        rows += _variable(part.to_dicts(), [one.name for one in groups], out, rule)
    return pl.DataFrame(rows, schema=dict.fromkeys(table.frame.columns, pl.String))


def _variable(
    rows: Sequence[Mapping[str, Any]], groups: Sequence[str], out: set[str], rule: Rule
) -> list[dict[str, str]]:
    """The rows of one variable with what is small hidden in all of them."""
    by_group: dict[str, list[Mapping[str, Any]]] = {}
    for row in rows:
        by_group.setdefault(row["group"], []).append(row)
    everybody = by_group[ALL]
    described = [name for name in groups if name in by_group and name not in out]
    counted = {name: _cells(by_group[name]) for name in described}
    total = _cells(everybody)
    # Those not described stand together: what is not shown of them must not follow from the rest.
    rest = [whole - sum(one[place] for one in counted.values()) for place, whole in enumerate(total)]
    columns = [*counted.values(), rest] if groups else [total]
    inner = [[column[place] for column in columns] for place in range(len(total))]
    made = suppress(inner, rule, [len(columns) - 1] if groups and any(rest) else [])
    hides_all = bool(made.hidden[-1, : len(described)].any())
    shown = []
    for row in rows:
        group, place = row["group"], by_group[row["group"]].index(row)
        column = -1 if group == ALL else described.index(group) if group in described else None
        if column is None or (hides_all and group != ALL):
            hidden = recorded = missing = True
        else:
            cells = made.hidden[:, column]
            missing = bool(cells[-2] if len(total) > 1 else False)
            hidden = bool(cells[place]) if row["level"] is not None else bool(cells[0])
            recorded = missing or bool(cells[-1])
        shown.append(_row(row, hidden or recorded, recorded, missing, bool(made.hidden.any())))
    return shown


def _cells(rows: Sequence[Mapping[str, Any]]) -> list[int]:
    """Counts of a group that add up to it: each level, those at no level shown, those not recorded."""
    first = rows[0]
    if first["level"] is None:
        return [first["recorded"], first["missing"]]
    counts = [row["count"] for row in rows]
    return [*counts, first["recorded"] - sum(counts), first["missing"]]


def _row(
    row: Mapping[str, Any], hidden: bool, recorded: bool, missing: bool, any_hidden: bool
) -> dict[str, str]:
    """One row as text."""
    made = {name: "" if value is None else str(value) for name, value in row.items()}
    signs = {
        "count": hidden,
        "recorded": recorded,
        "missing": missing,
        "difference": bool(any_hidden),
        **dict.fromkeys(_FIGURES, hidden),
    }
    return {name: HIDDEN if made[name] and signs.get(name) else made[name] for name in made}
