"""The numbers that a funnel is made of: the same on a page and on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

if TYPE_CHECKING:
    from registry.units.funnel import Funnel, Unit

UNNAMED, OWN = "not named", "you"
LEAST_SPAN = 0.05
"""The axis of shares is never shorter than this."""


def name_of(unit: Unit) -> str:
    """The code, with "you" beside one's own; or that it is not named."""
    if unit.code is None:
        return UNNAMED
    return f"{unit.code} ({OWN})" if unit.own else unit.code


def unit_frame(found: Funnel) -> pl.DataFrame:
    """One row a unit with everything that may be shown of it."""
    rows = [
        {
            found.by: name_of(one),
            "x": one.x,
            "n": one.n,
            "left_out": sum(one.excluded.values()),
            "rate": one.proportion,
            "lower": one.lower,
            "upper": one.upper,
            "expected": one.expected,
            "observed_over_expected": one.ratio,
            "observed_over_expected_lower": one.ratio_lower,
            "observed_over_expected_upper": one.ratio_upper,
            "outside": one.outside,
            "p_exact": one.p,
            "p_adjusted": one.adjusted,
            "worth_a_look": one.flagged,
            "deviation": one.deviation,
            "deviation_with_spread": one.deviation_spread,
            "shrunken": one.shrunken,
            "shrunken_lower": one.shrunken_lower,
            "shrunken_upper": one.shrunken_upper,
            "shrunken_logit_normal": one.shrunken_otherwise,
            "role": one.background.role if one.background else None,
            "experience_before": one.background.experience_before if one.background else None,
            "supervised": one.background.supervised if one.background else None,
            "supervisors": "; ".join(one.background.supervisors) if one.background else None,
        }
        for one in found.units
    ]
    return pl.DataFrame(rows, infer_schema_length=None)


def marks(found: Funnel) -> pl.DataFrame:
    """What is drawn of the units that are looked at.

    Returns
    -------
    DataFrame
        name (empty where it may not be known), n, rate, lower, upper (shares), kind:
        ``own``, ``flagged`` or ``other``.
    """
    return pl.DataFrame(
        [
            {
                "name": (one.code or "") + (f" ({OWN})" if one.own else ""),
                "n": one.n,
                "rate": one.proportion,
                "lower": one.lower,
                "upper": one.upper,
                "kind": "own" if one.own else "flagged" if one.flagged else "other",
            }
            for one in found.units
            if one.proportion is not None
        ]
    )


def limit_lines(found: Funnel) -> pl.DataFrame:
    """The limits as drawn: n, low_998, low_95, high_95, high_998."""
    names = ["n", "low_998", "low_95", "high_95", "high_998"]
    return pl.DataFrame(found.lines, schema=names, orient="row")


def axis(units: pl.DataFrame, lines: pl.DataFrame) -> tuple[float, float]:
    """From just below the lowest interval or inner limit to just above the highest, within 0 and 1."""
    seen = [*units.get_column("lower"), *units.get_column("upper")]
    if lines.height:
        # Where the units are: the limits at the minimum reach far beyond and would flatten all else.
        near = lines.filter(pl.col("n") >= units.get_column("n").min())
        seen += [*near.get_column("low_998"), *near.get_column("high_998")]
    return around(seen)


def around(seen: list[float]) -> tuple[float, float]:
    """An axis of shares with room around what is drawn."""
    low, high = min(seen), max(seen)
    room = max(LEAST_SPAN - (high - low), 0.08 * (high - low), 0.0)
    return max(0.0, low - room), min(1.0, high + room)
