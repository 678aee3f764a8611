"""Cancer after a benign result over time: two estimates, their limits, and who is still followed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl
import streamlit as st

from dashboards import session
from dashboards.components import words
from dashboards.components.chart import chart
from dashboards.components.markup import element, show
from dashboards.components.measure_panel import folds
from dashboards.components.palette import GROUPS
from dashboards.components.tables import table
from registry.measures import load_measures

if TYPE_CHECKING:
    from registry.measures import Curve, CurveEstimate

MEASURE = "cancer_after_benign"
#: The axis reaches at least so far, so that a flat line is not blown up.
LEAST_TOP = 0.01


def incidence() -> None:
    """The curve with its table, the figures at fixed days, and what the two estimates mean."""
    found = session.curve()
    measure = load_measures()[MEASURE]
    show(element("p", measure.question, class_="question"))
    text = f"{words.plural(found.n, 'procedure')} of {words.plural(found.patients, 'patient')}. {words.excluded(found.excluded)}"
    show(element("p", text, class_="beside"))
    if found.n < session.minimum_n():
        events = max((one.events for one in found.estimates.values()), default=0)
        show(element("p", f"{events} of {found.n}; too few for a percentage.", class_="result"))
    else:
        _drawn(found)
        _fixed(found)
        show(element("p", measure.caution, class_="beside attention"))
        show(element("p", words.provenance(found.to_dict()), class_="provenance"))
    with st.container(key=f"panel_{MEASURE}"):
        folds(measure)


def _drawn(found: Curve) -> None:
    frame = pl.concat([_steps(one) for one in found.estimates.values()])
    last = max(max(one.at) for one in found.estimates.values())
    described = "; ".join(
        f"{one.name} {_at(one, -1)} at {one.at[-1]} days" for one in found.estimates.values()
    )
    chart(
        _spec(frame, last),
        title="Cumulative incidence of cancer after a benign result, by days since the biopsy",
        description=f"Two stepped lines with their 95 % limits as bands: {described}. The table beside it holds the steps.",
        frame=frame,
        file_name="cancer after benign.csv",
    )


def _steps(one: CurveEstimate) -> pl.DataFrame:
    """The steps up to the last fixed day, and the level that is held until then."""
    last = one.at[-1]
    days, levels = [*one.step_days], [*one.steps]
    lower, upper = [*one.step_lower], [*one.step_upper]
    kept = sum(day <= last for day in days)
    return pl.DataFrame(
        {
            "estimate": [one.name] * (kept + 1),
            "days": [*days[:kept], last],
            "incidence": [*levels[:kept], levels[kept - 1]],
            "lower": [*lower[:kept], lower[kept - 1]],
            "upper": [*upper[:kept], upper[kept - 1]],
            "at_risk": [*one.step_at_risk[:kept], one.at_risk[-1]],
        },
        schema={
            "estimate": pl.String,
            "days": pl.Int64,
            "incidence": pl.Float64,
            "lower": pl.Float64,
            "upper": pl.Float64,
            "at_risk": pl.Int64,
        },
    )


def _spec(frame: pl.DataFrame, last: int) -> dict[str, Any]:
    names = frame.get_column("estimate").unique(maintain_order=True).to_list()

    def by_estimate(marks: list[Any]) -> dict[str, Any]:
        scale = {"domain": names, "range": marks[: len(names)]}
        return {"field": "estimate", "type": "nominal", "scale": scale, "legend": None}

    highest = frame.select(pl.max_horizontal(pl.col("incidence").max(), pl.col("upper").max())).item()
    top = max(float(highest or 0.0), LEAST_TOP)
    colour = by_estimate([colour for colour, _ in GROUPS])
    ticks = [0, 182, 365, 547, 730, 912, last]
    days = {
        "field": "days",
        "type": "quantitative",
        "scale": {"domain": [0, last], "nice": False},
        "axis": {"title": "days since the biopsy", "values": ticks, "format": "d"},
    }
    level = {
        "field": "incidence",
        "type": "quantitative",
        "scale": {"domain": [0, top], "nice": True},
        "axis": {"title": "cancer found, %", "format": ".0%", "tickCount": 5},
    }
    band = {
        "mark": {"type": "area", "interpolate": "step-after", "opacity": 0.13},
        "encoding": {"x": days, "y": {**level, "field": "lower"}, "y2": {"field": "upper"}, "color": colour},
    }
    line = {
        "mark": {"type": "line", "interpolate": "step-after", "strokeWidth": 2},
        "encoding": {
            "x": days,
            "y": level,
            "color": colour,
            "strokeDash": by_estimate([[1, 0], [6, 4], [2, 3]]),
        },
    }
    name = {
        "transform": [{"filter": f"datum.days == {last}"}],
        "mark": {"type": "text", "align": "right", "dx": -8, "dy": -9, "fontSize": 13, "fontWeight": 600},
        "encoding": {"x": days, "y": level, "color": colour, "text": {"field": "estimate"}},
    }
    return {
        "width": "container",
        "height": 320,
        "data": {"values": frame.to_dicts()},
        "layer": [band, line, name],
    }


def _at(one: CurveEstimate, place: int) -> str:
    rate, low, high = one.incidence[place], one.lower[place], one.upper[place]
    if rate is None:
        return "nobody followed so long"
    limits = f" ({100 * low:.1f}–{100 * high:.1f})" if low is not None and high is not None else ""
    return f"{words.percent(rate)}{limits}"


def _fixed(found: Curve) -> None:
    estimates = list(found.estimates.values())
    heads = ["Days"] + [
        part for one in estimates for part in (f"Estimate {one.name} (95 % limits)", f"At risk, {one.name}")
    ]
    rows = [
        [day, *(part for one in estimates for part in (_at(one, place), words.count(one.at_risk[place])))]
        for place, day in enumerate(estimates[0].at)
    ]
    table(
        "Cancer found by fixed days, and how many are still followed",
        heads,
        rows,
        frozenset(range(1, len(heads))),
        caption_seen=True,
    )
    counts = "; ".join(
        f"{one.name}: {words.plural(one.events, 'cancer')}, {words.plural(one.deaths, 'death')} first"
        for one in estimates
    )
    show(element("p", f"{counts}.", class_="beside"))
