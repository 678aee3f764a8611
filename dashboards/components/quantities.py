"""Quantities: median with its interval, quartiles and extremes, each on a scale of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from dashboards import session
from dashboards.components import words
from dashboards.components.groups import stratum_label, stratum_name
from dashboards.components.markup import Markup, element, joined, show
from dashboards.components.tables import download

if TYPE_CHECKING:
    from collections.abc import Sequence

    from registry.measures import Measure

_HEADS = (
    ("", None),
    ("n", "number"),
    ("Missing", "number"),
    ("Median (interval)", "number"),
    ("Quartiles", "number"),
    ("5th to 95th percentile", "number"),
    ("Drawn", "lane-cell"),
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
    rows = session.results([one.id for one in shown], by=by)
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
    head = element(
        "tr",
        *(
            element("th", text or ("Measure" if by is None else "Stratum"), scope="col", class_=kind)
            for text, kind in _HEADS
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
    unit = row["unit"]
    if not row["n"]:
        cells = [
            element("td", text, class_="number")
            for text in ("0", str(row["missing"]), words.NO_PROCEDURES, "", "")
        ]
        return element("tr", element("th", name, scope="row"), *cells, element("td"))
    interval = (
        f" ({words.number(row['lower'], unit)}–{words.number(row['upper'], unit)})"
        if row["lower"] is not None and row["upper"] is not None
        else ""
    )
    texts = (
        words.count(row["n"]),
        words.count(row["missing"]),
        f"{words.number(row['median'], unit)} {unit}{interval}",
        f"{words.number(row['q1'], unit)}–{words.number(row['q3'], unit)}",
        f"{words.number(row['p5'], unit)}–{words.number(row['p95'], unit)}",
    )
    cells = [element("td", text, class_="number") for text in texts]
    return element(
        "tr", element("th", name, scope="row"), *cells, element("td", _lane(row, ends), class_="lane-cell")
    )


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
