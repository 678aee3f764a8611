"""Specimen uptake page: concentration ratios by diagnosis, drawn and as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from dashboards import session
from dashboards.answers import uptake
from dashboards.components import words
from dashboards.components.chart import chart
from dashboards.components.markup import element, show
from dashboards.components.palette import ACCENT, INK, MUTED
from dashboards.components.tables import table
from registry.uptake.diagnosis import NO_REPORT, RATIO
from registry.vocabulary import labels

if TYPE_CHECKING:
    from registry.stats.quantiles import Spread
    from registry.uptake import DiagnosisGroup

#: More marks than this only darken the drawing; the file of the measure holds all of them.
DRAWN_MARKS = 1500
_ROW_PIXELS = 34
AXIS = "times an even spread through the body, g/g"


def ratios_by_diagnosis() -> None:
    """Medians with their intervals over the single procedures; counts only where these are few."""
    groups = uptake.by_diagnosis()
    if not groups:
        show(element("p", "No procedures with a concentration ratio.", class_="beside"))
        return
    minimum = session.minimum_n()
    drawn = [one for one in groups if one.ratio.n >= minimum]
    if drawn:
        _draw(drawn)
    table(
        "Concentration ratio by diagnosis",
        [
            "Diagnosis at biopsy",
            "Procedures (patients)",
            "Median (95 % interval)",
            "Quartiles",
            "Median over SUV max, procedures",
        ],
        [_cells(one, minimum) for one in groups],
        frozenset(range(1, 5)),
    )
    text = (
        "Activity per gram of tissue over injected activity per gram of body, both at the time of injection; 1 (dotted) is an even spread. "
        "Over SUV max: the same divided by the lesion's maximum standardised uptake value, where one is recorded and the guidance was no gamma imaging. "
        "Intervals of the median from order statistics; thin cores read too low, so compare within one scanner."
    )
    show(element("p", text, class_="beside"))


def diagnosis_name(code: str) -> str:
    """Label of a diagnosis; ``no report`` as it stands."""
    return "No report" if code == NO_REPORT else labels("pathology", "diagnosis").get(code, code)


def _cells(one: DiagnosisGroup, minimum: int) -> list[object]:
    lies = one.ratio
    few = lies.n < minimum
    quartiles = "" if few else f"{ratio_text(lies.q1)}–{ratio_text(lies.q3)}"
    over = "too few" if one.over_lesion.n < minimum else _median(one.over_lesion)
    return [
        diagnosis_name(one.diagnosis),
        f"{words.count(lies.n)} ({words.count(one.patients)})",
        "too few" if few else _median(lies),
        quartiles,
        f"{over}, {words.count(one.over_lesion.n)}",
    ]


def _median(lies: Spread) -> str:
    if lies.lower is None or lies.upper is None:
        return f"{ratio_text(lies.median)} (no interval)"
    return f"{ratio_text(lies.median)} ({ratio_text(lies.lower)}–{ratio_text(lies.upper)})"


def ratio_text(value: float | None) -> str:
    """A concentration ratio with two decimals; nothing where there is none."""
    return "" if value is None else f"{value:.2f}"


def _draw(groups: list[DiagnosisGroup]) -> None:
    names = {one.diagnosis: f"{diagnosis_name(one.diagnosis)}, {words.count(one.ratio.n)}" for one in groups}
    frame = pl.DataFrame(
        [
            {
                "diagnosis": names[one.diagnosis],
                "procedures": one.ratio.n,
                "median": one.ratio.median,
                "lower": one.ratio.lower,
                "upper": one.ratio.upper,
                "q1": one.ratio.q1,
                "q3": one.ratio.q3,
            }
            for one in groups
        ]
    )
    single = (
        uptake.readings()
        .filter(pl.col(RATIO).is_not_null())
        .with_columns(pl.col("diagnosis").fill_null(NO_REPORT).replace(names))
        .filter(pl.col("diagnosis").is_in(list(names.values())))
        .select("diagnosis", pl.col(RATIO).round(3).alias("ratio"))
    )
    described = "; ".join(f"{names[one.diagnosis]} procedures: median {_median(one.ratio)}" for one in groups)
    chart(
        dot_plot(frame, single.tail(DRAWN_MARKS)),
        title="Concentration ratio by diagnosis: median with its interval, over the single procedures",
        description=f"One row per diagnosis. {described}.",
        frame=frame,
        file_name="specimen uptake by diagnosis.csv",
    )


def dot_plot(frame: pl.DataFrame, single: pl.DataFrame) -> dict[str, Any]:
    """Vega-Lite specification: per diagnosis faint ticks, the interval of the median, and its dot.

    Parameters
    ----------
    frame
        diagnosis, median, lower, upper; rows in the order in which they are drawn.
    single
        diagnosis, ratio: one row per procedure.
    """
    order = frame.get_column("diagnosis").to_list()
    rows = {
        "field": "diagnosis",
        "type": "nominal",
        "sort": order,
        "axis": {"title": None, "labelLimit": 260, "ticks": False, "domain": False, "labelOverlap": False},
    }
    ends = [0.0, 1.0, *single.get_column("ratio").to_list(), *frame.get_column("median").to_list()]
    scale = {"domain": [min(ends), max(ends)], "nice": False}
    across = {"type": "quantitative", "scale": scale, "axis": {"title": AXIS, "tickCount": 8}}
    known = frame.filter(pl.col("lower").is_not_null() & pl.col("upper").is_not_null())
    return {
        "width": "container",
        "height": _ROW_PIXELS * frame.height,
        "layer": [
            {
                "data": {"values": [{"ratio": 1}]},
                "mark": {"type": "rule", "color": INK, "strokeDash": [2, 4], "strokeWidth": 1},
                "encoding": {"x": {**across, "field": "ratio"}},
            },
            {
                "data": {"values": single.to_dicts()},
                "mark": {"type": "tick", "color": MUTED, "opacity": 0.35, "thickness": 1, "height": 18},
                "encoding": {"y": rows, "x": {**across, "field": "ratio"}},
            },
            {
                "data": {"values": known.to_dicts()},
                "mark": {"type": "rule", "color": ACCENT, "strokeWidth": 5},
                "encoding": {"y": rows, "x": {**across, "field": "lower"}, "x2": {"field": "upper"}},
            },
            {
                "data": {"values": frame.to_dicts()},
                "mark": {
                    "type": "point",
                    "filled": True,
                    "color": ACCENT,
                    "size": 130,
                    "opacity": 1,
                    "stroke": "white",
                },
                "encoding": {"y": rows, "x": {**across, "field": "median"}},
            },
        ],
    }
