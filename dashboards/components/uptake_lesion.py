"""Specimen uptake page: the uptake of the same lesion at planning and on the day, with limits of agreement."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dashboards import session
from dashboards.answers import uptake
from dashboards.components import words
from dashboards.components.chart import chart
from dashboards.components.markup import element, show
from dashboards.components.palette import ACCENT, INK, MUTED
from dashboards.components.uptake_warning import figures
from registry.uptake.warning_rows import of_lesion

if TYPE_CHECKING:
    import polars as pl

    from registry.uptake import SameLesion

_HEIGHT = 300
_TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 3, 5, 7, 10, 20, 30, 50, 100)


def lesion_section() -> None:
    """Quotients of the two ratios, drawn against their mean."""
    found = uptake.same_lesion()
    if not found.n:
        text = "No procedures with the lesion's ratio to its background both at planning and on the day, by tracer imaging of one kind."
        show(element("p", text, class_="beside"))
        return
    minimum = session.minimum_n()
    show(element("p", _said(found, minimum), class_="result"))
    if found.n >= minimum and None not in found.limits:
        rows = uptake.lesion_pairs().select(
            "procedure_id", "planning_ratio", "day_ratio", "middle", "quotient"
        )
        chart(
            agreement_plot(rows, found),
            title="Lesion over background: ratio on the day over that at planning, against their geometric mean",
            description=f"One mark a procedure; a line at the mean quotient and two at the limits of agreement. {_said(found, minimum)}",
            frame=rows,
            file_name="lesion at planning and on the day.csv",
        )
    figures("Limits of agreement", of_lesion(found, minimum))
    show(
        element(
            "p",
            f"{words.plural(found.n, 'procedure')} of {words.plural(found.patients, 'patient')}; "
            f"{words.count(found.zeros)} left out with a ratio of 0. Scanner, compression, uptake time and the background chosen change the ratio as well "
            "as the lesion does; the limits say what to expect of a single lesion, not which reading is right.",
            class_="beside",
        )
    )


def _said(found: SameLesion, minimum: int) -> str:
    low, high = found.limits
    if found.n < minimum or found.bias is None or low is None or high is None:
        return f"{words.plural(found.n, 'procedure')} with both ratios: too few for more than counts."
    return (
        f"On the day the ratio was {found.bias:.2f} times that at planning on average; for a single lesion 95{words.NARROW}% lie between "
        f"{low:.2f} and {high:.2f} times (median {found.days or 0:.0f} days between)."
    )


def agreement_plot(rows: pl.DataFrame, found: SameLesion) -> dict[str, Any]:
    """Vega-Lite specification: quotients on a logarithmic axis, mean and limits with their intervals."""
    seen = [*rows.get_column("quotient").to_list(), found.lower_ci[0] or 1.0, found.upper_ci[1] or 1.0]
    most = 1.05 * max(*seen, 1.0 / min(seen), 2.0)
    middles = rows.get_column("middle").to_list()
    ends = [0.95 * min(middles), 1.05 * max(middles)]
    y = {"type": "quantitative", "scale": {"type": "log", "domain": [1.0 / most, most], "nice": False}}
    title = {
        "title": "day over planning, times",
        "format": "~g",
        "values": [one for one in _TICKS if 1.0 / most <= one <= most],
    }
    x = {"type": "quantitative", "scale": {"type": "log", "domain": ends, "nice": False}}
    under = {
        "title": "geometric mean of both ratios",
        "format": "~g",
        "values": [one for one in _TICKS if ends[0] <= one <= ends[1]],
    }
    marks = [
        {"at": found.bias, "low": found.bias_ci[0], "high": found.bias_ci[1], "words": "mean"},
        {"at": found.limits[0], "low": found.lower_ci[0], "high": found.lower_ci[1], "words": "lower limit"},
        {"at": found.limits[1], "low": found.upper_ci[0], "high": found.upper_ci[1], "words": "upper limit"},
    ]
    return {
        "width": "container",
        "height": _HEIGHT,
        "layer": [
            {
                "data": {"values": marks},
                "mark": {"type": "rect", "color": MUTED, "opacity": 0.15},
                "encoding": {"y": {**y, "field": "low", "axis": title}, "y2": {"field": "high"}},
            },
            {
                "data": {"values": marks},
                "mark": {"type": "rule", "color": INK, "strokeDash": [5, 3]},
                "encoding": {"y": {**y, "field": "at"}},
            },
            {
                "data": {"values": marks},
                "mark": {"type": "text", "align": "right", "baseline": "bottom", "dy": -3, "color": INK},
                "encoding": {
                    "y": {**y, "field": "at"},
                    "x": {**x, "datum": ends[1]},
                    "text": {"field": "words"},
                },
            },
            {
                "data": {"values": rows.to_dicts()},
                "mark": {"type": "point", "color": ACCENT, "size": 36, "filled": False, "opacity": 0.8},
                "encoding": {
                    "x": {**x, "field": "middle", "axis": under},
                    "y": {**y, "field": "quotient"},
                    "tooltip": [
                        {"field": "procedure_id", "title": "procedure"},
                        {"field": "planning_ratio", "title": "at planning"},
                        {"field": "day_ratio", "title": "on the day"},
                    ],
                },
            },
        ],
    }
