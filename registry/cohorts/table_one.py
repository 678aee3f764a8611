"""Who and what a cohort holds, by groups: the first table of a report.

Rows are the units of the cohort; patients are counted apart. Every number stands with how
many it is made of, and how many are not recorded. Differences between groups are
standardised: a large cohort makes any difference significant, and a small one none.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import polars as pl

from registry import vocabulary
from registry.cohorts.fields import CODE, DATE, FLAG, NUMBER, TEXT, filter_fields
from registry.errors import UsageProblem
from registry.numerals import grouped
from registry.stats.quantiles import spread
from registry.stats.standardised import difference_of_means, difference_of_shares

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from registry.cohorts.drawing import Drawn
    from registry.cohorts.fields import FilterField

ALL, NOT_RECORDED = "all", "not recorded"
MOST_GROUPS = 8
#: What a table holds where nothing else is asked for.
USUAL = (
    "age_years",
    "indication",
    "density",
    "laterality",
    "modality",
    "correlate",
    "finding_type",
    "uptake_pattern",
    "size_mm",
    "assessment",
    "uptake_ratio",
    "guidance",
    "approach",
    "device",
    "gauge",
    "cores",
    "tracer",
    "targeting_error_mm",
    "specimen_concentration_ratio",
    "diagnosis",
    "latest_determination",
    "is_resolved",
)
#: Columns that give groups beside the fields: the year of the procedure.
YEAR = "year"
_SCHEMA = {
    "variable": pl.String,
    "level": pl.String,
    "group": pl.String,
    "recorded": pl.Int64,
    "missing": pl.Int64,
    "count": pl.Int64,
    "share": pl.Float64,
    "median": pl.Float64,
    "q1": pl.Float64,
    "q3": pl.Float64,
    "mean": pl.Float64,
    "sd": pl.Float64,
    "difference": pl.Float64,
}


@dataclass(frozen=True)
class Group:
    """A group of the table; ``shown`` says whether it has patients enough for figures."""

    name: str
    label: str
    units: int
    patients: int
    shown: bool


@dataclass(frozen=True)
class TableOne:
    """The first table.

    ``frame`` has one row per variable, level and group: ``level`` is null for a quantity;
    ``recorded`` and ``missing`` count the units of the group, ``share`` is count / recorded,
    ``sd`` has divisor n - 1, and ``difference`` (the largest between two groups, in standard
    deviations) stands in the row of the group ``all`` and first level.
    """

    by: str | None
    unit: str
    groups: tuple[Group, ...]
    frame: pl.DataFrame
    minimum: int

    def rows(self, *, means: bool = False) -> list[dict[str, str]]:
        """The table in words, a row for each variable or level, a column for each group.

        Parameters
        ----------
        means
            Mean and standard deviation in place of median and quartiles.
        """
        shown = [one for one in self.groups if one.shown]
        made = [
            {"": f"{self.unit}s", **{one.label: grouped(one.units) for one in self.groups}},
            {"": "patients", **{one.label: grouped(one.patients) for one in self.groups}},
        ]
        for (variable, level), part in self.frame.group_by(["variable", "level"], maintain_order=True):
            cells = {one["group"]: one for one in part.iter_rows(named=True)}
            label = str(variable) if level is None else f"{variable}: {_label(str(variable), str(level))}"
            row = {"": label}
            row |= {one.label: self._said(cells[one.name], means=means) for one in shown}
            row |= {one.label: f"fewer than {self.minimum}" for one in self.groups if not one.shown}
            row["not recorded"] = ", ".join(grouped(cells[one.name]["missing"]) for one in shown)
            if self.by is not None:
                apart = cells[ALL]["difference"] if ALL in cells else None
                row["difference"] = "" if apart is None else f"{apart:.2f}"
            made.append(row)
        return [{**dict.fromkeys(made[-1], ""), **row} for row in made]

    def _said(self, cell: Mapping[str, Any], *, means: bool) -> str:
        """A cell in words; of few values the counts only."""
        if not cell["recorded"]:
            return "none recorded"
        few = cell["recorded"] < self.minimum
        if cell["level"] is not None:
            counts = f"{grouped(cell['count'])} / {grouped(cell['recorded'])}"
            return counts if few else f"{counts} ({100 * cell['share']:.1f} %)"
        if few:
            return f"{grouped(cell['recorded'])} recorded"
        if means:
            return _figure(cell["mean"]) + (f" (SD {_figure(cell['sd'])})" if cell["sd"] is not None else "")
        return f"{_figure(cell['median'])} ({_figure(cell['q1'])} to {_figure(cell['q3'])})"

    def note(self, *, means: bool = False) -> str:
        """What must be read with the table."""
        said = "Mean (SD)" if means else "Median (quartiles)"
        return (
            f"{said}; count / recorded (share). Not recorded: in each group, in their order. Rows are "
            f"{self.unit}s, and those of one patient are not independent. Difference: standardised, the largest between two groups; "
            "empty where it is not defined. An empty cell is not recorded, never no."
        )

    def to_dict(self) -> dict[str, Any]:
        """JSON-able: groups and rows."""
        return {
            "by": self.by,
            "unit": self.unit,
            "groups": [vars(one) for one in self.groups],
            "rows": self.frame.to_dicts(),
        }


def groupings() -> tuple[str, ...]:
    """Names that a table can be split by."""
    return (
        YEAR,
        *(one.name for one in filter_fields().values() if one.kind in (CODE, FLAG, TEXT)),
    )


def table_one(
    drawn: Drawn, *, by: str | None = None, columns: Sequence[str] | None = None, minimum: int = 1
) -> TableOne:
    """The first table of a drawn cohort.

    Parameters
    ----------
    by
        One of :func:`groupings`, or None for one column.
    columns
        Fields in their order; None for ``USUAL``, less those that are empty in this cohort
        and the one that makes the groups.
    minimum
        A group of fewer patients than this is counted and not described.

    Raises
    ------
    UsageProblem
        The cohort is empty or too small, a column cannot be described or split by, or the
        split gives too many groups.
    """
    drawn.need(max(minimum, 1))
    fields = _chosen(drawn.frame, columns, by)
    frame, names = _grouped(drawn.frame, by)
    parts = {ALL: frame, **{name: frame.filter(pl.col("group") == name) for name in names}}
    groups = tuple(_group(name, part, by, minimum) for name, part in parts.items())
    described = {one.name: parts[one.name] for one in groups if one.shown}
    compared = [name for name in described if name not in (ALL, NOT_RECORDED)]
    rows: list[dict[str, Any]] = []
    for field in fields:
        rows += _described(field, described, compared)
    return TableOne(by, drawn.cohort_file.unit, groups, pl.DataFrame(rows, schema=_SCHEMA), minimum)


def _chosen(frame: pl.DataFrame, columns: Sequence[str] | None, by: str | None) -> list[FilterField]:
    known = {name: one for name, one in filter_fields().items() if one.kind != DATE}
    for name in columns or ():
        if name not in known:
            raise UsageProblem(f"{name}: a table cannot describe it. Allowed: {', '.join(known)}.")
    usual = [name for name in USUAL if name != by and frame[name].null_count() < frame.height]
    return [known[name] for name in dict.fromkeys(columns or usual)]


def _grouped(frame: pl.DataFrame, by: str | None) -> tuple[pl.DataFrame, list[str]]:
    """The rows with the name of their group, and the groups in order, what is not recorded last."""
    if by is None:
        return frame.with_columns(pl.lit(ALL).alias("group")), []
    if by not in groupings():
        raise UsageProblem(f"{by}: a table cannot be split by it. Allowed: {', '.join(groupings())}.")
    value = pl.col("started_on").dt.year() if by == YEAR else pl.col(by)
    frame = frame.with_columns(value.cast(pl.String).fill_null(NOT_RECORDED).alias("group"))
    found = frame["group"].unique().to_list()
    codes = list(filter_fields()[by].codes) if by != YEAR else []
    names = sorted(
        found, key=lambda one: (one == NOT_RECORDED, codes.index(one) if one in codes else len(codes), one)
    )
    if len(names) > MOST_GROUPS:
        raise UsageProblem(
            f"{by}: gives {len(names)} groups, and a table has room for {MOST_GROUPS}. Narrow the cohort or split by something coarser."
        )
    return frame, names


def _group(name: str, part: pl.DataFrame, by: str | None, minimum: int) -> Group:
    label = name if by is None or name in (ALL, NOT_RECORDED) else _label(by, name)
    patients = part["patient_no"].n_unique()
    return Group(name, label, part.height, patients, patients >= minimum)


def _label(column: str, code: str) -> str:
    """Plain words for a code; as it stands where there is no list."""
    field = filter_fields().get(column)
    if field is None or not field.codes:
        return {"true": "yes", "false": "no"}.get(code, code)
    table, _, name = field.coded_as.partition(".")
    return vocabulary.label(table, name, code)


def _described(
    field: FilterField, parts: Mapping[str, pl.DataFrame], compared: Sequence[str]
) -> list[dict[str, Any]]:
    if field.kind == NUMBER:
        return _quantity(field.name, {name: part[field.name] for name, part in parts.items()}, compared)
    return _categories(
        field, {name: part[field.name].cast(pl.String) for name, part in parts.items()}, compared
    )


def _quantity(name: str, values: Mapping[str, pl.Series], compared: Sequence[str]) -> list[dict[str, Any]]:
    known = {group: one.drop_nulls().cast(pl.Float64).to_numpy() for group, one in values.items()}
    pairs = [difference_of_means(known[one], known[two]) for one, two in combinations(compared, 2)]
    made = []
    for group, one in known.items():
        lies = spread(one)
        made.append(
            {
                "variable": name,
                "level": None,
                "group": group,
                "recorded": one.size,
                "missing": len(values[group]) - one.size,
                "median": lies.median,
                "q1": lies.q1,
                "q3": lies.q3,
                "mean": float(one.mean()) if one.size else None,
                "sd": float(one.std(ddof=1)) if one.size > 1 else None,
                "difference": _largest(pairs) if group == ALL else None,
            }
        )
    return made


def _categories(
    field: FilterField, values: Mapping[str, pl.Series], compared: Sequence[str]
) -> list[dict[str, Any]]:
    known = {group: one.drop_nulls() for group, one in values.items()}
    found = set().union(*(one.unique().to_list() for one in known.values()))
    order = [*field.codes, *sorted(found - set(field.codes))] if field.kind != FLAG else ["true", "false"]
    levels = [code for code in order if code in found]
    counts = {group: [int((one == level).sum()) for level in levels] for group, one in known.items()}
    pairs = [difference_of_shares(counts[one], counts[two]) for one, two in combinations(compared, 2)]
    made = []
    for place, level in enumerate(levels):
        if field.kind == FLAG and level == "false" and "true" in levels:
            continue  # It is the rest of those recorded.
        for group, one in known.items():
            made.append(
                {
                    "variable": field.name,
                    "level": level,
                    "group": group,
                    "recorded": len(one),
                    "missing": len(values[group]) - len(one),
                    "count": counts[group][place],
                    "share": counts[group][place] / len(one) if len(one) else None,
                    "difference": _largest(pairs) if group == ALL and not place else None,
                }
            )
    return made


def _largest(pairs: Sequence[float | None]) -> float | None:
    """The largest difference between two groups; None where one of them is not known."""
    return None if not pairs or None in pairs else max(one for one in pairs if one is not None)


def _figure(number: float) -> str:
    return f"{number:.0f}" if abs(number) >= 100 else f"{number:.3g}"
