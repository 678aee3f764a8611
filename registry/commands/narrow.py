"""Results as tables of at most 100 columns; everything else of them stands in JSON and CSV."""

from __future__ import annotations

import textwrap
from typing import Any

from registry.commands.common import Format, print_rows, say
from registry.numerals import AT_MOST, grouped

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


def print_curve(row: Row, minimum: int) -> None:
    """Cumulative incidence by each estimate at the days at which it is read, with those still at risk.

    Parameters
    ----------
    row
        One result with the field names of the measure definitions.
    minimum
        Fewest units for which a percentage is shown.
    """
    _head(row, row["n"])
    print_rows(
        [
            {
                "estimate": part["estimate"],
                "days": part["days"],
                "incidence (interval)": _incidence(part, row["n"], minimum),
                "at risk": grouped(part["at_risk"]),
            }
            for part in row["rows"]
        ],
        Format.TABLE,
        width=WIDTH,
    )


def say_of_curves(row: Row) -> None:
    """What the two estimates mean, once below all curves."""
    paragraph(
        f"Death competes; interval: {row['interval']}, {100 * row['confidence']:g} %. `lost` is usually too high, as women come "
        "back because something is found; `free` too low, as what was not looked for was not found."
    )


def print_categories(row: Row, minimum: int) -> None:
    """The cross table of B categories with outcomes, its ratios, and what must hold of them.

    Parameters
    ----------
    row
        One result with the field names of the measure definitions.
    minimum
        Smallest denominator for which a percentage is shown.
    """
    _head(row, row["total"])
    named = {"m": "cancer", "b": "excised, no cancer", "n": "neither"}
    lines = {named[outcome]: counts for outcome, counts in row["cells"].items()}
    lines["all"] = [sum(column) for column in zip(*row["cells"].values(), strict=True)]
    lines["not resolved"] = row["unresolved"]
    print_rows(
        [
            {"outcome": outcome, **{f"B{k}": grouped(one) for k, one in enumerate(counts, 1)}}
            for outcome, counts in lines.items()
        ],
        Format.TABLE,
        width=WIDTH,
    )
    print_rows(
        [
            {
                "ratio": part["name"],
                "x / n": f"{grouped(part['x'])} / {grouped(part['n'])}",
                "rate (interval)": _share(part, part["n"], minimum),
                "not resolved": "" if part["unresolved"] is None else grouped(part["unresolved"]),
            }
            for part in row["rows"]
        ],
        Format.TABLE,
        width=WIDTH,
    )
    held = "; ".join(
        f"{name}: {'holds' if holds else 'DOES NOT HOLD'}" for name, holds in row["identities"].items()
    )
    paragraph(
        f"Interval: {row['interval'].capitalize()}, {100 * row['confidence']:g} %. Checked: {held.replace('<=', AT_MOST)}."
    )


def _head(row: Row, n: int) -> None:
    left_out = sum(row["excluded"].values())
    say(
        f"{row['measure']}, {row['stratum']}: {grouped(n)} procedures of {grouped(row['patients'])} patients, {grouped(left_out)} left out."
    )


def _incidence(part: Row, n: int, minimum: int) -> str:
    if n and not part["at_risk"]:
        return "nobody followed so long"
    return _share(part | {"proportion": part["incidence"]}, n, minimum)


def _share(part: Row, n: int, minimum: int) -> str:
    if not n:
        return "no procedures"
    if n < minimum:
        return f"fewer than {minimum}: counts only"
    rate = "not known" if part["proportion"] is None else f"{100 * part['proportion']:.1f} %"
    limits = [part["lower"], part["upper"]]
    return rate if None in limits else f"{rate} ({100 * limits[0]:.1f} to {100 * limits[1]:.1f})"


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
        "x / n": f"{grouped(row['numerator'])} / {grouped(row['denominator'])}",
        "rate (interval)": _rate(row, minimum),
        "left out": grouped(sum(row["excluded"].values())),
        "patients": grouped(row["patients"]),
    }


def _rate(row: Row, minimum: int) -> str:
    if row["denominator"] >= minimum and row["numerator"] == 0 and row["upper_bound_no_events"] is not None:
        return f"0 % (at most {100 * row['upper_bound_no_events']:.1f})"
    return _share(row, row["denominator"], minimum)


def _bounds(row: Row) -> str:
    bounds = row["bounds"]
    name = row["measure"] if row["stratum"] == "all" else f"{row['measure']}, {row['stratum']}"
    return f"{name} {100 * bounds['lower']:.1f} to {100 * bounds['upper']:.1f} % ({grouped(bounds['unknown'])} not known)"


def _quantity(row: Row) -> Row:
    made = {
        "n": grouped(row["n"]),
        "missing": grouped(row["missing"]),
        "median (interval)": "no procedures",
        "quartiles": "",
    }
    if row["n"]:
        interval = _range(row["lower"], row["upper"])
        made["median (interval)"] = f"{_figure(row['median'])} {row['unit']}" + (
            f" ({interval})" if interval else ""
        )
        made["quartiles"] = _range(row["q1"], row["q3"])
    return {**made, "left out": grouped(sum(row["excluded"].values()))}


def _range(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{_figure(low)} to {_figure(high)}"


def _figure(number: float) -> str:
    """About three figures."""
    return f"{number:.0f}" if abs(number) >= 100 else f"{number:.3g}"
