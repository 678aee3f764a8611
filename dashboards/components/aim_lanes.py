"""Groups of procedures one below the other: length of the error, and its mean in each direction."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from dashboards.components import words
from dashboards.components.aim_words import limits
from dashboards.components.markup import Markup, element, joined, show
from dashboards.components.tables import download
from registry.numerals import signed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.aim import Basis, Lengths, Mean
    from registry.stats.vectors import RadiusQuantile

#: Where an axis of mean errors may end, mm to either side of the target.
_ENDS = (1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0)


@dataclass(frozen=True)
class AimRow:
    """One group: its name, its lengths, and its mean where the directions are known."""

    name: str
    lengths: Lengths
    mean: Mean | None
    left_out: int | None = None


def aim_lanes(rows: Sequence[AimRow], basis: Basis | None, minimum: int, *, caption: str, key: str) -> None:
    """Draw the groups on one scale, in the order in which they are given.

    Parameters
    ----------
    rows
        Groups; none is ranked.
    basis
        Directions of the means; None draws lengths only.
    minimum
        Below so many procedures only their number is shown.
    caption
        What the table shows.
    key
        Name of the file, without its ending.
    """
    if not rows:
        show(element("p", "No procedures.", class_="beside"))
        return
    end = axis_end(rows, minimum)
    directions = basis.directions if basis else ()
    heads = [
        element("th", "Group", scope="col"),
        element("th", "n", element("small", "left out"), scope="col", class_="number"),
        element("th", "Median, mm", element("small", "limits"), scope="col", class_="number"),
        element("th", "95th percentile", element("small", "limits"), scope="col", class_="number"),
        *(
            element(
                "th",
                f"{axis.minus} \u2013 {axis.plus}",
                _scale(end),
                scope="col",
                class_="lane-cell",
            )
            for axis in directions
        ),
    ]
    made = element(
        "table",
        element("caption", caption),
        element("thead", element("tr", *heads)),
        element("tbody", joined(_row(row, bool(basis), minimum, end) for row in rows)),
        class_="strip aims" if basis else "strip aims lengths",
    )
    show(element("div", made, class_="scroll", role="region", aria_label=caption, tabindex=0))
    note = "Limits of median and percentile from order statistics, 95\u202f%; one is not given where there are too few procedures for it."
    if basis:
        note += " Dot and line: mean in that direction with joint 95\u202f% limits, mm from the target; all groups on one scale. Of twenty groups without a systematic part one is expected to leave out 0."
    show(element("p", note, class_="beside"))
    download("Download these figures as CSV", figures(rows, basis), f"{key}.csv", key=f"csv {key}")


def axis_end(rows: Sequence[AimRow], minimum: int) -> float:
    """The smallest usual end, mm to either side, that holds all limits drawn."""
    highest = max(
        (
            abs(value)
            for row in rows
            if (mean := row.mean) is not None and mean.limits is not None and mean.n >= minimum
            for pair in mean.limits
            for value in pair
            if value is not None
        ),
        default=0.0,
    )
    return next((end for end in _ENDS if highest <= end), _ENDS[-1])


def _row(row: AimRow, has_lanes: bool, minimum: int, end: float) -> Markup:
    left_out = "" if row.left_out is None else words.count(row.left_out)
    cells = [
        element("th", row.name, element("small", _directed(row)) if has_lanes else None, scope="row"),
        element("td", words.count(row.lengths.n), element("small", left_out), class_="number"),
    ]
    if row.lengths.n < minimum:
        text = "too few" if row.lengths.n else words.NO_PROCEDURES
        return element("tr", *cells, element("td", text, colspan=5 if has_lanes else 2, class_="quiet"))
    cells += [_length(row.lengths.median), _length(row.lengths.high)]
    if has_lanes:
        cells += _lanes(row.mean, minimum, end)
    return element("tr", *cells)


def _directed(row: AimRow) -> str | None:
    return f"{words.count(row.mean.n)} in these directions" if row.mean is not None and row.mean.n else None


def _length(found: RadiusQuantile) -> Markup:
    low, high = found.ci
    both = "\u2013".join("\u2026" if limit is None else f"{limit:.1f}" for limit in (low, high))
    return element(
        "td",
        f"{found.radius:.1f}",
        element("small", both, title=limits(found.ci)),
        class_="number",
    )


def _lanes(mean: Mean | None, minimum: int, end: float) -> list[Markup]:
    if mean is None or mean.mean is None or mean.limits is None or mean.n < minimum:
        text = "too few for a mean" if mean is not None and mean.n else "none in these directions"
        return [element("td", text, colspan=3, class_="quiet")]
    return [
        element("td", _lane(value, low or 0.0, high or 0.0, end), class_="lane-cell")
        for value, (low, high) in zip(mean.mean, mean.limits, strict=True)
    ]


def _at(value: float, end: float) -> str:
    return f"{50 + 50 * min(max(value / end, -1.0), 1.0):.2f}%"


def _lane(value: float, low: float, high: float, end: float) -> Markup:
    width = f"{50 * (min(high, end) - max(low, -end)) / end:.2f}%"
    marks = [
        element("i", class_="grid", style=f"left:{_at(-end, end)}"),
        element("i", class_="grid zero", style=f"left:{_at(0.0, end)}"),
        element("i", class_="grid", style=f"left:{_at(end, end)}"),
        element("i", class_="span", style=f"left:{_at(low, end)};width:{width}"),
        element("i", class_="dot", style=f"left:{_at(value, end)}"),
    ]
    return joined(
        [
            element("div", *marks, class_="lane", aria_hidden="true"),
            element(
                "small",
                f"{signed(value)} ",
                element("span", f"({signed(low)} to {signed(high)})", class_="whole"),
            ),
        ]
    )


def _scale(end: float) -> Markup:
    ticks = [
        element(
            "span",
            signed(value) if value % 1 else signed(value).removesuffix(".0"),
            class_="tick",
            style=f"left:{_at(value, end)}",
        )
        for value in (-end, 0.0, end)
    ]
    return element("div", *ticks, class_="scale")


def figures(rows: Sequence[AimRow], basis: Basis | None) -> pl.DataFrame:
    """What is drawn as a flat table: lengths in mm, means by the names of the directions."""
    made = []
    for row in rows:
        flat: dict[str, object] = {"group": row.name, "n": row.lengths.n, "left_out": row.left_out}
        for name, found in (("median", row.lengths.median), ("p95", row.lengths.high)):
            flat |= {f"{name}_mm": found.radius, f"{name}_lower": found.ci[0], f"{name}_upper": found.ci[1]}
        flat["p95_upper_bound"] = row.lengths.high.upper_bound
        flat["vectors"] = row.mean.n if row.mean else None
        for place, axis in enumerate(basis.directions if basis else ()):
            known = row.mean is not None and row.mean.mean is not None and row.mean.limits is not None
            low, high = row.mean.limits[place] if known else (None, None)  # type: ignore[index,union-attr]
            flat |= {
                f"mean_{axis.plus}_mm": row.mean.mean[place] if known else None,  # type: ignore[index,union-attr]
                f"mean_{axis.plus}_lower": low,
                f"mean_{axis.plus}_upper": high,
            }
        made.append(flat)
    return pl.DataFrame(made, infer_schema_length=None)
