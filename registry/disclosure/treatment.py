"""A profile applied to rows: each column kept, replaced, coarsened or left out, and said so."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import polars as pl

from registry.disclosure.profiles import (
    EXACT_DAYS,
    LONGEST_DAYS,
    OLDEST,
    STEP_DAYS,
    WEIGHT_STEP,
    WORDS,
    Profile,
    Treatment,
)
from registry.errors import UsageProblem
from registry.identity import PSEUDONYM_LENGTH

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.codebook import Column

#: The day that all others are counted from, and the age on it.
INDEX_DAY, INDEX_AGE = "started_on", "age_years"
YEAR = "started_year"
#: Days by which the dates of a row are moved; made by the study keys, never exported.
SHIFT = "_shift_days"
_DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Decision:
    """What became of one column: ``became`` is its name in the export, empty where it was left out."""

    column: str
    sensitivity: str
    treatment: Treatment
    became: str
    why: str
    changed: int


@dataclass(frozen=True)
class Disclosed:
    """Rows as they may leave, their columns, and what was done."""

    frame: pl.DataFrame
    columns: tuple[Column, ...]
    decisions: tuple[Decision, ...]


def refuse_undeclared(frame: pl.DataFrame, columns: Sequence[Column], where: str) -> None:
    """The rows have exactly the declared columns, and no pseudonym under another name.

    Raises
    ------
    UsageProblem
        They have not.
    """
    declared = [column.name for column in columns]
    if frame.columns != declared:
        unknown = [name for name in frame.columns if name not in declared]
        missing = [name for name in declared if name not in frame.columns]
        what = (
            f"gives {', '.join(unknown)}, not declared"
            if unknown
            else f"lacks {', '.join(missing)}"
            if missing
            else "has another order"
        )
        raise UsageProblem(
            f"{where} {what} in its header. Nothing was exported: a column leaves only when it is classified there."
        )
    pseudonym = rf"^[0-9a-f]{{{PSEUDONYM_LENGTH}}}$"
    for name, kind in frame.schema.items():
        if kind == pl.String and frame[name].str.contains(pseudonym).any():
            raise UsageProblem(
                f"Column {name} of the export holds what looks like a stored pseudonym. Nothing was exported."
            )


def disclose(
    frame: pl.DataFrame, columns: Sequence[Column], profile: Profile, keyed: frozenset[str]
) -> Disclosed:
    """Rows under a profile.

    Parameters
    ----------
    frame
        The declared columns, and :data:`SHIFT` where the profile moves dates. Study keys
        are in place already, for they come from the record.
    keyed
        Names of the columns whose values were replaced by study keys.

    Raises
    ------
    UsageProblem
        A column has a sensitivity that the profile does not know, or is no date and declared one.
    """
    made: list[pl.Expr] = []
    kept: list[Column] = []
    decisions = []
    for column in columns:
        treatment = profile.treatment(column.name, column.sensitivity)
        if treatment is Treatment.STUDY_KEY and column.name not in keyed:
            treatment = Treatment.KEEP
        if treatment is Treatment.DROP:
            decisions.append(
                Decision(column.name, column.sensitivity, treatment, "", _why_dropped(column), frame.height)
            )
            continue
        expression, name = _treated(column, treatment, frame)
        made.append(expression.alias(name))
        kept.append(_column(column, name, treatment))
        decisions.append(
            Decision(column.name, column.sensitivity, treatment, name, WORDS[treatment], frame.height)
        )
    out = frame.select(made)
    counted = [replace(one, changed=_changed(frame, out, one)) if one.became else one for one in decisions]
    return Disclosed(out, tuple(kept), tuple(counted))


def _treated(column: Column, treatment: Treatment, frame: pl.DataFrame) -> tuple[pl.Expr, str]:
    name, one = column.name, pl.col(column.name)
    is_day = frame.schema[name] == pl.Date
    if treatment in (Treatment.SHIFT, Treatment.INTERVAL, Treatment.COARSE) and not is_day:
        raise UsageProblem(f"Column {name} is declared a date and holds none. Nothing was exported.")
    match treatment:
        case Treatment.POOL_AGE:
            return one.clip(upper_bound=OLDEST), name
        case Treatment.SHIFT:
            return one.dt.offset_by(pl.format("{}d", pl.col(SHIFT))), name
        case Treatment.INTERVAL if name == INDEX_DAY:
            return one.dt.year(), YEAR
        case Treatment.INTERVAL:
            return _shortened(_days(one), is_from_start=True), _interval_name(name)
        case Treatment.COARSE:
            return _in_steps(_days(one)), _interval_name(name)
        case Treatment.LIMIT:
            return _shortened(one.cast(pl.Int32), is_from_start=False), name
        case Treatment.WHOLE_MM:
            return one.cast(pl.Float64).round(0).cast(pl.Int32), name
        case Treatment.STEP_WEIGHT:
            return ((one / WEIGHT_STEP).round(0) * WEIGHT_STEP).cast(pl.Int32), name
    return one, name


def _days(day: pl.Expr) -> pl.Expr:
    return (day - pl.col(INDEX_DAY)).dt.total_days().cast(pl.Int32)


def _in_steps(days: pl.Expr) -> pl.Expr:
    """Rounded towards zero to whole steps, and no longer than the longest."""
    size = (days.abs() // STEP_DAYS * STEP_DAYS).clip(upper_bound=LONGEST_DAYS)
    return (size * days.sign()).cast(pl.Int32)


def _shortened(days: pl.Expr, *, is_from_start: bool) -> pl.Expr:
    """Days as they are while short; in steps beyond; cut where they would tell an age of 90 or more."""
    made = pl.when(days.abs() > EXACT_DAYS).then(_in_steps(days)).otherwise(days)
    if not is_from_start:
        return made
    # Whoever is younger than one year before the limit may be at it within the interval.
    would_be = pl.col(INDEX_AGE) + 1 + days / _DAYS_A_YEAR
    return pl.when((days > EXACT_DAYS) & (would_be >= OLDEST)).then(EXACT_DAYS).otherwise(made).cast(pl.Int32)


def _interval_name(name: str) -> str:
    for ending in ("_on", "_until"):
        if name.endswith(ending):
            return f"{name.removesuffix(ending)}_days"
    return f"{name}_days"


def _column(column: Column, name: str, treatment: Treatment) -> Column:
    """The column as the export has it: its unit and definition follow what was done to it."""
    if treatment in (Treatment.INTERVAL, Treatment.COARSE) and name != YEAR:
        return replace(
            column, name=name, definition=f"Days from the day of the procedure to {column.name} [d]"
        )
    if name == YEAR:
        return replace(column, name=name, definition="Year in which the procedure started [a]")
    return column


def _why_dropped(column: Column) -> str:
    return {
        "staff": "left out: who operated is nothing this profile passes on",
        "place": "left out: a site is a place, and a small one",
        "label": "left out: short words of the service may hold anything",
    }.get(column.sensitivity, WORDS[Treatment.DROP])


def _changed(frame: pl.DataFrame, out: pl.DataFrame, one: Decision) -> int:
    """How many cells are not what was recorded."""
    if one.treatment is Treatment.KEEP:
        return 0
    before, after = frame[one.column], out[one.became]
    if one.treatment is Treatment.STUDY_KEY or before.dtype == pl.Date:
        return before.len() - before.null_count()
    return int((before.cast(pl.Float64) != after.cast(pl.Float64)).sum())
