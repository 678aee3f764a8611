"""The strip: measures as rows of one shared axis, to be read like a forest plot.

Each row has its name, the counts, a dot with its interval, a tick where a target is set,
the figure in words, and below the interval the last eight quarters as small dots, the
newest at the top. It is a table whose cells happen to be drawn, so that it prints, takes
any width, and can be read aloud.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from dashboards.components import words
from dashboards.components.lane import StripRow, Target, axis_end, lane, scale
from dashboards.components.markup import Markup, element, joined, show
from dashboards.components.tables import download

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["StripRow", "Target", "axis_end", "strip", "strip_table"]

#: Field names of the measure definitions, in the order of the file.
_COLUMNS = "measure stratum numerator denominator proportion lower upper confidence interval method patients as_of from to registry"


def strip(rows: Sequence[StripRow], minimum: int, *, caption: str, full_axis: bool, key: str) -> None:
    """Draw a strip, its legend, its provenance and the file of its figures.

    Parameters
    ----------
    rows
        In the order in which they are drawn; none is ranked.
    minimum
        Smallest denominator for which a percentage is shown.
    caption
        What the strip shows.
    full_axis
        Draw 0 to 100 % even where all figures are small.
    key
        Name of the file, without its ending.
    """
    end = 1.0 if full_axis else axis_end(rows, minimum)
    show(strip_table(rows, minimum, caption, end))
    show(_legend(rows, minimum))
    download("Download these figures as CSV", figures(rows), f"{key}.csv", key=f"csv {key}")


def strip_table(rows: Sequence[StripRow], minimum: int, caption: str, end: float) -> Markup:
    """The table of a strip whose axis runs from 0 to ``end``."""
    head = element(
        "tr",
        element("th", "Measure", scope="col"),
        element("th", "Count", scope="col", class_="number"),
        element("th", scale(end), scope="col", class_="lane-cell"),
        element("th", "Figure and interval", scope="col", class_="figure"),
    )
    parts: list[Markup] = []
    heading = ""
    for row in rows:
        if row.heading != heading:
            heading = row.heading
            parts.append(element("tr", element("th", heading, colspan=4, scope="colgroup"), class_="group"))
        parts.append(_row(row, minimum, end))
    made = element(
        "table",
        element("caption", caption),
        element("thead", head),
        element("tbody", joined(parts)),
        class_="strip",
    )
    return element("div", made, class_="strip-frame")


def figures(rows: Sequence[StripRow]) -> pl.DataFrame:
    """What the strip shows, as a flat table with the field names of the measure definitions."""
    names = _COLUMNS.split()
    made = []
    for row in rows:
        flat = {name: row.result.get(name) for name in names}
        left_out = "; ".join(f"{reason}: {number}" for reason, number in row.result["excluded"].items())
        quarters = "; ".join(
            f"{name} {one['numerator']}/{one['denominator']}" for name, one in row.quarters if one
        )
        made.append({**flat, "excluded": left_out, "quarters": quarters})
    return pl.DataFrame(made, infer_schema_length=None)


def _row(row: StripRow, minimum: int, end: float) -> Markup:
    shown = words.figure(row.result, minimum)
    muted = "" if shown.value is not None else " quiet"
    return element(
        "tr",
        element("th", words.whole_dates(row.name), scope="row"),
        element(
            "td", shown.counts, element("small", words.left_out(row.result["excluded"])), class_="number"
        ),
        element("td", lane(row, shown, minimum, end), class_="lane-cell"),
        element("td", shown.short, element("small", shown.range), class_=f"figure{muted}"),
    )


def _legend(rows: Sequence[StripRow], minimum: int) -> Markup:
    shown = [(row, words.figure(row.result, minimum)) for row in rows]
    first = rows[0].result if rows else None
    level = f"{100 * first['confidence']:g}{words.NARROW}%" if first else ""
    method = first["method"] if first else ""
    entries: list[tuple[tuple[str, ...], str]] = [
        (("span", "dot"), f"figure with {level} interval ({method})")
    ]
    if any(one.kind == "zero" for _, one in shown):
        entries.append((("span open", "dot hollow"), f"none seen: one-sided upper {level} bound"))
    if any((row.result.get("bounds") or {}).get("unknown") for row, one in shown if one.value is not None):
        entries.append((("unknown",), "range if the unknown outcomes were known"))
    for one in dict.fromkeys(target for row in rows for target in row.targets):
        entries.append((("target",), f"target switched on by the service: {one.figure}, {one.words}"))
    if any(row.quarters for row in rows):
        entries.append(
            (("quarter age0", "quarter age3", "quarter age6"), "last eight quarters, newest on top")
        )
    made = [
        element("li", element("span", *(element("i", class_=kind) for kind in kinds), class_="sample"), text)
        for kinds, text in entries
    ]
    made.append(element("li", f"No percentage below {minimum} procedures."))
    line = element("p", words.provenance(first), class_="provenance") if first else None
    return element("div", element("ul", *made, class_="legend"), line)
