"""Quantities: median with its interval, quartiles and extremes, each on a scale of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from dashboards.answers import counted
from dashboards.components import words
from dashboards.components.groups import stratum_label, stratum_name
from dashboards.components.markup import Markup, element, joined, show
from dashboards.components.tables import download
from registry.numerals import measured

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.measures import Measure

#: Heading of each column, what stands below it in small, and its class.
_HEADS = (
    ("", None, None),
    ("n", "missing", "number"),
    ("Median", "interval", "number"),
    ("Quartiles", "5th to 95th percentile", "number"),
    ("Drawn", None, "lane-cell"),
)


def quantity_table(shown: Sequence[Measure], *, key: str, by: str | None = None) -> None:
    """Draw quantities of several measures, or one measure by stratum.

    Parameters
    ----------
    shown
        Quantities, drawn in this order.
    key
        Name of the CSV file, without its ending.
    by
        Split the first of them by this.
    """
    rows = counted.results([one.id for one in shown], by=by)
    titles = {one.id: one.title for one in shown}
    if not rows:
        show(element("p", "No procedures.", class_="beside"))
        return
    ends = _ends(rows) if by else None
    body = [
        _row(row, titles[row["measure"]] if by is None else stratum_label(by, row["stratum"]), ends)
        for row in rows
    ]
    caption = f"{shown[0].title}, by {stratum_name(by)}" if by else "; ".join(titles.values())
    first = "Measure" if by is None else "Stratum"
    head = element(
        "tr",
        *(
            element("th", text or first, element("small", small) if small else None, scope="col", class_=kind)
            for text, small, kind in _HEADS
        ),
    )
    made = element(
        "table",
        element("caption", caption),
        element("thead", head),
        element("tbody", joined(body)),
        class_="strip quantities",
    )
    show(element("div", made, class_="scroll", role="region", aria_label=caption, tabindex=0))
    scale = "All rows on one scale." if by else "Each row on a scale of its own."
    text = f"Thin line 5th to 95th percentile, thick line quartiles, dot median. {scale} Interval of the median from order statistics, {100 * rows[0].get('confidence', 0.95):g}{words.NARROW}%."
    show(element("p", text, class_="beside"))
    show(element("p", words.provenance(rows[0]), class_="provenance"))
    download("Download these figures as CSV", _flat(rows), f"{key}.csv", key=f"csv {key}")


def _row(row: dict[str, Any], name: str, ends: tuple[float, float] | None) -> Markup:
    missing = f"{words.count(row['missing'])} missing"
    if not row["n"]:
        cells = [_pair("0", missing), _pair(words.NO_PROCEDURES, ""), element("td"), element("td")]
        return element("tr", element("th", name, scope="row"), *cells)

    def between(low: str, high: str) -> str:
        if row[low] is None or row[high] is None:
            return "no interval"
        return words.between(row[low], row[high], row["unit"])

    cells = [
        _pair(words.count(row["n"]), missing),
        _pair(
            f"{measured(row['median'], row['unit'])}{words.NARROW}{row['unit']}",
            between("lower", "upper"),
        ),
        _pair(between("q1", "q3"), between("p5", "p95")),
        element("td", _lane(row, ends), class_="lane-cell"),
    ]
    return element("tr", element("th", name, scope="row"), *cells)


def _pair(text: str, small: str) -> Markup:
    return element("td", text, element("small", small), class_="number")


def _ends(rows: list[dict[str, Any]]) -> tuple[float, float] | None:
    known = [row for row in rows if row["n"]]
    return (min(row["p5"] for row in known), max(row["p95"] for row in known)) if known else None


def _lane(row: dict[str, Any], ends: tuple[float, float] | None) -> Markup:
    low, high = ends or (row["p5"], row["p95"])
    width = high - low or 1.0

    def at(value: float) -> str:
        return f"{100 * min(max((value - low) / width, 0.0), 1.0):.2f}%"

    def between(start: float, end: float) -> str:
        return f"left:{at(start)};width:{100 * (end - start) / width:.2f}%"

    marks = [
        element("i", class_="whisker", style=between(row["p5"], row["p95"])),
        element("i", class_="span", style=between(row["q1"], row["q3"])),
        element("i", class_="dot", style=f"left:{at(row['median'])}"),
    ]
    return element("div", *marks, class_="lane", aria_hidden="true")


def _flat(rows: list[dict[str, Any]]) -> pl.DataFrame:
    return pl.DataFrame(
        [{**row, "excluded": "; ".join(f"{k}: {v}" for k, v in row["excluded"].items())} for row in rows],
        infer_schema_length=None,
    )
