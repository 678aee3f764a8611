"""Specimen uptake page: does the concentration ratio tell malignant from not malignant?"""

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
from dashboards.components.uptake_ratios import diagnosis_name, ratio_text
from registry.uptake.diagnosis import OUTCOME, SEED

if TYPE_CHECKING:
    from registry.uptake import Discrimination

_SIDE = 320


def curve() -> None:
    """Area with its interval, the curve, and the threshold with its optimism taken off."""
    found = uptake.discrimination()
    area = found.roc
    show(element("p", f"Outcome: {OUTCOME}.", class_="question"))
    counts = (
        f"{words.plural(area.positives, 'malignant procedure')} and {words.plural(area.negatives, 'other')}, "
        f"of {words.plural(found.patients, 'patient')}."
    )
    if area.positives + area.negatives == 0:
        show(element("p", "No procedures with a concentration ratio and an outcome.", class_="beside"))
        return
    left = ", ".join(f"{words.count(n)} {diagnosis_name(code).lower()}" for code, n in found.left_out.items())
    show(element("p", _area(found), class_="result"))
    show(element("p", f"{counts} {f'Left out: {left}.' if left else 'Nothing left out.'}", class_="beside"))
    if found.patients_with_several:
        text = (
            f"{words.plural(found.patients_with_several, 'patient')} of {words.count(found.patients)} with several procedures: "
            "the interval takes them as independent; the resampling of the threshold keeps patients whole."
        )
        show(element("p", text, class_="beside attention"))
    if _enough(found):
        _draw(found)
        _threshold(found)


def _enough(found: Discrimination) -> bool:
    return min(found.roc.positives, found.roc.negatives) >= session.minimum_n()


def _area(found: Discrimination) -> str:
    area = found.roc
    if not _enough(found):
        return f"{words.count(area.positives)} malignant, {words.count(area.negatives)} not: too few for a curve."
    low, high = area.ci_logit
    if area.auc is not None and low is not None and high is not None:
        return f"Area under the curve {area.auc:.3f}; 95{words.NARROW}% interval {low:.3f} to {high:.3f} (DeLong, on the logit scale)."
    least = area.exact_bounds[0]
    bound = (
        f" As many separate pairs as the smaller group holds all agree: at least {least:.3f} (exact, 95{words.NARROW}% two-sided)."
        if least is not None and area.auc == 1.0
        else ""
    )
    return f"Area under the curve {area.auc:.3f}; no interval: {area.reason}.{bound}"


def _draw(found: Discrimination) -> None:
    frame = pl.DataFrame(found.curve, schema=["false_positive", "true_positive"], orient="row")
    specificity = found.threshold.spec
    at = {
        "false_positive": None if specificity is None else 1 - specificity,
        "true_positive": found.threshold.sens,
    }
    chart(
        receiver(frame, at),
        title="Malignant against others, at or above each threshold of the concentration ratio",
        description=f"A stepped line from the lower left to the upper right corner. {_area(found)} A ring marks the threshold below.",
        frame=frame,
        file_name="specimen uptake curve.csv",
    )


def receiver(frame: pl.DataFrame, at: dict[str, float | None]) -> dict[str, Any]:
    """Vega-Lite specification: the curve, the line of chance, and a ring at one threshold."""
    end = {"domain": [0, 1], "nice": False}
    x = {
        "field": "false_positive",
        "type": "quantitative",
        "scale": end,
        "axis": {"title": "not malignant, at or above the threshold, %", "format": ".0%", "tickCount": 5},
    }
    y = {
        "field": "true_positive",
        "type": "quantitative",
        "scale": end,
        "axis": {"title": "malignant, at or above it, %", "format": ".0%", "tickCount": 5},
    }
    chance = [{"false_positive": 0, "true_positive": 0}, {"false_positive": 1, "true_positive": 1}]
    return {
        "width": _SIDE,
        "height": _SIDE,
        "layer": [
            {
                "data": {"values": chance},
                "mark": {"type": "line", "color": MUTED, "strokeDash": [4, 4], "strokeWidth": 1},
                "encoding": {"x": x, "y": y},
            },
            {
                "data": {"values": frame.with_row_index("step").to_dicts()},
                "mark": {"type": "line", "color": ACCENT, "strokeWidth": 2},
                "encoding": {"x": x, "y": y, "order": {"field": "step", "type": "quantitative"}},
            },
            {
                "data": {"values": [at]},
                "mark": {
                    "type": "point",
                    "color": INK,
                    "size": 140,
                    "strokeWidth": 2,
                    "filled": False,
                    "opacity": 1,
                },
                "encoding": {"x": x, "y": y},
            },
        ],
    }


def _threshold(found: Discrimination) -> None:
    chosen, area = found.threshold, found.roc
    if chosen.threshold is None or found.found_ci is None or found.cleared_ci is None:
        return
    rows: list[list[object]] = [
        [
            "Threshold of the largest Youden index",
            f"{ratio_text(chosen.threshold)}{words.NARROW}g/g",
            "",
            "",
        ],
        [
            "Malignant at or above it",
            words.percent(chosen.sens),
            f"{words.count(found.found)} of {words.count(area.positives)}",
            words.span(*found.found_ci),
        ],
        [
            "Not malignant below it",
            words.percent(chosen.spec),
            f"{words.count(found.cleared)} of {words.count(area.negatives)}",
            words.span(*found.cleared_ci),
        ],
        ["Youden index, apparent", f"{chosen.youden:.3f}", "", ""],
    ]
    if chosen.optimism is not None:
        rows.append(["Optimism of having chosen it on the same procedures", f"{chosen.optimism:.3f}", "", ""])
        rows.append(["Youden index, corrected: the one to report", f"{chosen.corrected:.3f}", "", ""])
    table(
        "A threshold chosen on these procedures",
        ["", "Figure", "Counts", "Interval (Wilson)"],
        rows,
        frozenset({1, 2}),
        caption_seen=True,
    )
    text = (
        f"Optimism from {words.count(chosen.replicates)} resamples of patients, seed {SEED}. The shares at the threshold are apparent: they were chosen to "
        "look well here. No published threshold for core specimens was found, and this one belongs to this scanner and protocol."
    )
    show(element("p", text, class_="beside"))
