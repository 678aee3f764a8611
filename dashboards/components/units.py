"""Operators and sites beside one another: the funnel, its table, and what experience goes with."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl
import streamlit as st

from dashboards import session, visitor
from dashboards.answers import units
from dashboards.components import words
from dashboards.components.chart import chart
from dashboards.components.choice import one_or_all
from dashboards.components.funnel_plot import funnel_plot, learning_plot
from dashboards.components.markup import element, show
from dashboards.components.tables import download, table
from registry.people import Action
from registry.units import OPERATOR
from registry.units.frames import limit_lines, marks, name_of, unit_frame

if TYPE_CHECKING:
    from registry.units import Funnel, Learning, Unit


def beside_one_another(measure: str, by: str) -> None:
    """Funnel, sentences and table of one proportion by operator or site."""
    found = units.funnel(measure, by)
    if not found.n:
        show(element("p", "No procedures.", class_="result"))
        return
    frame = unit_frame(found)
    drawn = frame.filter(pl.col("rate").is_not_null())
    if found.lines and drawn.height:
        show(element("p", _together(found), class_="result"))
        chart(
            funnel_plot(marks(found), limit_lines(found), found.proportion or 0.0),
            title=f"{found.title}, by {by}, with exact limits of chance (95 % drawn through, 99.8 % broken)",
            description=f"Each mark is one {by}: its share against its number of procedures. {' '.join(found.sentences)}",
            frame=drawn,
            file_name=f"{measure} by {by} drawn.csv",
        )
    _sentences(*found.sentences)
    _table(found)
    _observed_over_expected(found)
    _pooled(found)
    if by == OPERATOR:
        _backgrounds(found)
    download("Download all of it as CSV", frame, f"{measure} by {by}.csv", key=f"csv units {measure} {by}")
    show(element("p", f"As of {found.as_of}; {found.registry}.", class_="provenance"))


def _together(found: Funnel) -> str:
    return _whole(
        f"All together {100 * (found.proportion or 0):.1f} %, {words.count(found.x)} of {words.count(found.n)}."
    )


def _table(found: Funnel) -> None:
    heads = [
        found.by.capitalize(),
        "Count",
        "Left out",
        "Figure and interval",
        "Expected",
        "Shrunken and interval",
        "Outside",
        "Adjusted p",
    ]
    if found.spread is not None:
        heads.append("Deviation, spread allowed for")
    rows = []
    for one in found.units:
        cells: list[object] = [name_of(one), f"{words.count(one.x)} of {words.count(one.n)}"]
        cells += [words.count(sum(one.excluded.values())), _figure(one)]
        cells += [_one_decimal(one.expected), _shrunken(one), one.outside.replace(" ", words.NARROW)]
        cells.append(
            "" if one.adjusted is None else f"{one.adjusted:.3f}" + (", look" if one.flagged else "")
        )
        if found.spread is not None:
            cells.append(_one_decimal(one.deviation_spread))
        rows.append(cells)
    numeric = frozenset({1, 2, 4}) | ({8} if found.spread is not None else set())
    table(f"{found.title}, by {found.by}, in the order of their codes", heads, rows, numeric)


def _pooled(found: Funnel) -> None:
    """Crude and by the model, one beside the other; nothing for fewer than two units."""
    made = found.pool
    if made.units < 2 or made.n < found.minimum:
        return
    level = f"{100 * made.confidence:g}{words.NARROW}%"
    rows = [
        [
            f"All as one {found.by}, crude",
            words.with_interval(made.crude or 0.0, made.crude_lower or 0.0, made.crude_upper or 0.0),
        ],
        [
            f"The middle {found.by}",
            f"none: {made.reason}"
            if made.middle is None or made.lower is None or made.upper is None
            else words.with_interval(made.middle, made.lower, made.upper),
        ],
        [
            f"A further {found.by} like these",
            f"not predicted: {made.reason or made.why_no_prediction}"
            if made.further_lower is None or made.further_upper is None
            else f"between {words.percent(made.further_lower)} and {words.percent(made.further_upper)}",
        ],
    ]
    heads = ["", f"Figure, {level}"]
    table(f"All {made.units} {found.by}s together", heads, rows, caption_seen=True)


def _backgrounds(found: Funnel) -> None:
    """What the named operators brought: role, experience before the registry, who stood beside them."""
    rows = []
    for one in found.units:
        if (done := one.background) is None:
            continue
        before = done.experience_before
        rows.append(
            [
                name_of(one),
                done.role or "not recorded",
                "not recorded" if before is None else words.count(before),
                words.count(done.procedures),
                words.count(done.supervised),
                ", ".join(done.supervisors),
            ]
        )
    heads = [
        "Operator",
        "Role",
        "Procedures before the registry",
        "In the period",
        "Of them supervised",
        "By",
    ]
    if rows:
        caption = "What each operator brought, and under whose supervision"
        table(caption, heads, rows, frozenset({2, 3, 4}), caption_seen=True)


def _figure(one: Unit) -> str:
    if one.proportion is None or one.lower is None or one.upper is None:
        return "counts only" if one.n else words.NO_PROCEDURES
    return words.with_interval(one.proportion, one.lower, one.upper)


def _shrunken(one: Unit) -> str:
    if one.shrunken is None or one.shrunken_lower is None or one.shrunken_upper is None:
        return ""
    return words.with_interval(one.shrunken, one.shrunken_lower, one.shrunken_upper)


def _sentences(*texts: str) -> None:
    show(element("div", *(element("p", _whole(one), class_="beside") for one in texts)))


def _observed_over_expected(found: Funnel) -> None:
    """Ratios to what the rate of the others would give, with their limits."""
    rows = [
        [
            name_of(one),
            f"{words.count(one.x)} against {_one_decimal(one.expected)}",
            f"{one.ratio:.2f}\u00a0({one.ratio_lower:.2f}\u2060–\u2060{one.ratio_upper:.2f})",
        ]
        for one in found.units
        if one.ratio is not None and one.ratio_lower is not None and one.ratio_upper is not None
    ]
    if rows:
        level = f"{100 * found.confidence:g}{words.NARROW}%"
        heads = [
            found.by.capitalize(),
            "Observed against expected",
            f"Ratio and interval ({level}, exact Poisson)",
        ]
        caption = "Observed over expected, the rate of the others taken as known"
        table(caption, heads, rows, frozenset({1, 2}), caption_seen=True)


def _one_decimal(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def against_experience(measure: str) -> None:
    """A proportion by the number of procedures of its operator; one operator, or all together."""
    operator = _chosen_operator(measure)
    found = units.learning(measure, operator)
    if not found.n:
        show(element("p", "No procedures.", class_="result"))
        return
    frame = learning_frame(found)
    whose = f", {found.operator}" if found.operator else ""
    if frame.get_column("share").drop_nulls().len():
        chart(
            learning_plot(frame),
            title=f"{found.title} against the number of procedures of the operator{whose}, 95 % Wilson intervals",
            description=" ".join(found.sentences)
            or "Share with interval for each class of procedure number.",
            frame=frame,
            file_name=f"{measure} by experience.csv",
        )
    else:
        show(element("p", f"No class of procedure numbers has {found.minimum} procedures.", class_="beside"))
    n = f"{words.plural(found.n, 'procedure')} in the denominator, {words.count(found.left_out)} left out."
    _sentences(n, *found.sentences)
    show(element("p", f"As of {found.as_of}; {found.registry}.", class_="provenance"))


def _chosen_operator(measure: str) -> str | None:
    """All together, or one of those whose results may be seen."""
    known = [one.code for one in units.funnel(measure, OPERATOR).units if one.code and one.n]
    return one_or_all(
        st, "Whose procedures", known, whole="All operators together", key=f"learning of {measure}"
    )


def learning_frame(found: Learning) -> pl.DataFrame:
    """One row for each class of procedure numbers."""
    rows = [
        {
            "numbers": f"{one.first} to {one.last}" if one.last else f"{one.first} and more",
            "x": one.x,
            "n": one.n,
            "operators": one.operators,
            "share": one.proportion,
            "lower": one.lower,
            "upper": one.upper,
            "bound": one.upper_bound_no_events,
        }
        for one in found.points
    ]
    schema = {"share": pl.Float64, "lower": pl.Float64, "upper": pl.Float64, "bound": pl.Float64}
    return pl.DataFrame(rows, schema_overrides=schema, infer_schema_length=None)


def names_kept_back() -> None:
    """Say that other operators are not named, where they are not."""
    if not visitor.may(Action.OPERATORS):
        text = "Other operators are points without a name: names are for the quality committee. Your own results are marked."
        show(element("p", text, class_="beside attention"))


def _whole(text: str) -> str:
    """A text in which no line ends between a number and its percent sign."""
    return text.replace(" %", f"{words.NARROW}%")


def minimum_words() -> str:
    """From how many procedures on a unit is looked at."""
    return f"A unit is looked at from {session.minimum_n()} procedures in the denominator on."
