"""The charts of the monitoring page: by period, running sum, adjusted sum, weighted mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session
from dashboards.answers import counted
from dashboards.answers import monitoring as answers
from dashboards.components import words
from dashboards.components.chart import chart
from dashboards.components.groups import stratum_label
from dashboards.components.markup import element, show
from dashboards.components.monitor_plots import fifths_plot, run_chart, running_line
from dashboards.components.signals import signals
from dashboards.components.tables import table
from registry.errors import UsageProblem
from registry.monitoring import about_the_median, points, volumes
from registry.monitoring import words as said
from registry.monitoring.frames import ERRORS, EXACT, path_frame, period_frame

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from registry.measures import Measure
    from registry.monitoring import Adjusted, Cumulative, Signal, Watched
    from registry.monitoring.model import Fifth

LIMITS = ("Exact, 95 % and 99.8 %", "Three standard errors (p-chart)")


def proportion(
    measure: Measure,
    watched_from: date,
    within: answers.Within,
    per: str,
    *,
    accepted: float | None,
    factor: float,
    years: float,
) -> None:
    """Run chart, running sum, adjusted sum and volume of a proportion."""
    try:
        made = answers.cumulative(
            measure.id, watched_from, within, accepted=accepted, factor=factor, years=years
        )
    except UsageProblem as problem:
        if not counted.results([measure.id])[0]["denominator"]:
            show(element("p", "No procedures.", class_="result"))
        show(element("p", str(problem), class_="beside"))
        return
    st.header(f"By {per}", anchor=False)
    _by_period(made, per)
    st.header("Running sum", anchor=False)
    _sum(
        made.watched,
        made.path,
        made.signals,
        float(made.limit),
        f"{made.watched.title}: running sum, {words.plural(len(made.signals), 'signal')}",
        f"{measure.id} running sum.csv",
    )
    _sentences(said.cumulative(made))
    signals(measure, made.watched, made.signals, chart="cusum", design=made.design)
    st.header("Adjusted for what was known before the biopsy", anchor=False)
    fold = st.expander("Fit the model and run the adjusted sum", key="adjusted sum", on_change="rerun")
    if fold.open:
        with fold:
            _adjusted(measure, watched_from, within, factor, years)
    st.header(f"Procedures per {per}", anchor=False)
    _volume(made.watched, per)


def quantity(measure: Measure, watched_from: date, within: answers.Within) -> None:
    """Weighted mean of a quantity."""
    try:
        made = answers.weighted(measure.id, watched_from, within)
    except UsageProblem as problem:
        show(element("p", str(problem), class_="beside"))
        return
    st.header("Weighted mean", anchor=False)
    frame = path_frame(made.watched, made.path, made.signals).with_columns(
        lower=pl.Series(made.lower), upper=pl.Series(made.upper)
    )
    chart(
        running_line(
            frame, title=f"{measure.title}, {measure.value_unit}", limits=("lower", "upper"), zero=False
        ),
        title=f"{measure.title}: weighted mean, {words.plural(len(made.signals), 'signal')}",
        description=f"Weighted mean after each of {made.watched.during.height} procedures with its limits; usual level {made.center:.3g} {measure.value_unit}.",
        frame=frame,
        file_name=f"{measure.id} weighted mean.csv",
    )
    _sentences(said.weighted(made))
    signals(measure, made.watched, made.signals, chart="ewma", design=made.design)


def _by_period(made: Cumulative, per: str) -> None:
    # One period holds few patients twice: the clustered interval has nothing to work with.
    asked = session.filters().interval
    interval = asked if asked != "clustered" else "wilson"
    found = points(made.watched, made.accepted.rate, per, interval)
    minimum = session.minimum_n()
    exact = st.radio("Limits of chance", LIMITS, horizontal=True, key="limits of chance") == LIMITS[0]
    columns = EXACT if exact else ERRORS
    frame = period_frame(found, minimum, exact=exact)
    outside = ", ".join(frame.filter("outside").get_column("period")) or "none"
    chart(
        run_chart(frame, made.accepted.rate, *columns),
        title=f"{made.watched.title}, by {per}",
        description=(
            f"Share with the event in each {per} with its 95 % interval, and limits around the accepted rate of "
            f"{words.percent(made.accepted.rate)}. Outside the outer limits: {outside}."
        ),
        frame=frame,
        file_name=f"{made.watched.measure.id} by {per}.csv",
    )
    drawn = (
        "Dashed and full steps: exact binomial limits around it for so many procedures, 95 % and 99.8 %, interpolated."
        if exact
        else "Full steps: three standard errors around it for so many procedures (p-chart), cut at 0 and 100 %. "
        f"{said.rough(found, made.accepted.rate, minimum)}"
    )
    text = (
        f"Thick bars: 95 % interval of the {per}'s own rate ({words.METHODS[interval]}). Dotted: the accepted rate. {drawn} "
        f"{len(found)} periods were looked at; outside the outer limits: {outside}. Below {minimum} procedures counts only, in the table."
    )
    for one in (text, said.runs(about_the_median(found, minimum), [p for p in found if p.n >= minimum], per)):
        show(element("p", one.replace(" %", f"{words.NARROW}%"), class_="beside"))


def _adjusted(
    measure: Measure, watched_from: date, within: answers.Within, factor: float, years: float
) -> None:
    try:
        made = answers.adjusted(measure.id, watched_from, within, odds_ratio=factor, years=years)
    except UsageProblem as problem:
        show(element("p", str(problem), class_="beside"))
        return
    _sum(
        made.watched,
        made.path,
        made.signals,
        made.limit,
        f"{made.watched.title}: adjusted sum, {words.plural(len(made.signals), 'signal')}",
        f"{measure.id} adjusted sum.csv",
    )
    _sentences(said.adjusted(made))
    _model(made)
    signals(measure, made.watched, made.signals, chart="risk_adjusted", design=made.design)


def _model(made: Adjusted) -> None:
    rows = [
        [
            one.predictor.replace("_mm", "").replace("_", " "),
            stratum_label(one.predictor, one.value),
            stratum_label(one.predictor, one.against),
            f"{one.odds_ratio:.2f}",
            f"{one.lower:.2f} to {one.upper:.2f}",
        ]
        for one in made.model.terms
    ]
    heads = ["Known before", "Value", "Against", "Odds ratio", "95 % profile interval"]
    table("The model", heads, rows, frozenset({3}), caption_seen=True)
    frame = pl.DataFrame(
        [
            *_fifths(made.model.fifths, "before the watch, where it was fitted"),
            *_fifths(made.watched_fifths, "while watched"),
        ]
    )
    chart(
        fifths_plot(frame),
        title="Calibration: share seen and share expected, by fifth of the predicted risk",
        description="Share of procedures with the event in each fifth of the predicted risk with 95 % Wilson interval, and a tick where the model expects it.",
        frame=frame,
        file_name="calibration of the model.csv",
    )
    show(
        element(
            "p",
            "Dot and bar: seen, with 95 % Wilson interval; tick: expected. Agreement where the model was fitted flatters it.",
            class_="beside",
        )
    )


def _fifths(found: Iterable[Fifth], when: str) -> list[dict[str, object]]:
    return [
        {
            "when": when,
            "fifth": one.number,
            "n": one.n,
            "x": one.observed,
            "observed": one.share,
            "low": one.low,
            "high": one.high,
            "expected": one.expected_share,
        }
        for one in found
    ]


def _sum(
    watched: Watched,
    path: tuple[float, ...],
    found: tuple[Signal, ...],
    limit: float,
    title: str,
    file_name: str,
) -> None:
    frame = path_frame(watched, path, found)
    chart(
        running_line(frame, title="height of the sum", limit=limit, zero=True),
        title=title,
        description=f"Height of the sum after each of {frame.height} procedures; it signals at {limit:g}.",
        frame=frame,
        file_name=file_name,
    )


def _sentences(found: tuple[str, ...]) -> None:
    """Sentences in paragraphs: what is watched, how it runs and when it signals, what it says."""
    for part in (found[:2], found[2:-2], found[-2:]):
        show(element("p", " ".join(part).replace(" %", f"{words.NARROW}%"), class_="beside"))


def _volume(watched: Watched, per: str) -> None:
    found = volumes(watched, per)
    if not found:
        show(element("p", f"Fewer than two {per}s: no pace to compare with.", class_="beside"))
        return
    rows = [
        [
            one.period,
            words.count(one.n),
            one.days,
            f"{one.per_30_days:.1f}",
            f"{one.lower:.1f} to {one.upper:.1f}",
            "outside" if one.beyond else "",
        ]
        for one in found
    ]
    heads = ["Period", "Procedures", "Days", "Per 30 days", "Limits, three standard errors", ""]
    table(f"Procedures in the denominator per {per}", heads, rows, frozenset({1, 2, 3}))
    show(
        element(
            "p",
            "Events per time (u-chart) around the mean pace. A rate that moves together with the volume, or a chart that ends in a quiet period, asks for the record first.",
            class_="beside",
        )
    )
