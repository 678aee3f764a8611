"""Cancer after a benign result over time: two estimates, their limits, and who is still followed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session
from dashboards.answers import counted
from dashboards.components import words
from dashboards.components.chart import chart
from dashboards.components.curve_plot import stepped_curves
from dashboards.components.looks import looks
from dashboards.components.markup import element, show
from dashboards.components.measure_panel import folds
from dashboards.components.tables import table
from registry.measures import drawn_steps, load_measures

if TYPE_CHECKING:
    from registry.measures import Curve, CurveEstimate

MEASURE = "cancer_after_benign"


def incidence() -> None:
    """The curve with its table, the figures at fixed days, and what the two estimates mean."""
    found = counted.curve()
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
        show(element("p", _linkage(), class_="beside"))
        show(element("p", measure.caution, class_="beside attention"))
        show(element("p", words.provenance(found.to_dict()), class_="provenance"))
        values = {
            one.name: tuple(_at(one, place) for place in range(len(one.at)))
            for one in found.estimates.values()
        }
        looks(values, max(max(one.at) for one in found.estimates.values()))
    with st.container(key=f"panel_{MEASURE}"):
        folds(measure)


def _linkage() -> str:
    """Whether linkage with a cancer registry lengthens what ``lost`` knows."""
    until = session.registry().site.linkage_complete_until
    if until is None:
        return "No day is stated up to which linkage with a cancer registry is complete; lost knows only what was reported back."
    return f"Linkage with a cancer registry is complete up to {until}: lost takes every procedure as followed at least until then."


def _drawn(found: Curve) -> None:
    frame = pl.concat([drawn_steps(one) for one in found.estimates.values()])
    last = max(max(one.at) for one in found.estimates.values())
    described = "; ".join(
        f"{one.name} {_at(one, -1)} at {one.at[-1]} days" for one in found.estimates.values()
    )
    chart(
        stepped_curves(frame, last),
        title="Cumulative incidence of cancer after a benign result, by days since the biopsy",
        description=f"Two stepped lines with their 95 % limits as bands: {described}. The table beside it holds the steps.",
        frame=frame,
        file_name="cancer after benign.csv",
    )


def _at(one: CurveEstimate, place: int) -> str:
    rate, low, high = one.incidence[place], one.lower[place], one.upper[place]
    if rate is None or not one.at_risk[place]:
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
