"""The strip: measures as rows of one shared axis, to be read like a forest plot.

Each row has its name, the counts, a dot with its interval, a tick where a target is set,
the figure in words, and below the interval the last eight quarters as small dots, the
newest at the top. It is a table whose cells happen to be drawn, so that it prints, takes
any width, and can be read aloud.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from dashboards.components import words
from dashboards.components.markup import Markup, element, joined, show
from dashboards.components.tables import download

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Ends an axis may have, and into how many parts each is divided.
_AXES = {0.05: 5, 0.1: 5, 0.2: 4, 0.3: 3, 0.5: 5, 1.0: 4}
#: Pixels: where the lane of the quarters begins, and the step from one to the next.
_LANE_TOP, _LANE_STEP = 21.0, 2.6


@dataclass(frozen=True)
class Target:
    """A target that the site has switched on: its value, 0 to 1, and whose it is."""

    value: float
    words: str


@dataclass(frozen=True)
class StripRow:
    """One row: its name, its result, the last quarters oldest first, and a target where one is set.

    ``heading`` opens a group of rows; rows with the same heading follow each other.
    """

    name: str
    result: dict[str, Any]
    quarters: tuple[tuple[str, dict[str, Any] | None], ...] = ()
    target: Target | None = None
    heading: str = ""


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


def axis_end(rows: Sequence[StripRow], minimum: int) -> float:
    """The smallest usual end of an axis, 0.05 to 1, that holds everything drawn."""
    highest = 0.0
    for row in rows:
        shown = words.figure(row.result, minimum)
        drawn = [
            shown.high,
            *(value for _, value in _quarter_values(row, minimum)),
            row.target.value if row.target else None,
        ]
        bounds = row.result.get("bounds") or {}
        drawn.append(bounds.get("upper") if shown.value is not None else None)
        highest = max([highest, *(value for value in drawn if value is not None)])
    return next(end for end in _AXES if highest <= end or end == 1.0)


def strip_table(rows: Sequence[StripRow], minimum: int, caption: str, end: float) -> Markup:
    """The table of a strip whose axis runs from 0 to ``end``."""
    ticks = [end * part / _AXES[end] for part in range(_AXES[end] + 1)]
    head = element(
        "tr",
        element("th", "Measure", scope="col"),
        element("th", "Count", scope="col", class_="number"),
        element("th", _scale(ticks, end), scope="col", class_="lane-cell"),
        element("th", "Figure and interval", scope="col", class_="figure"),
    )
    parts: list[Markup] = []
    heading = ""
    for row in rows:
        if row.heading != heading:
            heading = row.heading
            parts.append(element("tr", element("th", heading, colspan=4, scope="colgroup"), class_="group"))
        parts.append(_row(row, minimum, ticks, end))
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
    names = (
        "measure",
        "stratum",
        "numerator",
        "denominator",
        "proportion",
        "lower",
        "upper",
        "confidence",
        "interval",
        "patients",
        "as_of",
        "from",
        "to",
        "registry",
    )
    made = []
    for row in rows:
        flat = {name: row.result.get(name) for name in names}
        left_out = "; ".join(f"{reason}: {number}" for reason, number in row.result["excluded"].items())
        quarters = "; ".join(
            f"{name} {one['numerator']}/{one['denominator']}" for name, one in row.quarters if one
        )
        made.append({**flat, "excluded": left_out, "quarters": quarters})
    return pl.DataFrame(made, infer_schema_length=None)


# -- cells -----------------------------------------------------------------------------


def _row(row: StripRow, minimum: int, ticks: list[float], end: float) -> Markup:
    shown = words.figure(row.result, minimum)
    muted = "" if shown.value is not None else " quiet"
    return element(
        "tr",
        element("th", row.name, scope="row"),
        element("td", shown.counts if shown.kind != "none" else "0", class_="number"),
        element("td", _lane(row, shown, minimum, ticks, end), class_="lane-cell"),
        element("td", shown.short, class_=f"figure{muted}"),
    )


def _place(value: float, end: float) -> str:
    return f"{100 * value / end:.2f}%"


def _mark(kind: str, left: str, **style: str) -> Markup:
    rest = "".join(f";{name}:{value}" for name, value in style.items())
    return element("i", class_=kind, style=f"left:{left}{rest}")


def _scale(ticks: list[float], end: float) -> Markup:
    labels = [
        element("span", f"{100 * tick:g}", class_="tick", style=f"left:{_place(tick, end)}")
        for tick in ticks[:-1]
    ]
    labels.append(element("span", f"{100 * ticks[-1]:g}{words.NARROW}%", class_="tick", style="left:100%"))
    return element("div", *labels, class_="scale")


def _lane(row: StripRow, shown: words.Figure, minimum: int, ticks: list[float], end: float) -> Markup:
    marks = [_mark("grid", _place(tick, end)) for tick in ticks]
    bounds = row.result.get("bounds") or {}
    if shown.value is not None and bounds.get("unknown") and bounds["lower"] is not None:
        marks.append(
            _mark(
                "unknown", _place(bounds["lower"], end), width=_place(bounds["upper"] - bounds["lower"], end)
            )
        )
    if shown.low is not None and shown.high is not None:
        kind = "span open" if shown.kind == "zero" else "span"
        marks.append(_mark(kind, _place(shown.low, end), width=_place(shown.high - shown.low, end)))
    if shown.value is not None:
        marks.append(_mark("dot hollow" if shown.kind == "zero" else "dot", _place(shown.value, end)))
    if row.target:
        marks.append(_mark("target", _place(row.target.value, end)))
    quarters = _quarter_values(row, minimum)
    for age, (_, value) in enumerate(reversed(quarters)):
        if value is not None:
            marks.append(
                _mark(f"quarter age{age}", _place(value, end), top=f"{_LANE_TOP + age * _LANE_STEP:.1f}px")
            )
    kind = "lane" if row.quarters else "lane single"
    return element("div", *marks, class_=kind, role="img", aria_label=_spoken(row, shown, quarters))


def _quarter_values(row: StripRow, minimum: int) -> list[tuple[str, float | None]]:
    return [
        (name, one["proportion"] if one and one["denominator"] >= minimum else None)
        for name, one in row.quarters
    ]


def _spoken(row: StripRow, shown: words.Figure, quarters: list[tuple[str, float | None]]) -> str:
    parts = [shown.sentence]
    if row.target:
        parts.append(f"Target {words.percent(row.target.value)}, {row.target.words}.")
    known = [f"{name} {words.percent(value)}" for name, value in quarters if value is not None]
    if known:
        parts.append(f"By quarter: {', '.join(known)}.")
    return " ".join(parts)


# -- legend ----------------------------------------------------------------------------


def _legend(rows: Sequence[StripRow], minimum: int) -> Markup:
    shown = [(row, words.figure(row.result, minimum)) for row in rows]
    first = rows[0].result if rows else None
    level = f"{100 * first['confidence']:g}{words.NARROW}%" if first else ""
    method = words.METHODS.get(first["interval"], first["interval"]) if first else ""
    entries = [(("span", "dot"), f"figure with {level} {method} interval")]
    if any(one.kind == "zero" for _, one in shown):
        entries.append((("span open", "dot hollow"), f"none seen: one-sided upper {level} bound"))
    if any((row.result.get("bounds") or {}).get("unknown") for row, one in shown if one.value is not None):
        entries.append((("unknown",), "range if the unknown outcomes were known"))
    if any(row.target for row in rows):
        entries.append((("target",), "target switched on by the site"))
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
