"""Results as tables of at most 100 columns; everything else of them stands in JSON and CSV."""

from __future__ import annotations

import textwrap
from typing import Any

from registry.commands.common import Format, print_rows, say

Row = dict[str, Any]
WIDTH = 100


def print_proportions(rows: list[Row], minimum: int) -> None:
    """x of n, rate with its interval, how many were left out, patients; then what else must be said.

    Parameters
    ----------
    rows
        Results with the field names of the measure definitions.
    minimum
        Smallest denominator for which a percentage is shown.
    """
    _print(rows, lambda row: _proportion(row, minimum))
    methods = {f"{row['method']}, {100 * row['confidence']:g} %" for row in rows}
    paragraph(f"Interval: {'; '.join(sorted(methods))}; of 0 events the one-sided upper bound.")
    shown = [
        row for row in rows if row["bounds"] and row["bounds"]["unknown"] and row["denominator"] >= minimum
    ]
    if parts := [_bounds(row) for row in shown if row["bounds"]["lower"] is not None]:
        paragraph(
            f"With none or all of the procedures counted whose outcome is not known: {'; '.join(parts)}."
        )


def print_quantities(rows: list[Row]) -> None:
    """Median with its interval, quartiles, how many were measured, missing and left out."""
    _print(rows, _quantity)
    levels = {f"{100 * row['confidence']:g} %" for row in rows}
    paragraph(f"Interval of the median: order statistics, {'; '.join(sorted(levels))}.")


def say_left_out() -> None:
    """Where the reasons stand for which a table has no room."""
    say("Reasons for leaving out: --format json or csv.")


def _print(rows: list[Row], cells: Any) -> None:
    """One table; where results are split, one for each measure with the strata as its rows."""
    if all(row["stratum"] == "all" for row in rows):
        print_rows([{"measure": row["measure"], **cells(row)} for row in rows], Format.TABLE, width=WIDTH)
        return
    for measure in dict.fromkeys(row["measure"] for row in rows):
        say(f"\n{measure}")
        own = [row for row in rows if row["measure"] == measure]
        print_rows([{"stratum": row["stratum"], **cells(row)} for row in own], Format.TABLE, width=WIDTH)


def paragraph(text: str) -> None:
    """A text in lines of at most 100 columns."""
    say(textwrap.fill(text, WIDTH, break_on_hyphens=False))


def _proportion(row: Row, minimum: int) -> Row:
    return {
        "x / n": f"{row['numerator']:,} / {row['denominator']:,}",
        "rate (interval)": _rate(row, minimum),
        "left out": sum(row["excluded"].values()),
        "patients": row["patients"],
    }


def _rate(row: Row, minimum: int) -> str:
    if row["denominator"] == 0:
        return "no procedures"
    if row["denominator"] < minimum:
        return f"fewer than {minimum}: counts only"
    if row["numerator"] == 0 and row["upper_bound_no_events"] is not None:
        return f"0 % (at most {100 * row['upper_bound_no_events']:.1f})"
    return f"{100 * row['proportion']:.1f} % ({100 * row['lower']:.1f} to {100 * row['upper']:.1f})"


def _bounds(row: Row) -> str:
    bounds = row["bounds"]
    name = row["measure"] if row["stratum"] == "all" else f"{row['measure']}, {row['stratum']}"
    return f"{name} {100 * bounds['lower']:.1f} to {100 * bounds['upper']:.1f} % ({bounds['unknown']:,} not known)"


def _quantity(row: Row) -> Row:
    made = {"n": row["n"], "missing": row["missing"], "median (interval)": "no procedures", "quartiles": ""}
    if row["n"]:
        interval = _range(row["lower"], row["upper"])
        made["median (interval)"] = f"{_figure(row['median'])} {row['unit']}" + (
            f" ({interval})" if interval else ""
        )
        made["quartiles"] = _range(row["q1"], row["q3"])
    return {**made, "left out": sum(row["excluded"].values())}


def _range(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{_figure(low)} to {_figure(high)}"


def _figure(number: float) -> str:
    """About three figures."""
    return f"{number:.0f}" if abs(number) >= 100 else f"{number:.3g}"
